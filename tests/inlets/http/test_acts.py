"""What happens when somebody asks over HTTP, and what is the answer worth?

Source: own construction, after the answers that the route table promises.
"""

import asyncio
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from stagectl.inlets.http import acting
from tests.inlets.http.conftest import Front

NEEDED = ("device", "called", "ended", "why", "remedy", "after_s", "missing", "code")


async def test_a_roll_names_every_box_with_its_verdict(front: Front) -> None:
    status, answer = await front.post("roll?wait=verdict", {"name": "Warm-up"})
    assert status == 200
    assert answer["ended"] == "verified"
    assert (answer["take"], answer["count"], answer["durable"]) == (1, "3 of 3", True)
    assert [box["called"] for box in answer["boxes"]] == ["Rec 1", "Rec 2", "Rec 3"]
    assert all(set(NEEDED) <= set(box) for box in answer["boxes"])
    assert answer["say"].startswith("Take 1 rolls on 3 of 3")
    assert answer["take_detail"]["name"] == "Warm-up"
    assert {name for name, _ in front.toys.asked()} == {"iso-1", "iso-2", "iso-3"}


async def test_a_roll_without_a_body_rolls_everything(front: Front) -> None:
    async with front.session.post("/api/v1/roll?wait=verdict") as answer:
        assert answer.status == 200
        assert (await answer.json())["count"] == "3 of 3"


async def test_who_does_not_wait_is_told_where_to_look(front: Front) -> None:
    async with front.session.post("/api/v1/roll") as answer:
        assert answer.status == 202
        where = answer.headers["Location"]
    await front.toys.until(lambda: all(group.ended for group in front.toys.house.commands.groups.values()))
    status, later = await front.get(where)
    assert (status, later["ended"]) == (200, "verified")


async def test_a_recorder_that_says_no_is_named_and_the_others_roll_on(front: Front) -> None:
    front.toys.boxes["iso-2"].refuses = "it has no input picture (110). Look at its input and at the router."
    status, answer = await front.post("roll?wait=verdict", {})
    assert status == 200
    assert (answer["ended"], answer["count"]) == ("failed", "2 of 3")
    missing = answer["boxes"][1]
    assert (missing["why"], missing["remedy"]) == ("no input", "Route a source to it, then: stagectl roll iso-2")
    _, now = await front.get("now")
    assert now["say"] == "Take 1 rolls on 2 of 3. Rec 2 did not roll: no input."
    assert [row["say"] for row in now["wrong"]] == ["Rec 2 did not roll: no input."]


async def test_a_recorder_that_lies_is_found_out(front: Front) -> None:
    front.toys.boxes["iso-3"].lies = True
    _, answer = await front.post("roll?wait=verdict", {})
    assert [box["ended"] for box in answer["boxes"]] == ["verified", "verified", "failed"]
    assert answer["boxes"][2]["say"].startswith("Rec 3 did not roll: it still reports stopped.")


async def test_a_silent_recorder_is_not_known(front: Front) -> None:
    front.toys.boxes["iso-1"].silent = True
    _, answer = await front.post("roll?wait=verdict", {"on": ["Rec 1"]})
    assert answer["ended"] == "unconfirmed"
    assert answer["say"] == "Not known if anything rolls: 0 of 1 are proven."


async def test_of_a_deck_that_is_out_of_reach_and_rolled_when_last_seen_verdict_and_sentence_say_the_same(
    front: Front,
) -> None:
    await front.post("roll?wait=verdict", {})
    await front.toys.boxes["iso-2"].close()
    await front.toys.until(lambda: not front.toys.house.boxes["iso-2"].up)
    status, answer = await front.post("roll?wait=verdict", {"on": ["Rec 2"]})
    (box,) = answer["boxes"]
    assert (status, answer["ended"]) == (200, "unconfirmed")
    assert (box["ended"], box["code"], box["refused"], box["words"]) == (
        *("unconfirmed", "no-link", True),
        "not known if it rolls",
    )
    assert box["say"] == (
        "Rec 2: not known if it rolls. It is not reached, and rolled when last seen. "
        "Look at its front, and check its power and network cable."
    )


async def test_the_same_key_twice_is_one_take(front: Front) -> None:
    first = await front.post("roll?wait=verdict", {"name": "Once"}, Idempotency_Key="press-1")
    again = await front.post("roll?wait=verdict", {"name": "Once"}, Idempotency_Key="press-1")
    assert first[1]["id"] == again[1]["id"] == "press-1"
    assert len(front.toys.asked()) == 3
    assert list(front.toys.house.takes.takes) == [1]


async def test_the_same_key_at_the_same_time_is_one_take(front: Front) -> None:
    answers = await asyncio.gather(*(front.post("roll?wait=verdict", {}, Idempotency_Key="press-2") for _ in range(5)))
    assert {answer["id"] for _, answer in answers} == {"press-2"}
    assert len(front.toys.asked()) == 3


async def test_a_key_used_for_something_else_is_refused(front: Front) -> None:
    await front.post("roll?wait=verdict", {"name": "Once"}, Idempotency_Key="press-1")
    status, answer = await front.post("cut", {"take": 1}, Idempotency_Key="press-1")
    assert (status, answer["code"]) == (409, "id-reused")
    assert front.toys.house.takes.open is not None


async def test_the_same_id_through_an_inlet_is_the_same_take(front: Front) -> None:
    await front.post("roll?wait=verdict", {}, Idempotency_Key="0123456789abcdef")
    status, answer = await front.post("in/pedal?wait=verdict", {"verb": "roll", "id": "0123456789abcdef"})
    assert (status, answer["is"]) == (200, "done")
    assert len(front.toys.asked()) == 3


@pytest.mark.parametrize("key", ["", "with space", "ü", "x" * 65, "a/b"])
async def test_a_key_that_is_no_key_is_refused(front: Front, key: str) -> None:
    async with front.session.post("/api/v1/roll", headers={"Idempotency-Key": key}) as answer:
        assert answer.status == 422
        assert (await answer.json(content_type=None))["code"] == "id"
    assert front.toys.asked() == []


async def test_a_cut_without_a_number_ends_nothing_and_says_which(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    status, answer = await front.post("cut", {})
    assert (status, answer["field"]) == (409, "body.take")
    assert answer["detail"].startswith("Take 1 rolls on 3 recorders since")
    assert answer["remedy"] == "To end it: stagectl cut 1"
    assert [line["do"] for _, line in front.toys.asked()] == ["roll"] * 3


async def test_a_cut_of_another_take_is_refused(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    status, answer = await front.post("cut", {"take": 7})
    assert (status, answer["code"]) == (409, "take")
    assert front.toys.house.takes.open is not None


async def test_a_cut_ends_the_take_it_names(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    status, answer = await front.post("cut?wait=verdict", {"take": 1})
    assert (status, answer["say"]) == (200, "Take 1 ended on 3 of 3.")
    _, take = await front.get("takes/1")
    assert not take["running"]


async def test_a_viewer_may_look_and_nothing_else(front: Front) -> None:
    cuts = [("cut", {}), ("cut", {"take": 7}), ("in/pedal", {"verb": "cut"})]
    cuts.append(("in/pedal", {"verb": "cut", "args": {"take": 7}}))  # no word of what runs, which none does
    for path, body in [("roll", {}), ("takes/slate", {"name": "x"}), ("in/pedal", {"verb": "roll"}), *cuts]:
        status, answer = await front.post(path, body, X_Stage_Who="guest")
        assert (status, answer["code"], answer["remedy"]) == (403, "role", "Ask an operator.")
    await front.post("roll?wait=verdict", {})
    status, answer = await front.post("takes/1/marks", {"good": True}, X_Stage_Who="guest")
    assert (status, answer["code"]) == (403, "role")
    status, _ = await front.get("now", **{"X-Stage-Who": "guest"})
    assert status == 200
    assert len(front.toys.asked()) == 3


async def test_a_person_the_site_does_not_name_is_refused(front: Front) -> None:
    status, answer = await front.post("roll", {}, X_Stage_Who="mallory")
    assert (status, answer["code"]) == (403, "who")
    assert front.toys.asked() == []


async def test_what_ines_asks_is_written_under_her_name(front: Front) -> None:
    await front.post("roll?wait=verdict", {}, X_Stage_Who="ines")
    assert {who for kind, who, _ in front.toys.journal.records if kind == "command"} == {"ines"}


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"target": "nobody", "verb": "roll"}, 404, "target"),
        ({"target": "iso-1", "verb": "fly"}, 422, "verb"),
        ({"target": "hall", "verb": "set", "args": {"point": "output.9.colour", "value": 1}}, 422, "point"),
        ({"target": "hall", "verb": "set", "args": {"point": "output.1.source", "value": "x"}}, 422, "value"),
        ({"target": "mixer", "verb": "set", "args": {"point": "strip.1.level", "value": 99}}, 422, "range"),
        ({"target": "mixer", "verb": "set", "args": {"point": "strip.1.level"}}, 422, "argument"),
        ({"target": "iso-1", "verb": "roll", "args": {"name": "a\nb"}}, 422, "shape"),
        ({"target": "iso-1", "verb": "set", "args": {"point": "transport", "value": "stopped"}}, 422, "read-only"),
        ({"target": "iso-1"}, 422, "shape"),
        ({"target": "iso-1", "verb": "roll", "colour": "red"}, 422, "shape"),
        ({"target": ["iso-1"], "verb": "roll"}, 422, "shape"),
        ([1, 2], 422, "shape"),
    ],
)
async def test_what_is_not_understood_reaches_no_box(front: Front, body: object, status: int, code: str) -> None:
    got, answer = await front.post("commands", body)
    assert (got, answer["code"]) == (status, code)
    assert answer["detail"]
    assert answer["remedy"] or code in ("value", "range", "read-only")
    assert front.toys.asked() == []


async def test_a_viewers_erasing_and_an_operators_are_refused(front: Front) -> None:
    body = {"target": "iso-1", "verb": "format", "args": {"slot": 1}}
    for who in ("guest", "ines"):
        status, answer = await front.post("commands", body, X_Stage_Who=who)
        assert (status, answer["code"]) == (403, "role")
    assert front.toys.asked() == []


async def test_a_note_and_a_mark_stand_on_the_take(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    _, said = await front.post("takes/1/marks", {"note": "Page turn at bar 40"})
    assert said["say"].startswith("The note is written to take 1 at 01:00:0")
    _, said = await front.post("takes/1/marks", {"kind": "problem"})
    assert said["say"].startswith("Take 1 has the mark problem at 01:00:0")
    _, said = await front.post("takes/1/marks", {"good": True})
    assert said["say"] == "Take 1 is marked good."
    _, take = await front.get("takes/1")
    assert take["good"]
    assert take["notes"][0].endswith("desk: Page turn at bar 40")
    assert [(mark["kind"], mark["text"]) for mark in take["marks"]] == [
        ("note", "Page turn at bar 40"),
        ("problem", ""),
    ]
    assert all(mark["label"].startswith("01:00:0") and mark["device"] == "iso-1" for mark in take["marks"])


@pytest.mark.parametrize(
    "body",
    [{}, {"note": ""}, {"kind": "note"}, {"kind": "bad"}, {"note": "a\u202eb"}, {"good": "yes"}, {"note": "x" * 1001}],
)
async def test_a_mark_that_says_nothing_is_refused(front: Front, body: object) -> None:
    await front.post("roll?wait=verdict", {})
    status, _ = await front.post("takes/1/marks", body)
    assert status == 422


async def test_the_next_take_gets_the_name_it_was_given(front: Front) -> None:
    _, said = await front.post("takes/slate", {"name": "Third movement"})
    assert said["say"] == 'Take 1 will be "Third movement".'
    await front.post("roll?wait=verdict", {})
    _, take = await front.get("takes/1")
    assert take["name"] == "Third movement"


async def test_a_disk_that_does_not_take_the_journal_is_said_in_the_answer(front: Front) -> None:
    front.toys.journal.safe = False
    _, answer = await front.post("roll?wait=verdict", {})
    assert answer["durable"] is False
    assert answer["warning"]
    assert answer["ended"] == "verified"


async def test_a_client_that_vanishes_leaves_its_command_running(front: Front) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", front.server.port)
    writer.write(
        b"POST /api/v1/roll?wait=verdict HTTP/1.1\r\nHost: localhost\r\nIdempotency-Key: gone\r\n"
        b"Content-Length: 0\r\n\r\n"
    )
    await writer.drain()
    await front.toys.until(lambda: "gone" in front.toys.house.commands.groups)
    writer.transport.abort()
    del reader
    await front.toys.until(lambda: front.toys.house.commands.groups["gone"].ended)
    _, answer = await front.get("commands/gone")
    assert answer["ended"] == "verified"


async def test_a_verdict_that_takes_too_long_is_answered_as_heard(
    front: Front, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(acting, "PATIENCE_S", -1.99)
    for toy in front.toys.boxes.values():
        toy.silent = True
    status, answer = await front.post("roll?wait=verdict", {})
    assert (status, answer["ended"]) == (202, None)


# -- scenes -----------------------------------------------------------------------------------------------------------


async def test_a_dry_run_says_what_would_change_and_sends_nothing(front: Front) -> None:
    status, plan = await front.post("scenes/roll-everything/runs?dry=1", {"args": {"title": "Songs"}})
    assert status == 200
    assert plan["say"].startswith("roll-everything would make 3 changes")
    assert front.toys.asked() == []


async def test_a_scene_runs_to_its_end_under_its_key(front: Front) -> None:
    body = {"args": {"title": "Songs"}}
    status, run = await front.post("scenes/roll-everything/runs?wait=verdict", body, Idempotency_Key="run-1")
    assert (status, run["id"], run["ended"]) == (200, "run-1", "verified")
    again = await front.post("scenes/roll-everything/runs?wait=verdict", body, Idempotency_Key="run-1")
    assert again[1]["id"] == "run-1"
    assert len(front.toys.asked()) == 3
    status, answer = await front.post("scenes/roll-everything/runs", {}, Idempotency_Key="run-1")
    assert (status, answer["code"]) == (409, "id-reused")


async def test_a_scene_waits_for_its_answer(front: Front) -> None:
    _, run = await front.post("scenes/stand-clear/runs", {}, Idempotency_Key="asks")
    await front.toys.until(lambda: "ask" in str(front.toys.house.chronicle.recent[-1].data))
    _, run = await front.get("scenes/runs/asks")
    assert run["questions"] == [{"step": "1", "of": "operator"}]
    status, answer = await front.post("scenes/runs/asks/answers", {"answer": True}, X_Stage_Who="guest")
    assert (status, answer["code"]) == (403, "role")
    await front.post("scenes/runs/asks/answers", {"answer": True})
    await front.toys.until(lambda: "end" in str(front.toys.house.chronicle.recent[-1].data.get("what")))
    _, run = await front.get("scenes/runs/asks")
    assert run["ended"] == "verified"


@pytest.mark.parametrize(("name", "status"), [("no-such", 404), ("broken", 404), ("..%2F..%2Fetc%2Fpasswd", 404)])
async def test_a_scene_that_is_not_there_or_broken_is_refused(front: Front, name: str, status: int) -> None:
    got, answer = await front.post(f"scenes/{name}/runs", {})
    assert got == status
    assert answer["detail"]
    assert front.toys.asked() == []


# -- what all inlets share --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "said", "asked"),
    [
        ({"verb": "route", "args": {"src": "hands", "dst": "director"}}, "done", {"set": "output.3.source", "to": 2}),
        ({"verb": "level", "args": {"of": "strip 1", "to": "-20 dB"}}, "done", {"set": "strip.1.level", "to": -20.0}),
        ({"verb": "roll", "args": {"on": ["iso-1"]}, "edge": "release"}, "done", None),
    ],
)
async def test_an_inlet_speaks_six_words(
    front: Front, body: object, said: str, asked: dict[str, object] | None
) -> None:
    status, answer = await front.post("in/key-panel?wait=verdict", body)
    assert (status, answer["is"]) == (200, said), answer
    assert [line for _, line in front.toys.asked()] == ([asked] if asked else [])


async def test_a_level_that_rises_slowly_is_waited_for(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acting, "PATIENCE_S", 0.2)  # a rise of 9 dB takes 1.5 s, a Set alone is given one
    body = {"verb": "level", "args": {"of": "strip 1", "to": "-3 dB"}}
    status, answer = await front.post("in/key-panel?wait=verdict", body)
    assert (status, answer["is"]) == (200, "done"), answer
    assert front.toys.boxes["mixer"].points["strip.1.level"] == -3.0


async def test_an_inlet_stops_a_rise_where_it_is_and_now_tells_of_it(front: Front) -> None:
    status, answer = await front.post("in/key-panel", {"verb": "level", "args": {"of": "strip 1", "to": "10 dB"}})
    assert (status, answer["is"]) == (202, "heard"), answer
    _, told = await front.get("now")
    assert [one["say"] for one in told["rises"]] == ["Mixer strip 1 level rises to 10 dB, asked by desk."]
    status, answer = await front.post("in/pedal?wait=verdict", {"verb": "stay", "args": {"of": "strip 1"}})
    assert (status, answer["is"]) == (200, "done"), answer
    assert -12.0 <= front.toys.boxes["mixer"].points["strip.1.level"] < 9.0
    assert (await front.get("now"))[1]["rises"] == []
    _, answer = await front.post("in/pedal?wait=verdict", {"verb": "stay", "args": {"of": "strip 1"}})
    assert answer["is"] == "failed"
    assert "strip 1 level does not rise" in answer["say"], answer


async def test_an_inlet_is_told_who_is_missing(front: Front) -> None:
    front.toys.boxes["iso-2"].refuses = "its medium is full (104). Put in another medium."
    _, answer = await front.post("in/pedal?wait=verdict", {"verb": "roll"})
    assert (answer["is"], answer["count"]) == ("partly", "2 of 3")
    assert answer["missing"][0]["say"].startswith("Rec 2 did not roll: its medium is full.")


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"verb": "format", "args": {"slot": 1}}, 422),
        ({"verb": "roll", "args": {"colour": "red"}}, 422),
        ({"verb": "route", "args": {"src": "hands"}}, 422),
        ({"verb": "route", "args": {"src": "moon", "dst": "director"}}, 422),
        ({"verb": "level", "args": {"of": "strip 2"}}, 422),
        ({"verb": "cut"}, 409),
        ({"verb": "mark", "args": {"take": "x", "good": True}}, 422),
        ({"verb": "mark", "args": {"take": 9, "good": True}}, 404),
        ({"verb": "scene", "args": {}}, 422),
        ({"verb": "scene", "args": {"name": "no-such"}}, 404),
        ({"verb": "roll", "id": "a b"}, 422),
    ],
)
async def test_an_inlet_that_asks_wrongly_reaches_no_box(front: Front, body: object, status: int) -> None:
    got, answer = await front.post("in/pedal", body)
    assert got == status, answer
    assert front.toys.asked() == []


async def test_an_inlet_that_asks_too_often_is_slowed(front: Front) -> None:
    statuses = [(await front.post("in/pedal", {"verb": "roll", "edge": "release"}))[0] for _ in range(12)]
    assert statuses[:10] == [200] * 10
    assert 429 in statuses[10:]
    status, _ = await front.post("in/other", {"verb": "roll", "edge": "release"})
    assert status == 200


async def test_an_inlet_marks_the_newest_take(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    status, answer = await front.post("in/pedal", {"verb": "mark", "args": {"good": True}})
    assert (status, answer["is"], answer["say"]) == (200, "done", "Take 1 is marked good.")


async def test_an_alarm_is_known_and_put_aside_by_name_and_a_viewer_may_not(front: Front) -> None:
    front.toys.boxes["iso-2"].change({"input.present": False})
    await front.toys.until(lambda: any(row.number for row in front.toys.house.alarms.wrong()))
    _, wrong = await front.get("wrong")
    number = wrong["wrong"][0]["number"]
    status, answer = await front.post(f"alarms/{number}/ack", None, X_Stage_Who="guest")
    assert (status, answer["code"]) == (403, "role")
    status, answer = await front.post(f"alarms/{number}/ack", None, X_Stage_Who="ines")
    assert (status, answer["is"], answer["known_by"]) == (200, "known", "ines")
    assert answer["done"] == "Known: Rec 2 has no input picture."
    until = datetime.now(UTC) + timedelta(hours=2)
    body = {"until": until.isoformat(), "reason": "the camera is on its way"}
    status, answer = await front.post("alarms/iso-2.no-input/aside", body, X_Stage_Who="ines")
    assert (status, answer["is"], answer["aside"]["by"]) == (200, "aside", "ines")
    _, wrong = await front.get("wrong")
    assert wrong["wrong"] == []
    records = [data for kind, _, data in front.toys.journal.records if kind == "alarm"]
    assert [(one["what"], one.get("by", ""), one.get("inlet", "")) for one in records] == [
        ("on", "", ""),
        ("known", "ines", "http"),
        ("aside", "ines", "http"),
    ]


@pytest.mark.parametrize(
    ("path", "body", "status", "code"),
    [
        ("alarms/nothing/ack", None, 404, "alarm"),
        ("alarms/iso-1.no-input/ack", None, 409, "alarm-off"),
        ("alarms/iso-1.no-input/aside", {"until": "soon", "reason": "x"}, 422, "argument"),
        ("alarms/iso-1.no-input/aside", {"until": "2026-11-25T18:00:00", "reason": "x"}, 422, "argument"),
        ("alarms/iso-1.no-input/aside", {"reason": "x"}, 422, "shape"),
    ],
)
async def test_an_alarm_that_is_off_or_none_is_said_so(
    front: Front, path: str, body: Any, status: int, code: str
) -> None:
    got, answer = await front.post(path, body)
    assert (got, answer["code"]) == (status, code)


async def test_the_journal_says_who_asked_from_where_what_on_which_take_and_how_it_ended(front: Front) -> None:
    await front.post("roll?wait=verdict", {"name": "Warm-up"}, X_Stage_Who="ines")
    await front.post("cut?wait=verdict", {"take": 1}, X_Stage_Who="guest")  # a viewer: refused
    kinds = {(kind, who): data for kind, who, data in front.toys.journal.records if kind != "take"}
    asked, ended = kinds["command", "ines"], kinds["verdict", "ines"]
    assert (asked["inlet"], asked["source"], asked["take"]) == ("http", "127.0.0.1 http", 1)
    assert asked["say"].startswith("roll")
    assert (ended["id"], ended["ended"], ended["take"], ended["count"]) == (asked["id"], "verified", 1, "3 of 3")
    refused = kinds["access", "guest"]
    assert (refused["what"], refused["source"], refused["code"]) == ("refused", "127.0.0.1 http", "role")
    assert refused["act"] == "POST /api/v1/cut"
