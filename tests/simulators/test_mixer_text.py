"""Does the simulated text mixer behave as its family does, and misbehave as its switches say?"""

import asyncio
import itertools
import random
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagectl_simulators.house_clock import HouseClock
from stagectl_simulators.mixer_text import NOISE, TextMixer, build
from stagectl_simulators.mixer_text_meters import table_index
from stagectl_simulators.mixer_text_profile import LOWEST, MINUS_INFINITY, STEPS, stepped
from stagectl_simulators.mixer_text_wire import MAX_LINE_BYTES
from stagectl_simulators.model import Sends
from stagectl_simulators.serve import SimBox, Simulation

PRACTICE = "mixer-text family, common practice"
OWN = "own construction"

FADER = "DEV:Strip/Fader/Level"


def mixer(**options: object) -> TextMixer:
    return build("sound", options, random.Random(1), HouseClock())


def met(box: TextMixer, *clients: int) -> TextMixer:
    for client in clients:
        opened = box.open(client, f"10.0.0.{client}", 0.0)
        assert not opened.refuse
        assert opened.sends == []
    return box


@pytest.fixture
def desk() -> TextMixer:
    """Sixteen strips with two clients met, 1 and 2."""
    return met(mixer(), 1, 2)


def truth(box: TextMixer, now_s: float) -> Any:
    """Ground truth, as JSON has it."""
    return box.truth(now_s)


def heard(sends: Sends, client: int) -> list[str]:
    data = b"".join(data for to, data in sends if to == client)
    assert data == b"" or data.endswith(b"\n")
    return data.decode(errors="replace").splitlines()


def asked(box: TextMixer, line: str, client: int = 1, now_s: float = 0.0) -> list[str]:
    return heard(box.feed(client, f"{line}\n".encode(), now_s), client)


# Levels

LEVELS = [
    # asked, in force, shown, source
    (-32768, -32768, "-INF", PRACTICE),
    (-13800, -13800, "-138.00", PRACTICE),
    (-2000, -2000, "-20.00", PRACTICE),
    (-5, -5, "-0.05", PRACTICE),
    (0, 0, "0.00", PRACTICE),
    (350, 350, "3.50", PRACTICE),
    (1000, 1000, "10.00", PRACTICE),
    (1200, 1000, "10.00", PRACTICE),
    (-20000, -32768, "-INF", PRACTICE),
    (-13801, -32768, "-INF", OWN),
    (-40000, -32768, "-INF", OWN),
    (2, 0, "0.00", OWN),
    (3, 5, "0.05", OWN),
    (-3, -5, "-0.05", OWN),
    (-2, 0, "0.00", OWN),
    (-2004, -2000, "-20.00", OWN),
    (-2005, -2010, "-20.10", OWN),
    (-4024, -4000, "-40.00", OWN),
    (-4025, -4050, "-40.50", OWN),
    (-6050, -6100, "-61.00", OWN),
    (-9749, -9600, "-96.00", OWN),
    (-9750, -9900, "-99.00", OWN),
    (-13799, -13800, "-138.00", OWN),
]


@pytest.mark.parametrize(("level", "in_force", "shown", "source"), LEVELS)
def test_a_level_comes_to_rest_on_a_step_and_says_so(
    desk: TextMixer, level: int, in_force: int, shown: str, source: str
) -> None:
    assert source
    flag = "OK" if level == in_force else "OKm"
    assert asked(desk, f"set {FADER} 0 0 {level}") == [f'{flag} set {FADER} 0 0 {in_force} "{shown}"']
    assert asked(desk, f"get {FADER} 0 0") == [f'OK get {FADER} 0 0 {in_force} "{shown}"']


@given(level=st.integers(-15000, 1500))
def test_a_step_is_a_place_of_rest_and_the_nearest(level: int) -> None:
    rest = stepped(level)
    assert stepped(rest) == rest
    if LOWEST <= level <= 1000:
        widest = next(size for start, size in STEPS if level >= start)
        assert abs(rest - level) * 2 <= widest
    else:
        assert rest == (MINUS_INFINITY if level < LOWEST else 1000)


def test_the_table_of_steps_joins_without_a_gap() -> None:
    for (start, size), (_, below) in itertools.pairwise(STEPS):
        assert start % size == 0
        assert start % below == 0


# Dialogue

DIALOGUE = [
    # id, line, answer, source
    ("get", f"get {FADER} 0 0", f'OK get {FADER} 0 0 -2000 "-20.00"', PRACTICE),
    ("set", f"set {FADER} 0 0 0", f'OK set {FADER} 0 0 0 "0.00"', PRACTICE),
    ("set, clamped and flagged", f"set {FADER} 0 0 1200", f'OKm set {FADER} 0 0 1000 "10.00"', PRACTICE),
    ("mute", "set DEV:Strip/Fader/On 4 0 0", 'OK set DEV:Strip/Fader/On 4 0 0 "OFF"', PRACTICE),
    (
        "name",
        'set DEV:Strip/Label/Name 4 0 "Host 1"',
        'OK set DEV:Strip/Label/Name 4 0 "Host 1" "Host 1"',
        PRACTICE,
    ),
    ("index out of range", f"get {FADER} 999 0", "ERROR get InvalidArgument", PRACTICE),
    ("unknown path", "get DEV:No/Such 0 0", "ERROR get UnknownAddress", PRACTICE),
    ("unknown command", "hello", "ERROR unknown UnknownCommand", PRACTICE),
    ("last strip", f"get {FADER} 15 0", f'OK get {FADER} 15 0 -2000 "-20.00"', OWN),
    ("one strip too far", f"get {FADER} 16 0", "ERROR get InvalidArgument", OWN),
    ("negative index", f"get {FADER} -1 0", "ERROR get InvalidArgument", OWN),
    ("second index unused", f"get {FADER} 0 1", "ERROR get InvalidArgument", OWN),
    ("index missing", f"get {FADER} 0", "ERROR get InvalidArgument", OWN),
    ("verb alone", "get", "ERROR get InvalidArgument", OWN),
    ("get with a value", f"get {FADER} 0 0 0", "ERROR get InvalidArgument", OWN),
    ("set without a value", f"set {FADER} 0 0", "ERROR set InvalidArgument", OWN),
    ("set with two values", f"set {FADER} 0 0 0 0", "ERROR set InvalidArgument", OWN),
    ("level in words", f"set {FADER} 0 0 loud", "ERROR set InvalidArgument", OWN),
    ("level in quotes", f'set {FADER} 0 0 "0"', "ERROR set InvalidArgument", OWN),
    ("level with a point", f"set {FADER} 0 0 1.5", "ERROR set InvalidArgument", OWN),
    ("level without end", f"set {FADER} 0 0 {'9' * 400}", "ERROR set InvalidArgument", OWN),
    ("digits of another script", f"set {FADER} 0 0 ٣", "ERROR set InvalidArgument", OWN),
    ("switch neither on nor off", "set DEV:Strip/Fader/On 0 0 2", "ERROR set InvalidArgument", OWN),
    ("path in another case", "get dev:strip/fader/level 0 0", "ERROR get UnknownAddress", PRACTICE),
    ("verb in capitals", f"GET {FADER} 0 0", "ERROR unknown UnknownCommand", PRACTICE),
    ("path in quotes", f'get "{FADER}" 0 0', "ERROR get UnknownAddress", OWN),
    ("more than one space", f"get   {FADER}  0 0 ", f'OK get {FADER} 0 0 -2000 "-20.00"', OWN),
    ("CR LF", f"get {FADER} 0 0\r", f'OK get {FADER} 0 0 -2000 "-20.00"', PRACTICE),
    ("pan", "set DEV:Strip/Pan/Position 1 0 -12", 'OK set DEV:Strip/Pan/Position 1 0 -12 "L12"', PRACTICE),
    ("pan, clamped", "set DEV:Strip/Pan/Position 1 0 64", 'OKm set DEV:Strip/Pan/Position 1 0 63 "R63"', PRACTICE),
    ("pan, middle", "get DEV:Strip/Pan/Position 1 0", 'OK get DEV:Strip/Pan/Position 1 0 0 "C"', PRACTICE),
    ("send", "set DEV:Strip/ToMix/Level 3 7 -600", 'OK set DEV:Strip/ToMix/Level 3 7 -600 "-6.00"', OWN),
    ("send of a bus too far", "get DEV:Strip/ToMix/Level 3 8", "ERROR get InvalidArgument", OWN),
    ("bus level", "get DEV:Mix/Fader/Level 7 0", 'OK get DEV:Mix/Fader/Level 7 0 0 "0.00"', OWN),
    ("bus too far", "get DEV:Mix/Fader/Level 8 0", "ERROR get InvalidArgument", OWN),
    ("bus off", "set DEV:Mix/Fader/On 0 0 0", 'OK set DEV:Mix/Fader/On 0 0 0 "OFF"', OWN),
    ("bus name", "get DEV:Mix/Label/Name 0 0", 'OK get DEV:Mix/Label/Name 0 0 "Mix 1" "Mix 1"', OWN),
    ("empty name", 'set DEV:Strip/Label/Name 0 0 ""', 'OK set DEV:Strip/Label/Name 0 0 "" ""', PRACTICE),
    (
        "name of many letters",
        f'set DEV:Strip/Label/Name 0 0 "{"ü" * 40}"',
        f'OKm set DEV:Strip/Label/Name 0 0 "{"ü" * 32}" "{"ü" * 32}"',
        PRACTICE,
    ),
    ("name without quotes", "set DEV:Strip/Label/Name 0 0 Host", "ERROR set InvalidArgument", OWN),
    ("quote in a name", 'set DEV:Strip/Label/Name 0 0 "a"b"', "ERROR set InvalidArgument", PRACTICE),
    ("quote left open", 'set DEV:Strip/Label/Name 0 0 "a', "ERROR set InvalidArgument", OWN),
    ("tab in a name", 'set DEV:Strip/Label/Name 0 0 "a\tb"', "ERROR set InvalidArgument", PRACTICE),
    ("a meter cannot be set", "set DEV:Meter/Strip 0 0 0", "ERROR set AccessDenied", OWN),
    ("product", "devinfo productname", 'OK devinfo productname "MX16"', OWN),
    ("version", "devinfo version", 'OK devinfo version "1.0"', OWN),
    ("no such fact", "devinfo colour", "ERROR devinfo InvalidArgument", OWN),
    ("current memory", "sscurrent", "OK sscurrent A 1", OWN),
    ("memory too far", "ssrecall A 11", "ERROR ssrecall InvalidArgument", OWN),
    ("memory nought", "ssrecall A 0", "ERROR ssrecall InvalidArgument", OWN),
    ("no such bank", "ssrecall B 1", "ERROR ssrecall InvalidArgument", OWN),
    ("memory without number", "ssrecall A", "ERROR ssrecall InvalidArgument", OWN),
    ("keepalive", "keepalive", "OK keepalive", OWN),
    ("login where none is wanted", "login a b", "ERROR unknown UnknownCommand", OWN),
    ("a line of 4096 bytes", "x" * MAX_LINE_BYTES, "ERROR unknown UnknownCommand", PRACTICE),
    ("a request drawn out beyond its limit", f"get {FADER} 0 0{' ' * 4096}", "ERROR unknown UnknownCommand", PRACTICE),
    ("a line without end", "x" * (3 * MAX_LINE_BYTES), "ERROR unknown UnknownCommand", PRACTICE),
]


@pytest.mark.parametrize(("line", "answer"), [row[1:3] for row in DIALOGUE], ids=[row[0] for row in DIALOGUE])
def test_a_line_is_answered_with_one_line(desk: TextMixer, line: str, answer: str) -> None:
    assert asked(desk, line) == [answer]


def test_an_empty_line_is_no_request(desk: TextMixer) -> None:
    assert asked(desk, "") == []
    assert asked(desk, "  ") == []


def test_a_name_cannot_smuggle_in_a_second_request(desk: TextMixer) -> None:
    answers = asked(desk, 'set DEV:Strip/Label/Name 0 0 "x\nset DEV:Strip/Fader/On 0 0 0"')
    assert answers == ["ERROR set InvalidArgument"] * 2
    assert truth(desk, 0.0)["strips"][0]["on"] is True


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8, 13])
def test_the_whole_dialogue_in_pieces_is_answered_alike(size: int) -> None:
    stream = "".join(f"{row[1]}\n" for row in DIALOGUE).encode()
    whole, pieces = met(mixer(), 1), met(mixer(), 1)
    sends: Sends = []
    for at in range(0, len(stream), size):
        sends += pieces.feed(1, stream[at : at + size], 0.0)
    assert sends == whole.feed(1, stream, 0.0)
    assert len(sends) == len(DIALOGUE)


@settings(max_examples=60, deadline=None)
@given(lines=st.lists(st.sampled_from([row[1].encode() for row in DIALOGUE] + [b"\xff", b'"'])), cuts=st.randoms())
def test_any_split_of_a_stream_gives_the_same_answers(lines: list[bytes], cuts: random.Random) -> None:
    stream = b"\n".join(lines)
    whole, split = met(mixer(), 1), met(mixer(), 1)
    at = 0
    sends: Sends = []
    while at < len(stream):
        step = cuts.randint(1, 90)
        sends += split.feed(1, stream[at : at + step], 0.0)
        at += step
    assert sends == whole.feed(1, stream, 0.0)
    assert truth(split, 0.0) == truth(whole, 0.0)


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=400))
def test_bytes_of_any_kind_are_answered_in_whole_lines(data: bytes) -> None:
    sends = met(mixer(), 1).feed(1, data + b"\n", 0.0)
    assert all(re.match(rb"(OK|OKm|ERROR|NOTIFY) ", line) and line.endswith(b"\n") for _, line in sends)


# Who is told


def test_a_change_is_told_to_the_others_alone(desk: TextMixer) -> None:
    met(desk, 3)
    sends = desk.feed(1, f"set {FADER} 7 0 -32768\n".encode(), 0.0)
    told = f'NOTIFY set {FADER} 7 0 -32768 "-INF"'  # PRACTICE
    assert heard(sends, 1) == [f'OK set {FADER} 7 0 -32768 "-INF"']
    assert heard(sends, 2) == heard(sends, 3) == [told]


def test_a_set_to_the_value_in_force_is_told_to_nobody(desk: TextMixer) -> None:
    assert len(desk.feed(1, f"set {FADER} 7 0 -2000\n".encode(), 0.0)) == 1


def test_a_notice_may_come_between_a_request_and_its_answer(desk: TextMixer) -> None:
    desk.faults.turn("slow", 0.5)
    assert desk.feed(1, f"get {FADER} 0 0\nget {FADER} 1 0\n".encode(), 0.0) == []
    seen = heard(desk.panel("fader", {"strip": 2, "db": -5}, 0.1), 1)
    seen += heard(desk.advance(1.0), 1)
    assert seen == [  # PRACTICE
        f'NOTIFY set {FADER} 1 0 -500 "-5.00"',
        f'OK get {FADER} 0 0 -2000 "-20.00"',
        f'OK get {FADER} 1 0 -500 "-5.00"',
    ]


# Memories


def test_a_recall_tells_every_changed_parameter_to_all_the_asker_too(desk: TextMixer) -> None:
    sends = desk.feed(1, b"ssrecall A 3\n", 0.0)
    mine, others = heard(sends, 1), heard(sends, 2)
    assert mine[0] == "OK ssrecall A 3"
    assert others[0] == "NOTIFY ssrecall A 3"
    assert mine[1:] == others[1:]
    levels = [f'NOTIFY set {FADER} {strip} 0 0 "0.00"' for strip in range(3)]
    mutes = [f'NOTIFY set DEV:Strip/Fader/On {strip} 0 0 "OFF"' for strip in range(3, 16)]
    assert mine[1:] == levels + mutes
    assert asked(desk, "sscurrent") == ["OK sscurrent A 3"]


def test_a_recall_puts_back_what_was_moved_since_and_keeps_names(desk: TextMixer) -> None:
    asked(desk, f"set {FADER} 0 0 -700")
    asked(desk, "set DEV:Strip/ToMix/Level 2 3 0")
    asked(desk, 'set DEV:Strip/Label/Name 0 0 "Host 1"')
    assert asked(desk, "ssrecall A 1") == [
        "OK ssrecall A 1",
        f'NOTIFY set {FADER} 0 0 -2000 "-20.00"',
        'NOTIFY set DEV:Strip/ToMix/Level 2 3 -32768 "-INF"',
    ]
    assert truth(desk, 0.0)["strips"][0]["name"] == "Host 1"


def test_a_mixer_with_a_single_notice_tells_a_recall_in_one_line() -> None:
    box = met(mixer(recall_notices="single"), 1, 2)
    sends = box.feed(1, b"ssrecall A 3\n", 0.0)
    assert sends == [(1, b"OK ssrecall A 3\n"), (2, b"NOTIFY ssrecall A 3\n")]
    assert asked(box, f"get {FADER} 0 0") == [f'OK get {FADER} 0 0 0 "0.00"']


# Meters


def test_a_polled_meter_follows_fader_and_mute(desk: TextMixer) -> None:
    (line,) = asked(desk, "get DEV:Meter/Strip 0 0", now_s=0.0)
    assert line == 'OK get DEV:Meter/Strip 0 0 -3800 "-38.00"'
    asked(desk, f"set {FADER} 0 0 0")
    assert asked(desk, "get DEV:Meter/Strip 0 0") == ['OK get DEV:Meter/Strip 0 0 -1800 "-18.00"']
    asked(desk, "set DEV:Strip/Fader/On 0 0 0")
    assert asked(desk, "get DEV:Meter/Strip 0 0") == ['OK get DEV:Meter/Strip 0 0 -32768 "-INF"']


def test_a_stream_of_meters_comes_at_its_interval_and_ends_by_itself(desk: TextMixer) -> None:
    assert asked(desk, "meterstart DEV:Meter/Strip 100") == ["OK meterstart DEV:Meter/Strip 100"]
    seen: list[str] = []
    now_s = 0.0
    while (due_s := desk.due_s()) is not None:
        now_s = due_s
        sends = desk.advance(now_s)
        assert heard(sends, 2) == []
        seen += heard(sends, 1)
    assert now_s == 10.0  # PRACTICE: about ten seconds
    assert 98 <= len(seen) <= 100
    assert all(re.fullmatch(r"NOTIFY meter DEV:Meter/Strip( [0-7][0-9A-F]){16}", line) for line in seen)
    assert len(set(seen)) > 50


def test_a_renewed_stream_goes_on_and_a_stopped_one_ends(desk: TextMixer) -> None:
    asked(desk, "meterstart DEV:Meter/Strip 1000")
    asked(desk, "meterstart DEV:Meter/Strip 1000", now_s=8.0)
    assert len(heard(desk.advance(15.0), 1)) == 1  # a late call owes one line, the newest
    assert desk.advance(15.2) == []
    assert asked(desk, "meterstop DEV:Meter/Strip", now_s=15.5) == ["OK meterstop DEV:Meter/Strip"]
    assert desk.due_s() is None


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("meterstart DEV:Meter/Strip 1", "OKm meterstart DEV:Meter/Strip 50"),
        ("meterstart DEV:Meter/Strip 5000", "OKm meterstart DEV:Meter/Strip 1000"),
        ("meterstart DEV:Meter/Strip 0", "ERROR meterstart InvalidArgument"),
        ("meterstart DEV:Meter/Strip", "ERROR meterstart InvalidArgument"),
        ("meterstart DEV:Meter/Strip fast", "ERROR meterstart InvalidArgument"),
        ("meterstart DEV:Meter/Mix 100", "ERROR meterstart UnknownAddress"),
        ("meterstop DEV:Meter/Mix", "ERROR meterstop UnknownAddress"),
        ("meterstop", "ERROR meterstop InvalidArgument"),
    ],
)
def test_the_words_of_the_meters(desk: TextMixer, line: str, answer: str) -> None:
    assert asked(desk, line) == [answer]


@pytest.mark.parametrize(
    ("level", "index"), [(-32768, 0), (-9000, 0), (-6301, 0), (-6300, 1), (-1800, 91), (0, 127), (1000, 127)]
)
def test_a_meter_byte_indexes_its_table(level: int, index: int) -> None:
    assert table_index(level) == index


# Sessions


def test_a_mixer_that_wants_a_login_answers_nothing_else_before() -> None:
    box = met(mixer(login="desk 1234"), 1, 2)
    assert asked(box, f"get {FADER} 0 0") == ["ERROR get AccessDenied"]
    assert asked(box, "login desk 4321") == ["ERROR login AccessDenied"]
    assert asked(box, 'login "desk') == ["ERROR login AccessDenied"]
    assert asked(box, "login desk 1234") == ["OK login"]
    assert asked(box, f"get {FADER} 0 0") == [f'OK get {FADER} 0 0 -2000 "-20.00"']
    assert heard(box.panel("mute", {"strip": 1}, 0.0), 2) == []  # a stranger is told nothing


def test_a_silent_client_is_dropped_and_one_that_keeps_alive_is_not() -> None:
    box = met(mixer(idle_drop_s=10), 1, 2)
    assert box.due_s() == 10.0
    asked(box, "keepalive", client=2, now_s=6.0)
    assert box.advance(10.0) == []
    assert box.drop() == [1]
    assert box.drop() == []
    box.close(1, 10.0)
    assert box.due_s() == 16.0
    asked(box, "", client=2, now_s=15.0)
    box.advance(24.9)
    assert box.drop() == []


def test_a_session_over_the_limit_is_refused() -> None:
    box = met(mixer(max_sessions=2), 1, 2)
    assert box.open(3, "10.0.0.3", 0.0).refuse
    box.close(1, 1.0)
    assert not box.open(4, "10.0.0.4", 1.0).refuse


# Front panel: (act, arguments, what everybody is told, what the record says)

ACTS = [
    ("fader", {"strip": 8, "db": -3.5}, f'NOTIFY set {FADER} 7 0 -350 "-3.50"', "strip 8 level is -3.50"),
    ("fader", {"strip": 8, "db": "off"}, f'NOTIFY set {FADER} 7 0 -32768 "-INF"', "strip 8 level is -INF"),
    ("fader", {"strip": 1, "db": 99}, f'NOTIFY set {FADER} 0 0 1000 "10.00"', "strip 1 level is 10.00"),
    ("mute", {"strip": 16}, 'NOTIFY set DEV:Strip/Fader/On 15 0 0 "OFF"', "strip 16 is OFF"),
    ("name", {"strip": 1, "text": 'a "b"'}, "NOTIFY set DEV:Strip/Label/Name 0 0 \"a 'b'\" \"a 'b'\"", None),
    ("bus_fader", {"bus": 8, "db": -6}, 'NOTIFY set DEV:Mix/Fader/Level 7 0 -600 "-6.00"', "bus 8 level is -6.00"),
]


@pytest.mark.parametrize(("act", "args", "told", "record"), ACTS)
def test_a_hand_on_the_surface_is_told_to_everybody(
    desk: TextMixer, act: str, args: dict[str, object], told: str, record: str | None
) -> None:
    sends = desk.panel(act, args, 1.5)
    assert heard(sends, 1) == heard(sends, 2) == [told]
    entry = truth(desk, 1.5)["history"][-1]
    assert entry["cause"] == "panel"
    assert entry["what"] == (record or "strip 1 name is a 'b'")


def test_unmute_takes_back_a_mute_of_the_wire(desk: TextMixer) -> None:
    assert desk.panel("unmute", {"strip": 1}, 0.0) == []
    asked(desk, "set DEV:Strip/Fader/On 0 0 0")
    assert heard(desk.panel("unmute", {"strip": 1}, 0.0), 1) == ['NOTIFY set DEV:Strip/Fader/On 0 0 1 "ON"']


def test_a_recall_at_the_surface_is_told_to_everybody(desk: TextMixer) -> None:
    sends = desk.panel("recall", {"memory": 3}, 0.0)
    assert heard(sends, 1) == heard(sends, 2)
    assert heard(sends, 1)[0] == "NOTIFY ssrecall A 3"
    assert len(heard(sends, 1)) == 1 + 3 + 13
    assert truth(desk, 0.0)["memory"] == 3


@pytest.mark.parametrize(
    ("act", "args", "sentence"),
    [
        ("fader", {"strip": 17, "db": 0}, "fader: strip must be a whole number from 1 to 16, not 17."),
        ("fader", {"strip": 1, "db": "loud"}, "fader: db must be a level in dB or \"off\", not 'loud'."),
        ("fader", {"strip": 1, "db": float("nan")}, 'fader: db must be a level in dB or "off", not nan.'),
        ("bus_fader", {"bus": 9, "db": 0}, "bus_fader: bus must be a whole number from 1 to 8, not 9."),
        ("recall", {"memory": 11}, "recall: memory must be a whole number from 1 to 10, not 11."),
        ("mute", {"strip": 1, "db": 0}, "mute: no argument 'db'."),
        ("name", {"strip": 1, "text": "a\nb"}, "name: text holds a control sign. Leave it out."),
        (
            "solo",
            {},
            "A text mixer has no act 'solo'. Known acts: fader, mute, unmute, name, bus_fader, recall.",
        ),
    ],
)
def test_an_act_the_surface_does_not_have_is_refused_with_a_sentence(
    desk: TextMixer, act: str, args: dict[str, object], sentence: str
) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        desk.panel(act, args, 0.0)
    assert str(refused.value) == sentence


# Faults


def test_a_wrong_echo_comes_once(desk: TextMixer) -> None:
    desk.faults.turn("wrong_echo", True)
    assert asked(desk, f"get {FADER} 0 0") == [f'OK get {FADER} 1 0 -2000 "-20.00"']
    assert asked(desk, f"get {FADER} 0 0") == [f'OK get {FADER} 0 0 -2000 "-20.00"']
    assert desk.faults.wrong_echo is False


def test_a_storm_is_500_notices_in_one_burst_and_the_last_one_is_true(desk: TextMixer) -> None:
    desk.faults.turn("storm", True)
    assert desk.due_s() == 0.0
    sends = desk.advance(1.0)
    lines = heard(sends, 1)
    assert lines == heard(sends, 2)
    assert len(lines) == len(set(lines)) == 500
    assert asked(desk, f"get {FADER} 15 0")[0].removeprefix("OK get") == lines[-1].removeprefix("NOTIFY set")
    assert desk.advance(1.1) == []
    assert desk.due_s() is None


def test_an_error_line_comes_unasked_once(desk: TextMixer) -> None:
    desk.faults.turn("error_line", True)
    assert desk.due_s() == 0.0
    assert desk.advance(1.0) == [(1, b"ERROR unknown InternalFault\n"), (2, b"ERROR unknown InternalFault\n")]
    assert desk.advance(1.0) == []


def test_a_deaf_mixer_says_ok_with_the_old_value(desk: TextMixer) -> None:
    desk.faults.turn("deaf_set", True)
    assert desk.feed(1, f"set {FADER} 0 0 0\n".encode(), 0.0) == [(1, f'OK set {FADER} 0 0 -2000 "-20.00"\n'.encode())]
    assert truth(desk, 0.0)["strips"][0]["level_db"] == -20.0


def test_a_busy_mixer_refuses_and_changes_nothing(desk: TextMixer) -> None:
    desk.faults.turn("busy", True)
    assert asked(desk, f"get {FADER} 0 0") == ["ERROR get Busy"]
    assert asked(desk, f"set {FADER} 0 0 0") == ["ERROR set Busy"]
    assert asked(desk, "ssrecall A 2") == ["ERROR ssrecall Busy"]
    assert asked(desk, "keepalive") == ["OK keepalive"]
    assert truth(desk, 0.0)["history"] == []


def test_without_notices_nobody_is_told(desk: TextMixer) -> None:
    desk.faults.turn("no_notify", True)
    asked(desk, "meterstart DEV:Meter/Strip 100")
    assert desk.panel("mute", {"strip": 1}, 0.0) == []
    assert desk.feed(1, b"ssrecall A 3\n", 0.0) == [(1, b"OK ssrecall A 3\n")]
    assert desk.advance(0.2) == []


def test_lines_may_end_in_cr_lf(desk: TextMixer) -> None:
    desk.faults.turn("crlf", True)
    assert desk.feed(1, b"keepalive\n", 0.0) == [(1, b"OK keepalive\r\n")]
    assert desk.panel("mute", {"strip": 1}, 0.0)[0][1].endswith(b'"OFF"\r\n')


def test_a_slow_mixer_takes_its_time_for_each_reply_and_keeps_their_order(desk: TextMixer) -> None:
    desk.faults.turn("slow", 2.0)
    line = f"set {FADER} 0 0 0\n".encode()
    assert desk.feed(1, line + b"keepalive\n", 1.0) == []
    assert desk.due_s() == 3.0
    assert truth(desk, 2.9)["strips"][0]["level_db"] == -20.0
    assert heard(desk.advance(3.0), 1) == [f'OK set {FADER} 0 0 0 "0.00"']
    desk.faults.turn("slow", False)
    assert asked(desk, "devinfo version", now_s=4.0) == []  # it waits behind the one before
    assert heard(desk.advance(5.0), 1) == ["OK keepalive", 'OK devinfo version "1.0"']
    assert asked(desk, "keepalive", now_s=6.0) == ["OK keepalive"]


def test_a_slow_mixer_hangs_up_on_a_client_that_floods_it(desk: TextMixer) -> None:
    desk.faults.turn("slow", 2.0)
    assert desk.feed(1, b"keepalive\n" * 1000, 0.0) == []
    assert desk.drop() == []
    assert desk.feed(1, b"keepalive\n" * 5, 0.0) == []
    assert desk.drop() == [1]


def test_the_wrong_model_says_what_it_is(desk: TextMixer) -> None:
    desk.faults.turn("wrong_model", True)
    assert asked(desk, "devinfo productname") == ['OK devinfo productname "Amplifier 4"']


def test_garbage_stands_before_everything_it_says(desk: TextMixer) -> None:
    desk.faults.turn("garbage", True)
    sends = desk.feed(1, f"set {FADER} 0 0 0\n".encode(), 0.0)
    assert len(sends) == 2
    assert all(data.startswith(NOISE) for _, data in sends)


# Options, record, server


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"strips": 0}, "sound: option 'strips' must be a whole number from 1 to 256, not 0."),
        ({"strip_names": ["a"] * 17}, "sound: option 'strip_names' has 17 names for 16 places."),
        ({"bus_names": ['a"']}, "sound: option 'bus_names' must be a list of names without quotes, not 'a\"'."),
        ({"recall_notices": "two"}, "sound: option 'recall_notices' must be one of each, single, not 'two'."),
        ({"colour": 1}, "sound: no option 'colour'."),
    ],
)
def test_a_wrong_option_is_refused_with_a_sentence(options: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        mixer(**options)
    assert str(refused.value).startswith(sentence)


def test_names_come_from_the_options_and_the_product_from_the_size() -> None:
    box = met(mixer(strips=8, buses=2, strip_names=["Speaker"], bus_names=["PA", "Wedge"]), 1)
    assert asked(box, "devinfo productname") == ['OK devinfo productname "MX8"']
    state = truth(box, 0.0)
    assert [strip["name"] for strip in state["strips"]] == ["Speaker", *(f"Strip {number}" for number in range(2, 9))]
    assert [bus["name"] for bus in state["buses"]] == ["PA", "Wedge"]
    assert state["history"] == []


def test_the_record_names_what_changed_and_by_whose_hand(desk: TextMixer) -> None:
    asked(desk, "set DEV:Strip/ToMix/Level 3 7 -600", client=2, now_s=1.25)
    asked(desk, "ssrecall A 2", client=1, now_s=2.0)
    state = truth(desk, 2.0)
    assert [(entry["at_s"], entry["what"], entry["cause"]) for entry in state["history"]] == [
        (1.25, "strip 4 send to bus 8 is -6.00", "wire:2"),
        (2.0, "memory A 2 is recalled", "wire:1"),
    ]
    assert state["strips"][3]["sends_db"] == [None] * 8
    assert state["clients"] == {"1": "10.0.0.1", "2": "10.0.0.2"}


async def test_over_the_network_a_mixer_answers_one_and_notifies_the_other() -> None:
    async with asyncio.timeout(10), Simulation([SimBox("sound", "mixer-text")]) as simulation:
        host, port = simulation.addresses["sound"]
        one, to_one = await asyncio.open_connection(host, port)
        two, to_two = await asyncio.open_connection(host, port)
        to_two.write(b"devinfo productname\n")
        assert await two.readline() == b'OK devinfo productname "MX16"\n'
        to_one.write(f"set {FADER} 0 0 1200\n".encode())
        assert await one.readline() == f'OKm set {FADER} 0 0 1000 "10.00"\n'.encode()
        assert await two.readline() == f'NOTIFY set {FADER} 0 0 1000 "10.00"\n'.encode()
        simulation.boxes["sound"].panel("mute", {"strip": 1})
        for stream in (one, two):
            assert await stream.readline() == b'NOTIFY set DEV:Strip/Fader/On 0 0 0 "OFF"\n'
        for writer in (to_one, to_two):
            writer.close()


async def test_over_the_network_a_silent_client_sees_the_mixer_hang_up() -> None:
    box = SimBox("sound", "mixer-text", options={"idle_drop_s": 0.05})
    async with asyncio.timeout(10), Simulation([box]) as simulation:
        reader, writer = await asyncio.open_connection(*simulation.addresses["sound"])
        assert await reader.read() == b""
        writer.close()
