"""Who passes which route, and what becomes of a token that ends? Over real HTTP, in a house with accounts.

Source: own construction; the table of roles is the security model's.
"""

import asyncio
import base64
import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import aiohttp
import pytest
from structlog.testing import capture_logs

from stagectl.inlets.http import guest_page, invite_page, live, server
from stagectl.inlets.http.guard import endpoint
from stagectl.inlets.http.route import Route
from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.http.rules import Least
from tests.inlets.http import matrix
from tests.inlets.http.codes import read
from tests.inlets.http.conftest import API, Front
from tests.inlets.http.keys import PASSWORD, Keys, close
from tests.inlets.http.test_routes import ACTS, READS

GOLDEN = Path(__file__).parents[2] / "golden" / "matrix.txt"
OWN: dict[str, tuple[str, Any]] = {  # routes that the tables of test_routes leave out
    f"{API}/login": ("login", {"name": "ines", "password": PASSWORD}),
    f"{API}/tokens": ("tokens", {"name": "extra", "role": "viewer"}),
    f"{API}/tokens/{{id}}/revoke": ("tokens/nothing/revoke", None),
    f"{API}/guests": ("guests", {"acts": ["call"]}),
    f"{API}/hooks": ("hooks", {"name": "doorbell", "verb": "roll"}),
    f"{API}/hooks/{{key}}": (f"hooks/{'x' * 43}", None),
    f"{API}/copy/plan": ("copy/plan", {}),
    f"{API}/copy/runs": ("copy/runs", {}),
    f"{API}/copy/stop": ("copy/stop", None),
    f"{API}/copy/verify": ("copy/verify", {}),
    f"{API}/playback": ("playback", {"take": 1}),
    f"{API}/playback/stop": ("playback/stop", None),
}
PLACES = {  # of reads that the tables of test_routes leave out
    f"{API}/copy/runs/{{id}}": "copy/runs/nothing",
    f"{API}/takes/{{n}}/timeline.svg": "takes/1/timeline.svg",
    f"{API}/days/{{day}}/timeline.svg": "days/today/timeline.svg",
}
FEEDS = (f"{API}/live", f"{API}/events")


@pytest.fixture
async def keys(front: Front) -> Keys:
    return await close(front)


def asked(route: Route) -> tuple[str, Any]:
    """What is sent to a route, and with which body."""
    if route.method == "GET":
        path = PLACES.get(route.path_text) or READS.get(route.path_text, (route.path_text, 0))[0]
        return (path if path.startswith("/") else f"{API}/{path}"), None
    path, body = OWN[route.path_text] if route.path_text in OWN else ACTS[route.path_text][:2]
    return f"{API}/{path}", body


def test_every_route_says_who_may() -> None:
    assert [f"{route.method} {route.path_text}" for route in ROUTES if route.rule is None] == []


async def test_a_door_with_a_route_that_says_nothing_does_not_open() -> None:
    with pytest.raises(ValueError, match="says nothing of who may"):
        endpoint(replace(ROUTES[0], rule=None), None)  # type: ignore[arg-type] - it fails before


def test_only_what_tells_nothing_of_the_house_is_public() -> None:
    public = {route.path_text for route in ROUTES if route.rule is not None and route.rule.least is Least.PUBLIC}
    assert public == {
        f"{API}/login",
        f"{API}/hooks/{{key}}",
        "/livez",
        "/",
        "/{view}",
        "/assets/{name}",
        "/guest",
        "/guest/new",
    }


def test_every_route_that_acts_asks_for_more_than_a_viewer() -> None:
    seen = {f"{API}/scenes/{{n}}/runs"}  # a dry run only says what it would do; starting one is judged inside
    for route in ROUTES:
        assert route.rule is not None
        if route.method == "POST" and route.path_text not in seen:
            assert route.rule.least is not Least.SEE, route.path_text


def test_the_table_is_the_one_that_was_agreed() -> None:
    assert matrix.table() == GOLDEN.read_text()


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A door that takes any number of requests; how often one may ask has its own tests (test_places.py)."""
    monkeypatch.setattr(server, "OFTEN_BURST", 1e6)


@pytest.mark.usefixtures("patient")
@pytest.mark.parametrize("who", list(matrix.CALLERS))
async def test_each_caller_at_each_route(front: Front, keys: Keys, who: str) -> None:
    """What comes over the wire is what the table says: 401 without a token, 403 where the role is not enough."""
    person = matrix.CALLERS[who]
    headers = keys.of(who)
    last = [route for route in ROUTES if route.path_text == f"{API}/logout"]
    for route in [one for one in ROUTES if one.path_text not in FEEDS and one not in last] + last:
        path, body = asked(route)
        wanted = matrix.passes(route, person)
        async with front.session.request(route.method, path, json=body, headers=headers) as answer:
            told = f"{who} {route.method} {path}: {answer.status}"
            text = await answer.text()
        if wanted == "token":
            assert answer.status == 401, told
            assert answer.headers["WWW-Authenticate"] == "Bearer"
        elif wanted in ("role", "fresh"):
            assert (answer.status, json.loads(text)["code"]) == (403, wanted), told
        elif answer.status in (401, 403):  # let in, and judged by what was asked for
            assert route.rule is not None
            inside = route.path_text == f"{API}/scenes/{{n}}/runs" or (route.rule.least is Least.ACT)
            assert inside, told
            assert who not in ("petra", "tomas"), told
        assert answer.status < 500 or route.path_text == "/readyz", told


async def test_a_viewer_and_nobody_reach_no_box(front: Front, keys: Keys) -> None:
    for who in ("nobody", "mara", "screen"):
        for path, body, _ in ACTS.values():
            async with front.session.post(f"{API}/{path}", json=body, headers=keys.of(who)) as answer:
                assert answer.status in (200, 401, 403, 404)
    assert front.toys.asked() == []


async def test_a_machine_acts_on_what_is_listed_alone(front: Front, keys: Keys) -> None:
    head = keys.of("pedal")
    status, answer = await front.post("roll?wait=verdict", {}, **head)
    assert status == 200
    ended = {box["device"]: (box["ended"], box["code"]) for box in answer["boxes"]}
    assert ended["iso-1"][0] == "verified"
    assert {ended["iso-2"], ended["iso-3"]} == {("failed", "role")}
    assert {name for name, _ in front.toys.asked()} == {"iso-1"}
    assert (await front.post("cut?wait=verdict", {"take": 1}, **head))[0] == 403
    assert (await front.post("takes/1/marks", {"good": True}, **head))[0] == 200
    assert (await front.post("takes/1/marks", {"note": "x"}, **head))[0] == 403
    body = {"target": "iso-1", "verb": "set", "args": {"point": "remote", "value": True}}
    assert (await front.post("commands", body, **head))[0] == 403


async def test_a_guest_does_three_acts_and_sees_nothing(front: Front, keys: Keys) -> None:
    head = keys.of("guest")
    assert (await front.post("roll?wait=verdict", {}, **head))[0] == 200
    assert (await front.post("takes/1/marks", {"good": True}, **head))[0] == 200
    assert (await front.post("call", {"say": "Coffee is up"}, **head))[0] == 200
    assert ("call", "guest", {"say": "Coffee is up"}) in front.toys.journal.records
    for path, body in (("cut", {"take": 1}), ("takes/slate", {"name": "x"}), ("desk", {"act": "take"})):
        assert (await front.post(path, body, **head))[0] == 403, path
    for path in ("now", "points", "journal", "takes", "site", "live", "events"):
        assert (await front.get(path, **head))[0] == 403, path
    async with front.session.get("/", headers=head) as answer:
        assert "Tidewater" not in await answer.text()


async def test_the_page_of_a_guest_runs_its_own_script_alone_and_asks_what_is_there(front: Front, keys: Keys) -> None:
    async with front.session.get("/guest") as answer:
        text = await answer.text()
        policy = answer.headers["Content-Security-Policy"]
    assert text.count("<script>") == 1
    digest = base64.b64encode(hashlib.sha256(guest_page.SCRIPT.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'; connect-src 'self'" in policy
    assert "Tidewater" not in text
    assert "://" not in text
    head = keys.of("guest")
    assert (await front.get("me", **head))[1]["verbs"] == ["call", "good", "roll"]
    for path, body in (
        ("in/guest?wait=verdict", {"verb": "roll", "args": {}, "id": "a1"}),
        ("in/guest?wait=verdict", {"verb": "mark", "args": {"good": True}, "id": "a2"}),
        ("call", {"say": ""}),
    ):
        status, told = await front.post(path, body, **head)
        assert (status, bool(told["say"])) == (200, True)
    for body in ({"verb": "mark", "args": {"note": "x"}}, {"verb": "cut", "args": {"take": 1}}):
        assert (await front.post("in/guest", body, **head))[0] == 403


async def test_a_guests_link_is_a_code_that_a_phone_reads(front: Front, keys: Keys) -> None:
    status, made = await front.post("guests", {"acts": ["call"], "hours": 1}, **keys.of("ines"))
    assert status == 200
    assert made["link"] == f"{front.server.url}/guest#{made['token']}"
    assert read(made["qr"]) == made["link"]
    assert (await front.post("call", {"say": ""}, Authorization=f"Bearer {made['token']}"))[0] == 200


async def test_the_page_that_makes_a_guests_link_runs_its_own_script_alone(front: Front) -> None:
    async with front.session.get("/guest/new") as answer:
        text, policy = await answer.text(), answer.headers["Content-Security-Policy"]
    digest = base64.b64encode(hashlib.sha256(invite_page.SCRIPT.encode()).digest()).decode()
    assert text.count("<script>") == 1
    assert f"script-src 'sha256-{digest}'; connect-src 'self'" in policy
    assert "Tidewater" not in text


async def test_only_an_engineer_who_logged_in_formats_a_medium(front: Front, keys: Keys) -> None:
    body = {"target": "iso-1", "verb": "format", "args": {"slot": 1}}
    status, answer = await front.post("commands", body, **keys.of("ines"))
    assert (status, answer["code"]) == (403, "role")
    status, answer = await front.post("commands", body, **keys.of("tomas"))
    assert answer.get("code") != "role"


async def test_an_engineers_own_acts_ask_for_a_login_that_is_fresh(front: Front, keys: Keys) -> None:
    token, acts = {"name": "extra", "role": "viewer"}, {"target": "iso-1", "verb": "format", "args": {"slot": 1}}
    for path, body in (("tokens", token), ("commands", acts), (f"tokens/{keys.token['pedal'].id}/revoke", None)):
        status, answer = await front.post(path, body, **keys.of("petra"))
        assert (status, answer["code"]) == (403, "fresh")
        assert answer["detail"] == "This asks for a password proved within 15 minutes; this login is older."
        assert answer["remedy"] == "Log in again: stagectl login petra"
    assert front.toys.asked() == []
    status, fresh = await front.post("login", {"name": "petra", "password": PASSWORD})
    assert status == 200
    assert (await front.post("tokens", token, Authorization=f"Bearer {fresh['token']}"))[0] == 200
    assert (await front.get("now", **keys.of("petra")))[0] == 200, "all else goes on with the old login"
    refused = [data.get("code") for kind, who, data in front.toys.journal.records if (kind, who) == ("access", "petra")]
    assert refused.count("fresh") == 3


async def test_before_there_are_accounts_a_name_alone_formats_nothing(front: Front) -> None:
    body = {"target": "iso-1", "verb": "format", "args": {"slot": 1}}
    status, answer = await front.post("commands", body, X_Stage_Who="tomas")
    assert (status, answer["code"]) == (403, "role")
    assert front.toys.asked() == []


# -- coming and going -------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("keys")
async def test_who_logs_in_gets_a_token_and_leaves_with_it(front: Front) -> None:
    status, answer = await front.post("login", {"name": "ines", "password": PASSWORD})
    assert status == 200
    head = {"Authorization": f"Bearer {answer['token']}"}
    status, me = await front.get("me", **head)
    assert (status, me["name"], me["role"], me["accounts"]) == (200, "ines", "operator", True)
    assert (await front.post("logout", None, **head))[0] == 200
    assert (await front.get("me", **head))[0] == 401


async def test_a_wrong_password_tells_nothing_and_then_costs_time(front: Front, keys: Keys) -> None:
    answers = [await front.post("login", {"name": name, "password": "wrong wrong wrong"}) for name in ("ines", "noone")]
    assert [status for status, _ in answers] == [401, 401]
    assert answers[0][1] == answers[1][1]
    async with front.session.post(f"{API}/login", json={"name": "ines", "password": PASSWORD}) as answer:
        assert answer.status == 429
        assert answer.headers["Retry-After"]
    assert (await front.get("now", **keys.of("ines")))[0] == 200, "who is in stays in"


@pytest.mark.usefixtures("keys")
@pytest.mark.parametrize(
    "given",
    ["Bearer", "Bearer ", "Basic aW5lczp4", "Bearer x" + "y" * 300, "bearer \xff", "Bearer not-a-token", "Token a"],
)
async def test_what_is_no_token_is_refused(front: Front, given: str) -> None:
    status, answer = await front.get("now", Authorization=given)
    assert (status, answer["code"]) == (401, "token")


async def test_a_token_in_the_address_is_none(front: Front, keys: Keys) -> None:
    assert (await front.get(f"now?token={keys.text['ines']}"))[0] == 401


@pytest.mark.usefixtures("keys")
async def test_a_name_in_a_header_says_nothing_where_there_are_accounts(front: Front) -> None:
    status, answer = await front.get("now", **{"X-Stage-Who": "tomas"})
    assert (status, answer["code"]) == (403, "who")


async def test_tokens_are_made_listed_and_revoked_by_an_engineer(front: Front, keys: Keys) -> None:
    head = keys.of("tomas")
    body = {"name": "knob", "role": "operator", "verbs": ["level"], "devices": ["mixer"], "days": 2}
    status, made = await front.post("tokens", body, **head)
    assert status == 200
    knob = {"Authorization": f"Bearer {made['token']}"}
    level = {"target": "mixer", "verb": "set", "args": {"point": "strip.5.level", "value": -20}}
    assert (await front.post("commands?wait=verdict", level, **knob))[0] == 200
    mute = {"target": "mixer", "verb": "set", "args": {"point": "strip.5.muted", "value": True}}
    assert (await front.post("commands?wait=verdict", mute, **knob))[0] == 403
    status, listed = await front.get("tokens", **head)
    assert "knob" in [one["name"] for one in listed["tokens"]]
    assert made["token"] not in json.dumps(listed)
    assert (await front.post(f"tokens/{made['id']}/revoke", None, **head))[0] == 200
    assert (await front.post("commands?wait=verdict", level, **knob))[0] == 401


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"role": "engineer"}, "body.role"),
        ({"verbs": ["hold"]}, "body.verbs"),
        ({"verbs": []}, ""),
        ({"devices": ["nowhere"]}, "body.devices"),
        ({"days": 91}, "body.days"),
        ({"name": "Inés"}, "body.name"),
        ({"name": "ines"}, ""),
    ],
)
async def test_a_token_that_can_t_be_is_refused(front: Front, keys: Keys, change: dict[str, Any], field: str) -> None:
    body = {"name": "knob", "role": "operator", "verbs": ["level"], "devices": ["mixer"]} | change
    status, answer = await front.post("tokens", body, **keys.of("tomas"))
    assert status in (404, 422)
    assert answer.get("field", "") == field


# -- feeds ------------------------------------------------------------------------------------------------------------


async def closes(socket: aiohttp.ClientWebSocketResponse) -> Any:
    """The code the door closes with."""
    async with asyncio.timeout(10):
        while (message := await socket.receive()).type is aiohttp.WSMsgType.TEXT:
            pass
    return message.data


async def test_a_socket_brings_its_token_as_a_subprotocol(front: Front, keys: Keys) -> None:
    offered = ("stagectl.v1", f"tok.{keys.text['ines']}")
    async with front.session.ws_connect(f"{API}/live", protocols=offered) as socket:
        assert socket.protocol == "stagectl.v1", "the token is not echoed"
        assert (await socket.receive_json())["is"] == "snapshot"
        await socket.send_json({"do": "roll", "id": "7"})
        seen: dict[str, Any] = {}
        while seen.get("re") != "7":
            seen = await socket.receive_json()
        assert seen["is"] == "heard"


async def test_a_socket_brings_its_token_as_its_first_word(front: Front, keys: Keys) -> None:
    async with front.session.ws_connect(f"{API}/live", protocols=("stagectl.v1",)) as socket:
        await socket.send_json({"token": keys.text["mara"]})
        assert (await socket.receive_json())["is"] == "snapshot"
        await socket.send_json({"do": "roll", "id": "7"})
        seen: dict[str, Any] = {}
        while seen.get("re") != "7":
            seen = await socket.receive_json()
        assert (seen["is"], seen["code"]) == ("refused", "role")
    assert front.toys.asked() == []


@pytest.mark.parametrize("first", [None, '{"token":"wrong"}', '{"do":"roll","id":"1"}', "[", '{"token":7}', "guest"])
async def test_a_socket_without_a_token_is_shown_nothing(
    front: Front, keys: Keys, first: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "TOKEN_S", 0.2)
    async with front.session.ws_connect(f"{API}/live") as socket:
        if first is not None:
            await socket.send_str(json.dumps({"token": keys.text["guest"]}) if first == "guest" else first)
        message = await socket.receive()
        assert message.type is aiohttp.WSMsgType.CLOSE
        assert socket.close_code == 4401
    assert front.toys.asked() == []


@pytest.mark.parametrize("how", ["socket", "events"])
async def test_a_revoked_token_ends_its_feed(front: Front, keys: Keys, how: str) -> None:
    gate = front.toys.house.gate
    token = keys.token["ines"]
    if how == "socket":
        async with front.session.ws_connect(f"{API}/live", headers=keys.of("ines")) as socket:
            assert (await socket.receive_json())["is"] == "snapshot"
            await gate.tokens.revoke([token])
            assert await closes(socket) == 4401
    else:
        async with front.session.get(f"{API}/events", headers=keys.of("ines")) as answer:
            await answer.content.readuntil(b"\n\n")
            await gate.tokens.revoke([token])
            async with asyncio.timeout(10):
                await answer.content.read()
    assert token.shows.on_end == []


async def test_a_token_that_ends_ends_no_take(front: Front, keys: Keys) -> None:
    await front.post("roll?wait=verdict", {}, **keys.of("ines"))
    before = front.toys.asked()
    await front.toys.house.gate.tokens.revoke([keys.token["ines"]])
    assert (await front.post("cut", {"take": 1}, **keys.of("ines")))[0] == 401
    assert front.toys.house.takes.open is not None
    assert front.toys.asked() == before
    await ended_by(front, keys.of("tomas"), 1)


async def test_a_feed_that_is_left_is_forgotten_by_its_token(front: Front, keys: Keys) -> None:
    token = keys.token["ines"]
    async with front.session.ws_connect(f"{API}/live", headers=keys.of("ines")) as socket:
        await socket.receive_json()
        assert len(token.shows.on_end) == 1
    await front.toys.until(lambda: token.shows.on_end == [])


# -- the desk ---------------------------------------------------------------------------------------------------------


async def test_with_a_holder_others_are_told_who_it_is(front: Front, keys: Keys) -> None:
    ines, tomas = keys.of("ines"), keys.of("tomas")
    assert (await front.get("now", **tomas))[1]["desk"] == ""
    assert (await front.post("desk", {"act": "take"}, **ines))[1]["holder"] == "ines"
    assert (await front.get("now", **tomas))[1]["desk"] == "ines holds the desk."
    async with front.session.get("/", headers=tomas) as answer:
        assert "ines holds the desk." in await answer.text()
    route = {"target": "hall", "verb": "set", "args": {"point": "output.1.source", "value": 2}}
    status, answer = await front.post("commands?wait=verdict", route, **tomas)
    assert (status, answer["code"], answer["detail"]) == (409, "held", "ines holds the desk.")
    status, _ = await front.post("scenes/roll-everything/runs", {}, **tomas)
    assert status == 409
    assert (await front.post("roll?wait=verdict", {}, **tomas))[0] == 200, "a roll needs no desk"
    assert (await front.post("cut?wait=verdict", {"take": 1}, **tomas))[0] == 200, "one's own take needs none"
    await front.post("roll?wait=verdict", {}, **ines)
    status, answer = await front.post("cut?wait=verdict", {"take": 2}, **tomas)
    assert (status, answer["code"]) == (409, "held")
    assert (await front.post("takes/2/marks", {"good": True}, **tomas))[0] == 200
    assert (await front.post("desk", {"act": "give", "to": "tomas"}, **ines))[0] == 200
    await ended_by(front, tomas, 2)


# -- what is written down, and what never is --------------------------------------------------------------------------


async def test_every_refusal_stands_in_the_journal_and_no_secret_anywhere(front: Front, keys: Keys) -> None:
    with capture_logs() as logs:
        wrong = "canary canary canary"
        bodies = [
            await front.post("login", {"name": "ines", "password": wrong}),
            await front.post("login", {"name": "ines", "password": [wrong]}),
            await front.post("login", {"name": wrong, "password": wrong}),
            await front.get("now", Authorization=f"Bearer {wrong}"),
            await front.post("cut", {"take": 1}, **keys.of("mara")),
            await front.get("now"),
        ]
    refusals = [
        (who, data["code"], data["source"])
        for kind, who, data in front.toys.journal.records
        if kind == "access" and data["what"] == "refused"
    ]
    assert refusals == [
        ("ines", "login", "127.0.0.1 http"),
        ("somebody", "token", "127.0.0.1 http"),
        ("mara", "role", "127.0.0.1 http"),
        ("somebody", "token", "127.0.0.1 http"),
    ]
    everything = repr(front.toys.journal.records) + repr(logs) + json.dumps(bodies)
    for secret in (wrong, PASSWORD, *keys.text.values()):
        assert secret not in everything


async def private_lines(front: Front, head: dict[str, str]) -> list[tuple[str, str]]:
    """Who and what of the lines about access that somebody is shown."""
    status, told = await front.get("journal?count=1000", **head)
    assert status == 200
    return [(entry["who"], entry["data"]["what"]) for entry in told["entries"] if entry["kind"] == "access"]


async def test_who_was_let_in_and_who_was_refused_is_read_by_engineers_and_each_ones_own_by_all(
    front: Front, keys: Keys
) -> None:
    assert (await front.post("cut", {"take": 1}, **keys.of("mara")))[0] == 403
    everything = await private_lines(front, keys.of("tomas"))
    assert {("ines", "login"), ("tomas", "token"), ("mara", "refused")} <= set(everything)
    for who in ("mara", "ines", "petra", "pedal", "screen"):
        seen = await private_lines(front, keys.of(who))
        assert seen == (everything if who == "petra" else [line for line in everything if line[0] == who]), who
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    told = (await front.get("journal", **keys.of("screen")))[1]["entries"]
    assert {"command", "verdict", "take"} <= {entry["kind"] for entry in told}, (
        "what happened in the house is no secret"
    )


@pytest.mark.parametrize(("who", "sees"), [("tomas", True), ("mara", True), ("ines", False), ("screen", False)])
async def test_a_feed_tells_of_a_refusal_only_whom_it_concerns(front: Front, keys: Keys, who: str, sees: bool) -> None:
    async with front.session.ws_connect(f"{API}/live", headers=keys.of(who)) as socket:
        assert (await socket.receive_json())["is"] == "snapshot"
        assert (await front.post("cut", {"take": 1}, **keys.of("mara")))[0] == 403
        assert (await front.post("call", {"say": "Coffee is up"}, **keys.of("guest")))[0] == 200
        kinds: list[str] = []
        async with asyncio.timeout(10):
            while "call" not in kinds:
                kinds += [entry["kind"] for entry in (await socket.receive_json()).get("entries", ())]
        assert ("access" in kinds) is sees


async def test_the_last_word_of_the_journal_on_the_page_is_none_about_access(front: Front, keys: Keys) -> None:
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    assert (await front.post("cut", {"take": 1}, **keys.of("mara")))[0] == 403
    async with front.session.ws_connect(f"{API}/live", headers=keys.of("ines")) as socket:
        assert "mara" not in json.dumps((await socket.receive_json())["desk"])


async def test_the_house_stays_as_it_was_without_accounts(front: Front) -> None:
    status, me = await front.get("me")
    assert (status, me["name"], me["role"], me["accounts"]) == (200, "desk", "operator", False)
    assert (await front.post("roll?wait=verdict", {}))[0] == 200
    assert (await front.post("login", {"name": "ines", "password": PASSWORD}))[0] == 409
    for path, body in (("tokens", {"name": "x", "role": "viewer"}), ("guests", {"acts": ["call"]})):
        assert (await front.post(path, body))[0] == 403


# -- what ends more than one's own take -------------------------------------------------------------------------------


async def test_anothers_take_ends_at_the_second_asking_on_every_way_of_http(front: Front, keys: Keys) -> None:
    ines, tomas = keys.of("ines"), keys.of("tomas")
    for ask in (
        ("cut?wait=verdict", {"take": 1}),
        ("in/panel?wait=verdict", {"verb": "cut", "args": {"take": 2}}),
        ("commands?wait=verdict", {"target": "takes", "verb": "cut", "args": {"take": 3}}),
    ):
        path, body = ask
        assert (await front.post("roll?wait=verdict", {}, **ines))[0] == 200
        before = len(front.toys.asked())
        key = {"Idempotency_Key": f"press-{path[:2]}"}
        status, told = await front.post(path, body, **tomas, **key)
        assert (status, told["code"]) == (428, "confirm"), told
        assert told["detail"].startswith("ines rolled take ")
        assert len(front.toys.asked()) == before, "no byte left"
        status, again = await front.post(path, body | {"confirm": "WRONG"}, **tomas)
        assert (status, again["confirm"]) == (428, told["confirm"])
        assert (await front.post(path, body | {"confirm": told["confirm"]}, **keys.of("guest")))[0] == 403
        status, done = await front.post(path, body | {"confirm": told["confirm"]}, **tomas, **key)
        assert status == 200, done
        assert front.toys.house.takes.open is None
    lines = [data for kind, who, data in front.toys.journal.records if (kind, who) == ("access", "tomas")]
    assert [one["what"] for one in lines if one["what"] == "selected"] == ["selected"] * 3
    assert all(one["source"].endswith(" http") for one in lines if one["what"] in ("selected", "refused"))


async def test_anothers_take_ends_at_the_second_asking_on_a_socket(front: Front, keys: Keys) -> None:
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    async with front.session.ws_connect(f"{API}/live", headers=keys.of("tomas")) as socket:
        await socket.send_json({"do": "cut", "args": {"take": 1}, "id": "a1"})
        refused = await answered(socket, "a1")
        assert (refused["is"], refused["code"]) == ("refused", "confirm")
        await socket.send_json({"do": "cut", "args": {"take": 1}, "id": "a2", "confirm": refused["confirm"]})
        assert (await answered(socket, "a2"))["is"] == "heard"
        await front.toys.until(lambda: front.toys.house.takes.open is None)


async def test_a_recorder_that_stopped_and_rolled_again_meanwhile_is_another_picture(front: Front, keys: Keys) -> None:
    """The same names roll in the same take, but one of them has a clip now that nobody was shown."""
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    _, shown = await front.post("cut?wait=verdict", {"take": 1}, **keys.of("tomas"))
    take = front.toys.house.takes.open
    assert take is not None
    deck = front.toys.boxes["iso-2"]
    for transport, recordings in (("stopped", 1), ("recording", 2)):
        deck.tell(transport=transport)
        await front.toys.until(
            lambda transport=transport, recordings=recordings: (
                len(take.lanes["iso-2"]) == recordings and ("iso-2" in take.rolling) is (transport == "recording")
            )
        )
    status, again = await front.post("cut?wait=verdict", {"take": 1, "confirm": shown["confirm"]}, **keys.of("tomas"))
    assert (status, again["code"]) == (428, "confirm")
    assert again["detail"].startswith("The picture is another one now.")


async def test_ones_own_take_ends_at_once(front: Front, keys: Keys) -> None:
    assert (await front.post("roll?wait=verdict", {}, **keys.of("ines")))[0] == 200
    assert (await front.post("cut?wait=verdict", {"take": 1}, **keys.of("ines")))[0] == 200


async def ended_by(front: Front, head: dict[str, str], take: int) -> None:
    """Who has the desk ends another's take: asked, shown, and asked again with the word."""
    status, shown = await front.post("cut?wait=verdict", {"take": take}, **head)
    assert status == 428, shown
    assert (await front.post("cut?wait=verdict", {"take": take, "confirm": shown["confirm"]}, **head))[0] == 200


async def answered(socket: aiohttp.ClientWebSocketResponse, name: str) -> dict[str, Any]:
    """The next message about an asking."""
    async with asyncio.timeout(10):
        while True:
            told: dict[str, Any] = await socket.receive_json()
            if told.get("re") == name:
                return told
