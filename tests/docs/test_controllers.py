"""Do the requests of docs/controllers.md mean what they say? Each is read as the door reads it."""

import re
from pathlib import Path

from stagectl.inlets import strict_json
from stagectl.inlets.http import form
from stagectl.inlets.http.models import HookBody, InBody
from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.http.vocabulary import check

PAGE = (Path(__file__).parents[2] / "docs" / "controllers.md").read_text(encoding="utf-8")
SENT = re.findall(r"(?m)^curl -X POST http://127\.0\.0\.1:8420(\S+) -H '[^']*' -d '([^']*)'$", PAGE)
ROWS = re.findall(r"(?m)^\| `([a-z]+)` \| (.*) \|$", PAGE)


def test_each_request_is_one_that_the_door_takes() -> None:
    assert len(SENT) == PAGE.count("curl ") == 2
    for path, body in SENT:
        assert path == "/api/v1/in/pedal"
        told = InBody.model_validate(strict_json.read(body.encode()) if body[0] == "{" else form.read(body.encode()))
        check(told.verb, told.args)


def test_the_words_and_their_arguments_are_all_there() -> None:
    assert {verb for verb, _ in ROWS} == set(InBody.model_json_schema()["properties"]["verb"]["enum"])
    for verb, args in ROWS:
        if verb != "scene":
            check(verb, dict.fromkeys(re.findall("`([a-z]+)`", args)))


def test_a_hook_is_what_the_page_says() -> None:
    assert any(route.path_text == "/api/v1/hooks/{key}" and route.method == "POST" for route in ROUTES)
    hooked = HookBody.model_json_schema()["properties"]["verb"]["enum"]
    assert "`roll`, `mark` and `route` can be\nhooked" in PAGE
    assert hooked == ["roll", "mark", "route"]
