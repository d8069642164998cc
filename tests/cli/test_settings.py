"""Do route, level, mute and set ask for the right point? Against a stub daemon."""

import pytest

from tests.cli.answers import box, group
from tests.cli.stub import Stub, problem
from tests.cli.test_reads import DEVICES, POINTS

SITE = {"sources": ["stage-left", "stage-right", "hands"], "destinations": ["director", "bench", "iso-1"], "parts": []}
COMMANDS = "POST /api/v1/commands"


@pytest.fixture
def hall(stub: Stub) -> Stub:
    done = group(
        [box(1, words="is set", verb="set")], "verified", "Mixer: strip 5 level is -12 dB.", verb="set", take=None
    )
    stub.routes = {
        COMMANDS: (200, done),
        "GET /api/v1/site": (200, SITE),
        "GET /api/v1/devices": (200, DEVICES),
        "GET /api/v1/points": (200, POINTS),
    }
    return stub


ASKED = [
    # typed, target, point, value; own construction
    (("route", "director", "hands"), "paths", "director.shows", "hands"),
    (("route", "dir", "Stage-L"), "paths", "director.shows", "stage-left"),
    (("level", "5", "-12"), "mixer", "strip.5.level", "-12"),
    (("level", "presenter", "off"), "mixer", "strip.5.level", "off"),
    (("level", "pres", "-3.5 dB"), "mixer", "strip.5.level", "-3.5 dB"),
    (("level", "bus 3", "0"), "mixer", "bus.3.level", "0"),
    (("level", "piano", "-6"), "mixer", "strip.6.level", "-6"),
    (("mute", "strip 5", "on"), "mixer", "strip.5.muted", "yes"),
    (("mute", "Bench", "off"), "mixer", "bus.3.muted", "no"),
    (("mute", "5", "off", "--mixer", "mix"), "mixer", "strip.5.muted", "no"),
    (("set", "hall", "output 3 source", "5"), "hall", "output 3 source", "5"),
    (("set", "mixer", "strip 5 pan", "-1"), "mixer", "strip 5 pan", "-1"),
]


@pytest.mark.parametrize(("typed", "target", "point", "value"), ASKED)
def test_what_is_typed_becomes_one_set(hall: Stub, typed: tuple[str, ...], target: str, point: str, value: str) -> None:
    result = hall.run(*typed)
    assert result.exit_code == 0
    assert result.stdout == "Mixer: strip 5 level is -12 dB.\n"
    sent = [body for method, _, body in hall.heard if method == "POST"]
    assert sent == [{"target": target, "verb": "set", "args": {"point": point, "value": value}}]


STOPS = [
    # typed, point; own construction
    (("level", "5", "stop"), "strip.5.level"),
    (("level", "bus 3", "stop"), "bus.3.level"),
    (("level", "strip 5 send 3", "stop"), "strip.5.send.3.level"),
    (("level", "presenter", "stop"), "strip.5.level"),
]


@pytest.mark.parametrize(("typed", "point"), STOPS)
def test_a_rise_is_stopped_by_its_level(hall: Stub, typed: tuple[str, ...], point: str) -> None:
    assert hall.run(*typed).exit_code == 0
    sent = [body for method, _, body in hall.heard if method == "POST"]
    assert sent == [{"target": "mixer", "verb": "stay", "args": {"point": point}}]


UNCLEAR = [
    (("route", "stage", "hands"), 'There is no destination "stage"'),
    (("route", "director", "stage"), '"stage" may be stage-left or stage-right'),
    (("level", "pi", "-6"), '"pi" may be strip 6 or strip 7'),
    (("level", "flute", "-6"), 'No strip is called "flute"'),
    (("level", "5", "-6", "--mixer", "hall"), 'There is no device or part "hall"'),
    (("mute", "5", "perhaps"), "'perhaps' is not one of"),
]


@pytest.mark.parametrize(("typed", "says"), UNCLEAR)
def test_what_is_not_clear_is_asked_back_and_nothing_is_sent(hall: Stub, typed: tuple[str, ...], says: str) -> None:
    result = hall.run(*typed)
    assert result.exit_code == 2
    assert says in result.stderr
    assert all(method == "GET" for method, _, _ in hall.heard)


def test_a_site_without_a_mixer_says_so(hall: Stub) -> None:
    hall.routes["GET /api/v1/devices"] = (200, {"devices": DEVICES["devices"][:3]})
    result = hall.run("level", "5", "-6")
    assert result.exit_code == 2
    assert "no mixer" in result.stderr


def test_what_is_protected_is_exit_4(hall: Stub) -> None:
    hall.routes[COMMANDS] = (
        403,
        problem(403, "locked", "hall output 1 source is protected: Rec 1 is the safety copy."),
    )
    assert hall.run("set", "hall", "output 1 source", "5").exit_code == 4


def test_a_way_over_several_routers_shows_each_of_them(hall: Stub) -> None:
    boxes = [box(1, called="paths", words="is set"), box(2, called="Hall router", words="is set", moot=True)]
    hall.routes[COMMANDS] = (200, group(boxes, "verified", "Set: 2 of 2 done.", verb="set", take=None))
    text = hall.run("route", "director", "hands").stdout
    assert "  Hall router  is set, as before  0.32 s\n" in text
