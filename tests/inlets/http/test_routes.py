"""Does every address answer in the shape that the document promises?

Source: own construction; the shapes are those of `stagectl/inlets/http/models`.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from stagectl.inlets.http.route import Route
from stagectl.inlets.http.routes import ROUTES
from tests.inlets.http.conftest import API, Front

LATER = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
# address of the table -> what is asked of the toy house, and which status comes back
READS: dict[str, tuple[str, int]] = {
    f"{API}/now": ("now", 200),
    f"{API}/wrong": ("wrong", 200),
    f"{API}/alarms": ("alarms", 200),
    f"{API}/site": ("site", 200),
    f"{API}/devices": ("devices", 200),
    f"{API}/devices/{{id}}": ("devices/iso-1", 200),
    f"{API}/devices/{{id}}/lists/{{what}}": ("devices/iso-1/lists/clips", 200),
    f"{API}/points": ("points?device=hall", 200),
    f"{API}/points/{{device}}/{{name}}": ("points/hall/output.3.source", 200),
    f"{API}/capabilities/{{kind}}": ("capabilities/recorder", 200),
    f"{API}/commands": ("commands", 200),
    f"{API}/commands/{{id}}": ("commands/first", 200),
    f"{API}/takes": ("takes", 200),
    f"{API}/takes/{{n}}": ("takes/1", 200),
    f"{API}/clips": ("clips", 200),
    f"{API}/journal": ("journal?count=5", 200),
    f"{API}/scenes": ("scenes", 200),
    f"{API}/scenes/runs": ("scenes/runs", 200),
    f"{API}/scenes/runs/{{id}}": ("scenes/runs/asks", 200),
    f"{API}/scenes/{{n}}": ("scenes/roll-everything", 200),
    f"{API}/setups": ("setups", 200),
    f"{API}/setups/{{n}}/diff": ("setups/rehearsal/diff", 200),
    f"{API}/setups/undo": ("setups/undo", 200),
    f"{API}/lineup": ("lineup", 200),
    f"{API}/playback": ("playback", 200),
    f"{API}/clock": ("clock", 200),
    f"{API}/media": ("media", 200),
    f"{API}/me": ("me", 200),
    f"{API}/desk": ("desk", 200),
    "/livez": ("/livez", 200),
    "/readyz": ("/readyz", 200),
    "/openapi.json": ("/openapi.json", 200),
}
ACTS: dict[str, tuple[str, Any, int]] = {
    f"{API}/roll": ("roll?wait=verdict", {"name": "Warm-up"}, 200),
    f"{API}/cut": ("cut?wait=verdict", {"take": 1}, 200),
    f"{API}/commands": (
        "commands?wait=verdict",
        {"target": "hall", "verb": "set", "args": {"point": "output.1.source", "value": 2}},
        200,
    ),
    f"{API}/takes/{{n}}/marks/{{m}}": ("takes/1/marks/1", {"kind": "problem", "struck": True}, 200),
    f"{API}/takes/{{n}}/slate": ("takes/1/slate", {"name": "Encore"}, 200),
    f"{API}/takes/slate": ("takes/slate", {"name": "Third movement"}, 200),
    f"{API}/takes/{{n}}/marks": ("takes/1/marks", {"good": True}, 200),
    f"{API}/devices/{{id}}/retry": ("devices/iso-1/retry", None, 200),
    f"{API}/alarms/{{id}}/ack": ("alarms/mixer.left-alone/ack", None, 200),
    f"{API}/alarms/{{id}}/aside": (
        "alarms/mixer.left-alone/aside",
        {"until": LATER, "reason": "it is on the bench"},
        200,
    ),
    f"{API}/in/{{inlet}}": ("in/pedal?wait=verdict", {"verb": "roll"}, 200),
    f"{API}/scenes/{{n}}/runs": ("scenes/roll-everything/runs?dry=1", {}, 200),
    f"{API}/scenes/runs/{{id}}/answers": ("scenes/runs/asks/answers", {"answer": True}, 200),
    f"{API}/scenes/runs/{{id}}/stop": ("scenes/runs/asks/stop", None, 200),
    f"{API}/setups/{{n}}/apply": ("setups/Rehearsal/apply?wait=verdict", {"only": ["hall"]}, 200),
    f"{API}/setups/{{n}}/capture": ("setups/rehearsal/capture", {"dry": True}, 200),
    f"{API}/setups/undo": ("setups/undo?wait=verdict", None, 200),
    f"{API}/lineup": ("lineup", None, 200),
    f"{API}/lineup/waivers": ("lineup/waivers", {"check": "iso-1.signal", "because": "it is not used"}, 200),
    f"{API}/clock": ("clock", None, 200),
    f"{API}/routes/plan": ("routes/plan", {"routes": ["director = hands"]}, 200),
    f"{API}/desk": ("desk", {"act": "take"}, 200),
    f"{API}/call": ("call", {"say": "Ready when you are"}, 200),
    f"{API}/logout": ("logout", None, 200),
}
# see test_people.py and test_hooks.py
KEYS = {f"{API}/{path}" for path in ("login", "tokens", "tokens/{id}/revoke", "guests", "hooks", "hooks/{key}")}
PLAYED = {f"{API}/playback", f"{API}/playback/stop"}  # see tests/stories/test_playback.py
# see tests/stories/test_copyoff.py
COPIED = {f"{API}/copy{path}" for path in ("", "/plan", "/runs", "/runs/{id}", "/stop", "/verify", "/report")}
OTHERS = (
    f"{API}/takes/{{n}}/timeline.svg",
    f"{API}/days/{{day}}/timeline.svg",
    f"{API}/live",
    f"{API}/events",
    "/metrics",
    "/docs",
    "/",
    "/{view}",
    "/assets/{name}",
    "/guest",
    "/guest/new",
)  # no JSON: their own tests


def the_route(method: str, address: str) -> Route:
    return next(route for route in ROUTES if (route.method, route.path_text) == (method, address))


SETUP = """\
set-up: Rehearsal
wants:
  hall: {output 4 source: 2}
"""


async def prepared(front: Front) -> None:
    """A set-up that was applied, a take that runs, an alarm, and a run of a scene that asks something."""
    folder = front.toys.house.site.scenes / "setups"
    folder.mkdir()
    (folder / "rehearsal.yaml").write_text(SETUP)
    (folder / "broken.yaml").write_text("set-up: Broken\n")
    front.toys.house.setups.load(folder.parent)
    assert (await front.post("setups/rehearsal/apply?wait=verdict", {}))[0] == 200
    front.toys.house.devices.quarantined["mixer"] = "its driver failed 4 times in 60 s, last: slip"
    await front.toys.until(lambda: front.toys.house.alarms.find("mixer.left-alone").number > 0)
    await front.post("roll?wait=verdict", {}, Idempotency_Key="first")
    await front.post("takes/1/marks", {"note": "horn late"})
    await front.post("scenes/stand-clear/runs", {}, Idempotency_Key="asks")
    await front.toys.until(lambda: any("stand" in str(entry.data) for entry in front.toys.house.chronicle.recent))


def test_every_route_has_a_row_here() -> None:
    gets = {route.path_text for route in ROUTES if route.method == "GET"}
    posts = {route.path_text for route in ROUTES if route.method == "POST"}
    assert gets - KEYS - COPIED == {*READS, *OTHERS}
    assert posts - KEYS - PLAYED - COPIED == set(ACTS)


@pytest.mark.parametrize("address", READS)
async def test_a_read_answers_in_its_shape(front: Front, address: str) -> None:
    await prepared(front)
    path, status = READS[address]
    got, answer = await front.get(path)
    assert got == status, answer
    model = the_route("GET", address).answer
    assert model is not None
    model.model_validate(answer)


@pytest.mark.parametrize("address", ACTS)
async def test_an_act_answers_in_its_shape(front: Front, address: str) -> None:
    await prepared(front)
    path, body, status = ACTS[address]
    got, answer = await front.post(path, body)
    assert got == status, answer
    model = the_route("POST", address).answer
    assert model is not None
    model.model_validate(answer)


@pytest.mark.parametrize("address", [*READS, "/docs", "/", "/metrics"])
async def test_a_read_asks_no_box_to_act(front: Front, address: str) -> None:
    path = READS.get(address, (address, 200))[0]
    await front.session.get(path if path.startswith("/") else f"{API}/{path}")
    assert front.toys.asked() == []


async def test_a_head_answers_as_a_get_without_its_body(front: Front) -> None:
    async with front.session.head(f"{API}/now") as answer:
        assert answer.status == 200
        assert await answer.read() == b""


async def test_points_are_told_with_value_unit_and_doubt(front: Front) -> None:
    _, answer = await front.get("points?device=mixer&name=strip.1.level")
    (point,) = answer["points"]
    assert (point["value"], point["unit"], point["quality"]) == (-12.0, "dB", "good")
    assert point["at"] is not None
    _, alone = await front.get("points/mixer/strip.1.level")
    assert alone == point


async def test_a_template_names_all_points_of_its_form(front: Front) -> None:
    _, answer = await front.get("points?name=output.3.source")
    assert [(one["device"], one["value"]) for one in answer["points"]] == [("hall", 3)]


async def test_a_list_comes_in_pages_counted_from_one(front: Front) -> None:
    front.toys.boxes["iso-1"].clips = [{"index": number, "name": f"clip {number}"} for number in range(1, 8)]
    _, answer = await front.get("devices/iso-1/lists/clips?first=6&count=5")
    assert [row["index"] for row in answer["rows"]] == [6, 7]
    assert (answer["total"], answer["first"]) == (7, 6)


async def test_a_box_that_refuses_its_list_is_quoted(front: Front) -> None:
    front.toys.boxes["iso-1"].refuses = "it has no medium"
    status, answer = await front.get("devices/iso-1/lists/clips")
    assert (status, answer["code"]) == (502, "device")
    assert answer["detail"] == "Rec 1 does not tell its clips: it has no medium."


async def test_a_broken_scene_file_is_listed_with_what_is_wrong(front: Front) -> None:
    _, answer = await front.get("scenes")
    problems = {one["name"]: one["problem"] for one in answer["scenes"]}
    assert problems["roll-everything"] == ""
    assert "broken.yaml" in problems["broken"]


async def test_the_daemons_own_trouble_is_told_as_not_ready(front: Front) -> None:
    front.toys.house.trouble["journal"] = "The journal can't be written: no space left. Free some."
    status, answer = await front.get("/readyz")
    assert (status, answer["code"]) == (503, "trouble")
    status, _ = await front.get("/livez")
    assert status == 200


async def test_the_counters_hold_a_line_for_each_box(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    async with front.session.get("/metrics") as answer:
        text = await answer.text()
        assert answer.content_type == "text/plain"
    assert 'stagectl_device_adopted{device="iso-1"} 1.0' in text
    assert 'stagectl_commands_total{ended="verified",verb="roll"} 3.0' in text
    assert 'stagectl_loop_lag_seconds_bucket{le="+Inf"}' in text
    assert "stagectl_alarms_standing 0.0" in text
    assert 'stagectl_alarms_total{grade="now"} 0.0' in text


async def test_the_front_page_says_the_sentence_without_any_script(front: Front) -> None:
    async with front.session.get("/") as answer:
        text = await answer.text()
        policy = answer.headers["Content-Security-Policy"]
    assert front.toys.house.site.name in text
    assert "3 of 3 can roll." in text
    assert "not live" in text
    assert "default-src 'none'" in policy
    assert not re.search(r"<script(?![^>]* src=)", text), "no script stands in it"


async def test_what_people_named_is_escaped_on_the_page(front: Front) -> None:
    await front.post("roll?wait=verdict", {"name": "<b>Bach & sons</b>"})
    async with front.session.get("/") as answer:
        text = await answer.text()
    assert "&lt;b&gt;Bach &amp; sons&lt;/b&gt;" in text
    assert "<b>Bach" not in text
