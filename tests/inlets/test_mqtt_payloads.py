"""Do the payloads of MQTT say what docs/mqtt.md promises? Rows without a broker; own construction."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from stagectl.control.groups import Command as GroupCommand
from stagectl.control.groups import Group
from stagectl.inlets.mqtt_payloads import (
    AHEAD_S,
    COMMAND_BYTES,
    Command,
    id_of,
    in_time,
    opened,
    packed,
    pages,
    part_of,
    parts,
    plain,
    read_command,
    shown,
    state,
    verdict,
)
from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import MIXER
from stagectl.model.capabilities.recorder import (
    RECORDER,
    REMOTE,
    SLOT_LEFT,
    SLOT_STATE,
    TIMECODE,
    TRANSPORT,
    Roll,
    SlotState,
    Transport,
)
from stagectl.model.capabilities.router import ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.points import Reading
from stagectl.model.verbs import Ask, Ended, Verdict
from stagectl.shoot.paths import PATHS
from stagectl.shoot.stations import STATIONS
from stagectl.shoot.takes import TAKES
from tests.model.hand_clock import HandClock

WALL = datetime(2027, 3, 12, 14, 2, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("point", "part", "key"),
    [
        ("transport", "transport", "transport"),
        ("clip.name", "clip", "name"),
        ("slot.active", "slot", "active"),
        ("slot.1.left", "slot.1", "left"),
        ("output.3.source", "output.3", "source"),
        ("strip.5.send.3.level", "strip.5", "send.3.level"),
        ("director.sees", "director", "sees"),
    ],
)
def test_a_part_is_the_first_word_with_its_index(point: str, part: str, key: str) -> None:
    assert part_of(point) == (part, key)


@pytest.mark.parametrize("kind", [RECORDER, ROUTER, MIXER, TAKES, PATHS, STATIONS], ids=lambda kind: kind.kind)
def test_no_two_points_of_a_kind_share_a_key_of_a_part(kind: Any) -> None:
    filled = [point.name.replace("{", "").replace("}", "") for point in kind.points]
    numbered = [
        ".".join(
            "1" if word in ("slot", "output", "strip", "bus") and at else word
            for at, word in enumerate(name.split("."))
        )
        for name in filled
    ]
    for names in (filled, numbered):
        keys = [part_of(name) for name in names]
        assert len(set(keys)) == len(set(names))


# -- state -------------------------------------------------------------------------------------------------------------


class Shelf:
    """A board with one recorder on it."""

    def __init__(self) -> None:
        self.clock = HandClock()
        self.board = Board(self.clock)
        self.writer = self.board.writer("iso-1")

    def put(self, spec: Any, value: Any, at: float) -> None:
        self.writer.declare(spec)
        self.writer.asked_at = self.writer.read_at = at
        self.writer.put(spec.name, value)

    def part(self, name: str) -> list[Reading[Any]]:
        return parts(self.board, ["iso-1"])["iso-1", name]


def test_a_part_says_values_worst_quality_and_the_oldest_reading() -> None:
    shelf = Shelf()
    shelf.put(SLOT_STATE.at(1), SlotState.READY, 10.0)
    shelf.put(SLOT_LEFT.at(1), 3600.0, 12.0)
    said = state(shelf.part("slot.1"), 7, WALL, 20.0)
    assert said == {
        "v": 1,
        "epoch": 7,
        "rev": shelf.board.rev,
        "at": "2027-03-12T14:02:00.000Z",
        "seen": "2027-03-12T14:01:50.000Z",
        "q": "good",
        "data": {"state": "ready", "left": 3600.0},
    }


def test_values_that_are_not_good_are_named_in_doubt() -> None:
    shelf = Shelf()
    shelf.put(SLOT_STATE.at(1), SlotState.READY, 10.0)
    shelf.writer.declare(SLOT_LEFT.at(1))
    said = state(shelf.part("slot.1"), 7, WALL, 20.0)
    assert (said["q"], said["doubt"]) == ("unknown", {"left": "unknown"})
    assert said["data"] == {"state": "ready", "left": None}
    shelf.writer.lost()
    said = state(shelf.part("slot.1"), 7, WALL, 20.0)
    assert said["doubt"] == {"state": "stale", "left": "unknown"}
    assert said["data"]["state"] == "ready", "what was last known is kept"


def test_what_was_never_read_was_never_seen() -> None:
    shelf = Shelf()
    shelf.writer.declare(TRANSPORT)
    said = state(shelf.part("transport"), 7, WALL, 20.0)
    assert (said["q"], said["seen"], said["data"]) == ("unknown", None, {"transport": None})


def test_a_part_says_whose_act_its_newest_change_was() -> None:
    shelf = Shelf()
    shelf.board.author = lambda reading: "box"
    shelf.put(TRANSPORT, Transport.STOPPED, 10.0)
    assert "by" not in state(shelf.part("transport"), 7, WALL, 20.0)
    shelf.put(TRANSPORT, Transport.RECORDING, 11.0)
    assert state(shelf.part("transport"), 7, WALL, 20.0)["by"] == "box"


def test_what_moves_with_every_frame_or_was_never_told_is_not_published() -> None:
    shelf = Shelf()
    shelf.put(TIMECODE, "10:00:00:00", 10.0)
    shelf.put(REMOTE, True, 10.0)
    shelf.board.reading("iso-1", TRANSPORT)
    assert [key for key in parts(shelf.board, ["iso-1", "nobody"]) if key[1] != "remote"] == []
    assert not shown(shelf.board.reading("iso-1", TIMECODE))


def test_json_is_compact_utf_8_without_half_characters() -> None:
    assert packed({"say": "Bühne", "n": [1, 2]}) == '{"say":"Bühne","n":[1,2]}'.encode()
    assert packed({"say": "half \ud800"}) == b'{"say":"half ?"}'


def test_pages_hold_every_entry_once_and_keep_their_limit() -> None:
    entries = {f"state/iso-{number}/transport": number for number in range(100)}
    some = list(pages(entries, 500))
    assert len(some) > 5
    assert all(len(packed(page)) <= 500 for page in some)
    assert {name: value for page in some for name, value in page.items()} == entries
    assert sum(len(page) for page in some) == 100
    assert list(pages({})) == [{}]
    assert list(pages({"a": "x" * 900, "b": 1}, 500)) == [{"a": "x" * 900}, {"b": 1}]


# -- commands ----------------------------------------------------------------------------------------------------------


def told(**fields: Any) -> bytes:
    return json.dumps({"id": "a-1", "verb": "roll"} | fields).encode()


def test_a_whole_command_is_read_and_fields_nobody_knows_are_ignored() -> None:
    given = opened(
        told(
            v=1,
            on=["iso-1"],
            args={"name": "Warm-up"},
            if_epoch=7,
            if_rev={"iso-1/transport": 4},
            not_after="2027-03-12T14:02:03Z",
            source="office/alice",
            role="engineer",
            colour="green",
        )
    )
    assert read_command(given) == Command(
        "a-1",
        "roll",
        ("iso-1",),
        {"name": "Warm-up"},
        7,
        {"iso-1/transport": 4},
        datetime(2027, 3, 12, 14, 2, 3, tzinfo=UTC),
        "office/alice",
    )
    assert read_command(opened(told(on="iso-1"))).on == ("iso-1",)


SYNTAX: list[bytes] = [
    b"",
    b"roll",
    b"[]",
    b'"roll"',
    b"{",
    b'{"id": "a", "id": "b", "verb": "roll"}',
    b'{"id": "a", "verb": "roll", "n": NaN}',
    b'{"id": "a", "verb": "roll", "n": -Infinity}',
    b'{"id": "a", "verb": "roll", "n": 1e999}',
    b'{"id": "a", "verb": "roll", "n": ' + b"1" * 5000 + b"}",
    b'{"id": "a", "verb": "roll", "n": ' + b"[" * 3000 + b"]" * 3000 + b"}",
    b'{"id": "a", "verb": "\\ud800"}',
    b'{"id": "a", "verb": "\xff"}',
    b'{"id": "a", "verb": "roll", "x": "' + b"x" * COMMAND_BYTES + b'"}',
]


@pytest.mark.parametrize("payload", SYNTAX, ids=lambda payload: repr(payload[:40]))
def test_what_is_no_strict_json_object_is_refused(payload: bytes) -> None:
    with pytest.raises(RefusedError) as refused:
        opened(payload)
    assert refused.value.code == "syntax"
    assert str(refused.value).endswith(".")


def test_the_longest_command_is_read() -> None:
    short = told(x="")
    assert opened(told(x="y" * (COMMAND_BYTES - len(short))))["id"] == "a-1"


FIELDS: list[tuple[dict[str, Any], str]] = [
    ({"id": None}, "field"),
    ({"id": ""}, "field"),
    ({"id": 7}, "field"),
    ({"id": "a/b"}, "field"),
    ({"id": "a b"}, "field"),
    ({"id": "+"}, "field"),
    ({"id": "x" * 65}, "field"),
    ({"verb": None}, "field"),
    ({"verb": ["roll"]}, "field"),
    ({"on": 7}, "field"),
    ({"on": [7]}, "field"),
    ({"on": ""}, "field"),
    ({"on": ["iso-1", " "]}, "field"),
    ({"on": {"iso-1": True}}, "field"),
    ({"args": []}, "field"),
    ({"args": None}, "field"),
    ({"if_epoch": "7"}, "field"),
    ({"if_epoch": 7.5}, "field"),
    ({"if_epoch": True}, "field"),
    ({"if_rev": [1]}, "field"),
    ({"not_after": "soon"}, "field"),
    ({"not_after": 1795600000}, "field"),
    ({"not_after": "2027-03-12T14:02:03"}, "field"),
    ({"v": 2}, "version"),
    ({"v": "1"}, "version"),
]


@pytest.mark.parametrize(("fields", "code"), FIELDS, ids=lambda one: json.dumps(one)[:40])
def test_a_field_of_the_wrong_kind_is_refused_with_a_sentence(fields: dict[str, Any], code: str) -> None:
    given = opened(told(**fields))
    with pytest.raises(RefusedError) as refused:
        read_command(given)
    assert refused.value.code == code


def test_a_command_without_an_id_is_refused() -> None:
    with pytest.raises(RefusedError, match="has no id"):
        id_of(opened(b'{"verb": "roll"}'))


@pytest.mark.parametrize(
    ("seconds", "code"),
    [(-0.001, "expired"), (-3600, "expired"), (0, ""), (4.9, ""), (AHEAD_S, ""), (6, "too-far-ahead")],
)
def test_a_command_is_in_time_for_five_seconds(seconds: float, code: str) -> None:
    command = Command("a", "roll", not_after=WALL + timedelta(seconds=seconds))
    if not code:
        in_time(command, WALL)
        return
    with pytest.raises(RefusedError) as refused:
        in_time(command, WALL)
    assert refused.value.code == code


def test_a_time_in_any_zone_is_the_same_time() -> None:
    late = read_command(opened(told(not_after="0001-01-01T00:00:00+14:00")))
    with pytest.raises(RefusedError):
        in_time(late, WALL)
    in_time(read_command(opened(told(not_after="2027-03-12T16:02:01+02:00"))), WALL)
    in_time(Command("a", "roll"), WALL)


@pytest.mark.parametrize(
    ("word", "may"), [("ines", True), ("a.b_c-1", True), ("", False), ("a/b", False), ("é", False), ("x" * 65, False)]
)
def test_only_a_plain_word_stands_in_a_topic(word: str, may: bool) -> None:
    assert plain(word) is may


# -- verdicts ----------------------------------------------------------------------------------------------------------


def group(*verdicts: Verdict) -> Group:
    commands = [
        GroupCommand(Ask("r-1", "ines", "mqtt", f"iso-{number}", Roll()), verdict=one)
        for number, one in enumerate(verdicts, 1)
    ]
    made = Group("r-1", "ines", "mqtt", "roll", "roll", "", 100.0, commands, take=4, durable=True)
    made.finish(100.4124)
    return made


def test_a_verdict_counts_and_names_each_box() -> None:
    good, bad = Verdict(Ended.VERIFIED), Verdict(Ended.FAILED, "no medium", code="needs")
    assert verdict(group(good, good, bad), 7, 99, "Take 4 rolls on 2 of 3.") == {
        "v": 1,
        "id": "r-1",
        "epoch": 7,
        "phase": "failed",
        "why": "needs",
        "of": "2 of 3",
        "take": 4,
        "proof": {"rev": 99},
        "ms": 412,
        "durable": True,
        "say": "Take 4 rolls on 2 of 3.",
        "boxes": {"iso-1": "verified", "iso-2": "verified", "iso-3": "failed"},
    }


def test_a_group_that_has_not_ended_is_unconfirmed_not_verified() -> None:
    open_ = group(Verdict(Ended.VERIFIED))
    open_.ended_at = None
    assert verdict(open_, 7, 99, "")["phase"] == "unconfirmed"
