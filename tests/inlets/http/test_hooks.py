"""Does a secret address do its one thing, and nothing else? Over real HTTP, in a house with accounts.

Source: own construction, after the rule that what has no header to carry a token gets a harmless act and no more.
"""

from typing import Any

import pytest
from structlog.testing import capture_logs

from stagectl.control.tokens import Tokens
from stagectl.inlets.http import acts
from tests.inlets.http.conftest import API, Front
from tests.inlets.http.keys import Keys, close

ROLL = {"name": "doorbell", "verb": "roll", "args": {"name": "Rehearsal"}}


@pytest.fixture
async def keys(front: Front) -> Keys:
    return await close(front)


async def made(front: Front, keys: Keys, body: dict[str, Any]) -> dict[str, Any]:
    status, answer = await front.post("hooks", body, **keys.of("tomas"))
    assert status == 200, answer
    return dict(answer)


async def fire(front: Front, url: str, data: bytes = b"", **headers: str) -> tuple[int, dict[str, Any]]:
    async with front.session.post(f"{url}?wait=verdict", data=data, headers=headers) as answer:
        return answer.status, dict(await answer.json(content_type=None))


async def test_an_address_alone_rolls_and_the_journal_says_which_hook(front: Front, keys: Keys) -> None:
    hook = await made(front, keys, ROLL)
    assert hook["does"] == {"verb": "roll", "args": {"name": "Rehearsal"}}
    status, answer = await fire(front, hook["url"])
    assert (status, answer["is"], answer["count"]) == (200, "done", "3 of 3")
    assert front.toys.house.takes.takes[1].name == "Rehearsal"
    asked = next(data for kind, who, data in front.toys.journal.records if (kind, who) == ("command", "doorbell"))
    assert asked["inlet"] == "hook:doorbell"


@pytest.mark.parametrize(
    ("data", "headers"),
    [
        (b'{"verb":"cut","args":{"take":1}}', {"Content-Type": "application/json"}),
        (b"verb=cut&take=1", {"Content-Type": "application/x-www-form-urlencoded"}),
        (b"\xff\xfe not anything", {"Content-Type": "text/plain"}),
    ],
)
async def test_what_its_sender_puts_into_the_body_changes_nothing(
    front: Front, keys: Keys, data: bytes, headers: dict[str, str]
) -> None:
    hook = await made(front, keys, ROLL)
    assert (await fire(front, hook["url"], data, **headers))[1]["count"] == "3 of 3"
    assert front.toys.house.takes.open is not None


async def test_marks_go_to_the_newest_take_and_a_route_goes_where_it_says(front: Front, keys: Keys) -> None:
    good = await made(front, keys, {"name": "good-one", "verb": "mark", "args": {"good": True}})
    assert (await fire(front, good["url"]))[0] == 404, "there is no take yet"
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    assert (await fire(front, good["url"]))[1]["say"] == "Take 1 is marked good."
    route = await made(front, keys, {"name": "hands", "verb": "route", "args": {"src": "hands", "dst": "director"}})
    assert (await fire(front, route["url"]))[1]["is"] == "done"


async def test_a_hook_opens_no_other_door(front: Front, keys: Keys) -> None:
    secret = (await made(front, keys, ROLL))["url"].rpartition("/")[2]
    head = {"Authorization": f"Bearer {secret}"}
    assert (await front.get("now", **head))[0] == 401
    assert (await front.post("roll", {}, **head))[0] == 401
    assert (await front.post("in/doorbell", {"verb": "roll"}, **head))[0] == 401
    assert front.toys.asked() == []


async def test_no_other_token_is_a_hook(front: Front, keys: Keys) -> None:
    for who in ("tomas", "pedal", "guest"):
        assert (await fire(front, f"{API}/hooks/{keys.text[who]}"))[0] == 404
    assert front.toys.asked() == []


async def test_looking_at_the_address_does_nothing(front: Front, keys: Keys) -> None:
    """Links are fetched by previews and crawlers; GET and HEAD are safe by RFC 9110, section 9.2.1."""
    url = (await made(front, keys, ROLL))["url"]
    for method in ("GET", "HEAD", "PUT", "DELETE"):
        async with front.session.request(method, url) as answer:
            assert (answer.status, answer.headers["Allow"]) == (405, "POST")
    assert front.toys.asked() == []


async def test_a_revoked_hook_is_dead_and_a_stranger_is_written_down(front: Front, keys: Keys) -> None:
    hook = await made(front, keys, ROLL)
    assert (await front.post(f"tokens/{hook['id']}/revoke", None, **keys.of("tomas")))[0] == 200
    status, answer = await fire(front, hook["url"])
    assert (status, answer["code"]) == (404, "hook")
    assert front.toys.asked() == []
    told = [data for kind, _, data in front.toys.journal.records if kind == "access" and data.get("code") == "hook"]
    assert len(told) == 1
    assert hook["url"].rpartition("/")[2] not in str(front.toys.journal.records)


async def test_a_hook_lives_through_a_restart_and_is_listed_without_its_address(front: Front, keys: Keys) -> None:
    hook = await made(front, keys, ROLL)
    _, listed = await front.get("tokens", **keys.of("tomas"))
    (row,) = [one for one in listed["tokens"] if one["kind"] == "hook"]
    assert (row["name"], row["does"]) == ("doorbell", {"verb": "roll", "args": {"name": "Rehearsal"}})
    assert hook["url"].rpartition("/")[2] not in str(listed)
    house = front.toys.house
    house.gate.tokens = Tokens(house.world)  # as after a start
    house.gate.load()
    assert (await fire(front, hook["url"]))[1]["count"] == "3 of 3"


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"name": "x", "verb": "cut", "args": {"take": 1}}, 422),
        ({"name": "x", "verb": "scene", "args": {"name": "cut"}}, 422),
        ({"name": "x", "verb": "level", "args": {"of": "strip 1", "to": "0 dB"}}, 422),
        ({"name": "x", "verb": "roll", "args": {"colour": "red"}}, 422),
        ({"name": "x", "verb": "route", "args": {"src": "hands"}}, 422),
        ({"name": "x", "verb": "mark", "args": {}}, 422),
        ({"name": "x", "verb": "mark", "args": {"take": 3, "good": True}}, 422),
        ({"name": "ines", "verb": "roll"}, 422),
        ({"name": "pedal", "verb": "roll"}, 422),
        ({"name": "x", "verb": "roll", "days": 91}, 422),
    ],
)
async def test_a_hook_that_could_do_more_is_not_made(
    front: Front, keys: Keys, body: dict[str, Any], status: int
) -> None:
    assert (await front.post("hooks", body, **keys.of("tomas")))[0] == status
    assert all(one.kind != "hook" for one in front.toys.house.gate.tokens.all())


async def test_only_an_engineer_makes_one(front: Front, keys: Keys) -> None:
    for who in ("ines", "mara", "pedal", "guest", "petra"):
        assert (await front.post("hooks", ROLL, **keys.of(who)))[0] == 403


async def test_a_hook_that_fires_too_often_is_slowed_unless_it_rolls(front: Front, keys: Keys) -> None:
    await front.post("roll?wait=verdict", {}, **keys.of("ines"))
    note = await made(front, keys, {"name": "note", "verb": "mark", "args": {"note": "applause"}})
    assert 429 in [(await fire(front, note["url"]))[0] for _ in range(12)]
    roll = await made(front, keys, ROLL)
    assert {(await fire(front, roll["url"]))[0] for _ in range(12)} == {200}


async def test_a_slip_of_ours_does_not_log_the_address(
    front: Front, keys: Keys, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = (await made(front, keys, ROLL))["url"]

    async def slip(*_: object) -> None:
        raise RuntimeError("slipped")

    monkeypatch.setattr(acts, "asked", slip)
    with capture_logs() as logs:
        assert (await fire(front, url))[0] == 500
    assert "/api/v1/hooks/{key}" in str(logs)
    assert url not in str(logs)
