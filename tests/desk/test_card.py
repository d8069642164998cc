"""What can a guest's card do? Three acts, large, in sentences on a small phone, and no fourth by any request."""

import http.client
import json
import re
from typing import Any

import pytest

from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.http.rules import Least
from tests.desk.browser import Looks
from tests.desk.hall import Hall
from tests.stories.studio import RECORDERS, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
WITHIN_S = 15.0
ACTS = ["roll", "good", "call"]
LETS_IN = {  # what a card of these acts is let in to be judged at; anything else is refused at the door
    "POST /api/v1/roll",
    "POST /api/v1/takes/{n}/marks",
    "POST /api/v1/takes/{n}/marks/{m}",  # of a mark it might have made itself
    "POST /api/v1/call",
    "POST /api/v1/in/{inlet}",
    "POST /api/v1/commands",
}
# words beside the verbs of boxes
FOURTH = [
    ("POST", "/api/v1/cut", {"take": 1}),
    ("POST", "/api/v1/takes/1/marks", {"note": "x"}),
    ("POST", "/api/v1/takes/slate", {"name": "x"}),
    ("POST", "/api/v1/desk", {"act": "take"}),
    ("POST", "/api/v1/commands", {"target": "mixer", "verb": "stay", "args": {"point": "strip 1 level"}}),
    ("POST", "/api/v1/in/card", {"verb": "stay", "args": {"of": "strip 1"}, "id": "n0"}),
    ("POST", "/api/v1/in/card", {"verb": "mark", "args": {"note": "x"}, "id": "n1"}),
    ("POST", "/api/v1/in/card", {"verb": "scene", "args": {"name": "cut"}, "id": "n2"}),
]


@pytest.fixture
def card(people: Hall) -> dict[str, Any]:
    asked = {"name": "presenter", "acts": ACTS, "hours": 2}
    status, told = people.studio.ask("POST", "/api/v1/guests", asked, people.token("ines"))
    assert status == 200, told
    return dict(told)


def test_a_card_is_three_wide_sentences_and_each_does_what_it_says(
    people: Hall, card: dict[str, Any], looks: Looks
) -> None:
    """64 px high each, 44 wide at least by WCAG 2.2, 2.5.5; a sentence of two words at least: own choice."""
    look = looks.at(people.url, "phone")
    look.page.goto(f"{people.url}/guest#{card['token']}")
    look.page.wait_for_selector("#acts button")
    acts = look.page.locator("#acts button")
    assert [acts.nth(number).inner_text() for number in range(acts.count())] == [
        "Roll the recorders",
        "Mark this take good",
        "Call the operator",
    ]
    for number in range(acts.count()):
        box = acts.nth(number).bounding_box()
        assert box is not None
        assert box["height"] >= 64
        assert box["width"] >= 300
    assert look.page.evaluate("document.documentElement.scrollWidth") <= 360
    assert card["token"] not in look.page.url, "not left in the address"
    assert look.axe() == []
    look.shot("guest-phone")
    look.page.click("text=Roll the recorders")
    look.page.wait_for_selector("#said:has-text('5 of 5')", timeout=1000 * WITHIN_S)
    assert people.rolling() == list(RECORDERS)
    look.page.click("text=Mark this take good")
    until(lambda: people.now()["take"]["good"], WITHIN_S, "it is marked good")
    look.page.click("text=Call the operator")
    look.page.wait_for_selector("#said:has-text('Called.')")


def test_its_person_can_do_no_fourth_by_any_request(people: Hall, card: dict[str, Any]) -> None:
    """Every route with the card's own token, as a header and as a cookie; then every verb by each way it may use."""
    head = {"Authorization": f"Bearer {card['token']}"}
    code, told = people.studio.ask("POST", "/api/v1/roll?wait=verdict", {}, head)
    assert code == 200, told
    number = told["take"]
    public = {f"{one.method} {one.path_text}" for one in ROUTES if one.rule and one.rule.least is Least.PUBLIC}
    own = {f"{one.method} {one.path_text}" for one in ROUTES if one.rule and one.rule.least is Least.OWN}
    let_in = set()
    for route in ROUTES:
        address = f"{route.method} {route.path_text}"
        if address in own:  # what a token asks about itself; leaving would end it
            continue
        path = re.sub(r"\{[^}]+\}", "1", route.path_text)
        if judged(people, route.method, path, head) not in (401, 403):
            let_in.add(address)
        if address not in public:
            without = judged(people, route.method, path, {"Cookie": f"token={card['token']}"})
            assert without == (426 if path == "/api/v1/live" else 401), address  # a socket asks for its token inside
    assert let_in - public <= LETS_IN
    for method, path, body in FOURTH:
        assert judged(people, method, path, head, body) == 403, (path, body)
    seen = people.token("ines")
    place = f"/api/v1/takes/{number}/marks"
    assert people.studio.ask("POST", place, {"note": "A chair fell"}, seen)[0] == 200
    assert judged(people, "POST", f"{place}/1", head, {"struck": True}) == 403
    for nth, verb in enumerate(sorted(verbs(people, seen) - {"roll"})):
        for target in ("iso-1", "hall", "mixer"):
            asked = {"target": target, "verb": verb, "args": {}}
            code = judged(people, "POST", "/api/v1/commands", head, asked)
            assert code in (403, 422), (asked, code)  # refused, or no such act of that box at all
        code = judged(
            people, "POST", f"/api/v1/in/card-{nth}", head, {"verb": verb, "args": {"take": number}, "id": verb}
        )
        assert code in (403, 409, 422), (verb, code)  # 409: what rolls forbids it to anybody
    entries = people.studio.ask("GET", "/api/v1/journal?count=500", None, seen)[1]["entries"]
    did = [entry for entry in entries if entry["who"] == "presenter"]
    assert {entry["kind"] for entry in did} <= {"command", "verdict", "take", "call"}
    groups = people.studio.ask("GET", "/api/v1/commands?count=500", None, seen)[1]["commands"]
    sent = [one for one in groups if one["who"] == "presenter" and one["verb"] != "roll"]
    assert {box["code"] for one in sent for box in one["boxes"]} <= {"role"}, "each was refused before a byte"
    assert people.rolling() == list(RECORDERS)
    take = people.studio.ask("GET", f"/api/v1/takes/{number}", None, seen)[1]
    assert take["running"]
    assert [note.partition(": ")[2] for note in take["notes"]] == ["A chair fell"]


def test_a_card_of_four_acts_is_not_made(people: Hall) -> None:
    asked = {"name": "presenter", "acts": [*ACTS, "note"], "hours": 2}
    code, told = people.studio.ask("POST", "/api/v1/guests", asked, people.token("ines"))
    assert code == 422
    assert "acts" in str(told)


def judged(people: Hall, method: str, path: str, headers: dict[str, str], body: object = None) -> int:
    """What a request is answered once it is not too often; a feed is left at once."""

    def once() -> int | None:
        connection = http.client.HTTPConnection("127.0.0.1", people.studio.port, timeout=10)
        text = json.dumps(body or {}) if method == "POST" else None
        connection.request(method, path, body=text, headers={"Content-Type": "application/json", **headers})
        code = connection.getresponse().status
        connection.close()
        return code if code != 429 else None

    return int(until(once, WITHIN_S, f"{path} is judged"))


def verbs(people: Hall, head: dict[str, str]) -> set[str]:
    """What can be asked of boxes and parts."""
    kinds = ("recorder", "router", "mixer")
    told = [people.studio.ask("GET", f"/api/v1/capabilities/{kind}", None, head)[1] for kind in kinds]
    return {verb["name"] for one in told for verb in one["verbs"]} | {"set", "cut", "recall", "apply", "undo"}
