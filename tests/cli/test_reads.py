"""Do the reading verbs show what the daemon knows, doubts included? Against a stub daemon."""

import json
from typing import Any

import pytest

from tests.cli.answers import golden
from tests.cli.stub import Stub

NOW: dict[str, Any] = {
    "say": "Not ready: Rec 3 has no medium. 4 of 5 can roll.",
    "at": "2026-11-25T15:00:00.000Z",
    "can_roll": 4,
    "recorders": 5,
    "take": None,
    "last": "Take 14 ended on 5 of 5 at 14:58:00, 00:09:15 long.",
    "next": {"take": 15, "name": ""},
    "wrong": [
        {
            "device": "iso-3",
            "called": "Rec 3",
            "say": "Rec 3 can't roll: it has no medium.",
            "remedy": "Put one in.",
            "since": None,
            "grade": "soon",
        }
    ],
}
DEVICES = {
    "devices": [
        {
            "id": name,
            "called": called,
            "kind": kind,
            "box": box,
            "at": at,
            "up": up,
            "adopted": up,
            "health": "well" if up else "failed",
            "why": "" if up else "no answer",
            "quarantined": None,
            "groups": [],
        }
        for name, called, kind, box, at, up in (
            ("iso-1", "Rec 1", "recorder", "text-deck", "127.0.5.11:9993", True),
            ("iso-2", "Rec 2", "recorder", "text-deck", "127.0.5.12:9993", False),
            ("hall", "Hall router", "router", "block-router", "127.0.5.21:9990", True),
            ("mixer", "Mixer", "mixer", "mixer-text", "127.0.5.31:49280", True),
        )
    ]
}


def point(device: str, name: str, value: Any, quality: str = "good", **more: Any) -> dict[str, Any]:
    told = {"device": device, "name": name, "unit": "", "value": value, "quality": quality, "by": "", "rev": 1}
    return told | {"at": "2026-11-25T14:02:00.000Z"} | more


PATHS = {
    "points": [
        point("paths", "director.shows", "wide"),
        point("paths", "director.way", "wide, hall input 4 > hall output 9"),
        point("paths", "bench.shows", None, "unknown"),
        point("paths", "bench.way", None, "unknown"),
        point("paths", "program.shows", "hands", "stale"),
        point("paths", "program.way", "hands, hall input 3 > hall output 15", "stale"),
        point("paths", "ties.free", 1),
    ]
}
POINTS = {
    "points": [
        point("mixer", "strip.5.name", "Presenter"),
        point("mixer", "strip.5.level", -12.0, unit="dB", by="box"),
        point("mixer", "strip.6.name", "Piano"),
        point("mixer", "strip.7.name", "Piano top"),
        point("mixer", "strip.5.muted", False),
        point("mixer", "bus.3.name", "Bench"),
    ]
}


def test_now_says_the_sentence_then_what_is_wrong(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": (200, NOW)}
    result = stub.run("now")
    assert result.stdout == golden("now")
    assert result.exit_code == 0


def test_now_tells_what_rises_and_how_to_stop_it(stub: Stub) -> None:
    rise = {
        "device": "mixer",
        "point": "bus.3.level",
        "to": -6.0,
        "who": "ines",
        "say": "Mixer bus 3 level rises to -6 dB.",
    }
    stub.routes = {"GET /api/v1/now": (200, NOW | {"rises": [rise]})}
    assert (
        'Mixer bus 3 level rises to -6 dB. To stop it there: stagectl level "bus 3" stop'
        in stub.run("now").stdout.splitlines()
    )


def test_wrong_answers_with_its_exit_code(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/wrong": [(200, {"wrong": NOW["wrong"]}), (200, {"wrong": []})]}
    first, second = stub.run("wrong"), stub.run("wrong")
    assert (first.exit_code, first.stdout) == (6, "^ Rec 3 can't roll: it has no medium. Put one in.\n")
    assert (second.exit_code, second.stdout) == (0, "Nothing is wrong.\n")


def test_paths_mark_what_is_old_and_what_is_not_known(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/points": (200, PATHS)}
    assert stub.run("paths").stdout == golden("paths")
    told = json.loads(stub.run("paths", "--json").stdout)["paths"]
    assert told["program"] == {"shows": "hands", "quality": "stale", "way": "hands, hall input 3 > hall output 15"}


def test_kit_lists_every_box_and_how_it_is(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/devices": (200, DEVICES)}
    assert stub.run("kit").stdout == golden("kit")


def test_one_box_is_shown_whole_by_a_shortened_name(stub: Stub) -> None:
    whole = DEVICES["devices"][3] | {"counts": {"connects": 2, "losses": 1}, "points": POINTS["points"]}
    stub.routes = {"GET /api/v1/devices": (200, DEVICES), "GET /api/v1/devices/mixer": (200, whole)}
    text = stub.run("kit", "mix").stdout
    assert "On the wire: connects 2, losses 1." in text
    assert "  strip 5 level  -12 dB     14:02:00  by a hand at the box" in text


@pytest.mark.parametrize(
    ("word", "says"), [("Rec", "may be iso-1 or iso-2"), ("nobody", "There is iso-1, iso-2, hall")]
)
def test_a_name_that_means_two_or_none_is_exit_2(stub: Stub, word: str, says: str) -> None:
    stub.routes = {"GET /api/v1/devices": (200, DEVICES)}
    result = stub.run("kit", word)
    assert result.exit_code == 2
    assert says in result.stderr


def test_points_of_one_part_or_box(stub: Stub) -> None:
    stub.routes = {
        "GET /api/v1/site": (200, {"parts": ["takes", "paths"]}),
        "GET /api/v1/devices": (200, DEVICES),
        "GET /api/v1/points": (200, POINTS),
    }
    stub.run("points", "takes")
    stub.run("points", "rec 1")
    everything = stub.run("points").stdout
    asked = [target for _, target, _ in stub.heard if "points" in target]
    assert asked == ["/api/v1/points?device=takes", "/api/v1/points?device=iso-1", "/api/v1/points"]
    assert "mixer strip 5 muted  no" in everything


def test_the_journal_tells_who_and_what(stub: Stub) -> None:
    entry = {
        "n": 7,
        "at": "2026-11-25T14:02:00.000Z",
        "kind": "command",
        "who": "ines",
        "data": {"say": "roll", "x": ""},
    }
    stub.routes = {"GET /api/v1/journal": (200, {"entries": [entry], "last": 7})}
    assert stub.run("journal", "--since", "6").stdout == "7  14:02:00  command  ines  say roll\n"
    assert stub.heard[0][1] == "/api/v1/journal?count=20&since=6"
