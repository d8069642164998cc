"""Do line-up, clock, media and a plan of routes say first what is not right, and end with a no? Against a stub."""

import json
from typing import Any

import pytest

from tests.cli.answers import golden
from tests.cli.stub import Stub


def row(device: str, called: str, check: str, stands: str, found: str, **more: Any) -> dict[str, Any]:
    told = {
        "id": f"{device}.{check}",
        "device": device,
        "called": called,
        "check": check,
        "asks": "",
        "stands": stands,
        "must": True,
        "found": found,
        "remedy": "",
        "age_s": 0.4,
        "waiver": None,
    }
    return told | more


ROWS = [
    row(
        "iso-1",
        "Rec 1",
        "format",
        "fail",
        "input format is 1080i50",
        remedy="Set the camera that is routed to it to 1080p25.",
    ),
    row("iso-2", "Rec 2", "timecode", "not known", "no timecode is read from it now", remedy="Let it show its input."),
    row(
        "iso-3",
        "Rec 3",
        "signal",
        "fail",
        "input present is no",
        remedy="Look at the cable.",
        waiver={"by": "ines", "because": "it is not used", "until": "2026-11-25T23:00:00.000Z"},
    ),
    row("iso-3", "Rec 3", "reference", "fail", "reference locked is no", must=False, remedy="Look at its reference."),
    row("iso-1", "Rec 1", "remote", "pass", "remote is yes"),
]
LINEUP = {
    "ready": False,
    "say": "Not ready: 3 of 5 checks fail and 1 is not known.",
    "at": "2026-11-25T15:00:00.000Z",
    "passed": 1,
    "failed": 3,
    "unknown": 1,
    "rows": ROWS,
}
CLOCK = {
    "reference": "iso-1",
    "reference_by": "the middle of all",
    "rate": "25",
    "within": 1,
    "clocks": [
        {
            "device": f"iso-{number}",
            "called": f"Rec {number}",
            "state": state,
            "why": why,
            "label": label,
            "rate": "25",
            "offset": offset,
            "give": give,
            "drift": drift,
            "answers": 48,
        }
        for number, state, why, label, offset, give, drift in (
            (1, "in step", "", "15:00:00:12", 0.0, 0.0, None),
            (2, "apart", "+3.0 frames, give or take 0.1, wanted within 1", "15:00:00:15", 3.02, 0.08, None),
            (3, "running free", "it drifts by +25 millionths", "15:00:00:12", 0.4, 0.1, 2.25),
            (4, "not known", "no timecode is read from it now", "", None, None, None),
        )
    ],
}
MEDIA = {
    "planned": 6000,
    "spare": 0.15,
    "plan": [{"take": "Harbour Suite", "lasts": 2700, "times": 2}, {"take": "Encore", "lasts": 600, "times": 0}],
    "media": [
        {
            "device": f"iso-{number}",
            "called": f"Rec {number}",
            "left": left,
            "basis": basis,
            "why": why,
            "per_s": 1,
            "measured_per_s": None,
            "confidence": "none",
            "writes": writes,
            "slots": slots,
            "enough": enough,
        }
        for number, left, basis, why, writes, enough, slots in (
            (1, 58_688, "codec", "", "as it should", True, [{"slot": 1, "name": "TIDE-11", "left": 58_688}]),
            (2, 1260, "measured", "", "at another rate", False, [{"slot": 1, "name": "", "left": 1260}]),
            (3, None, "nothing", "its media are not read now", "", None, []),
        )
    ],
}
SITE = {"destinations": ["program", "director"], "sources": ["wide", "hands"]}
PLAN: dict[str, Any] = {
    "say": "1 of 2 find a way, 1 of them new. No plan serves more.",
    "served": 1,
    "of": 2,
    "exact": True,
    "method": "exact",
    "freed": ["hall 16"],
    "rev": 9,
    "routes": ["program = wide over hall 15"],
    "rows": [
        {
            "destination": "program",
            "source": "wide",
            "way": ["hall input 4 > hall output 15", "gallery input 1 > gallery output 1"],
            "delay": 2,
            "stands": False,
            "why": "",
            "remedy": "",
        },
        {
            "destination": "director",
            "source": "hands",
            "way": [],
            "delay": 0,
            "stands": False,
            "why": "No tie-line is left to bring hands to director: hall 16 to gallery 2 is held by mix-rec (wide).",
            "remedy": "Give one of them another picture first.",
        },
    ],
}


def test_a_line_up_says_what_is_not_right_and_what_to_do(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/lineup": (200, LINEUP)}
    result = stub.run("lineup")
    assert (result.exit_code, result.stdout) == (6, golden("lineup"))
    whole = stub.run("lineup", "--all").stdout
    assert "remote is yes" in whole
    assert json.loads(stub.run("lineup", "--json").stdout)["ready"] is False


def test_a_line_up_that_is_ready_is_one_line_and_exit_0(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/lineup": (200, LINEUP | {"ready": True, "rows": ROWS[-1:], "say": "Ready to roll."})}
    result = stub.run("lineup")
    assert (result.exit_code, len(result.stdout.splitlines())) == (0, 1)


def test_a_waiver_is_asked_by_the_id_of_the_check(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/lineup/waivers": (200, LINEUP)}
    stub.run("lineup", "waive", "iso-3.signal", "--because", "it is not used")
    assert stub.heard[-1][2] == {"check": "iso-3.signal", "because": "it is not used"}
    assert stub.run("lineup", "iso-3.signal").exit_code == 2


def test_the_clock_tells_frames_and_their_give(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/clock": (200, CLOCK), "GET /api/v1/clock": (200, CLOCK)}
    result = stub.run("clock")
    assert (result.exit_code, result.stdout) == (6, golden("clock"))
    assert stub.run("clock", "--last").stdout == golden("clock")


def test_media_tell_what_is_not_enough(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/media": (200, MEDIA)}
    result = stub.run("media")
    assert (result.exit_code, result.stdout) == (6, golden("media"))


def test_a_plan_of_routes_is_shown_and_not_taken_while_one_has_no_way(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/site": (200, SITE), "POST /api/v1/routes/plan": (200, PLAN)}
    result = stub.run("route", "plan", "prog=wide", "director=hands", "--take")
    assert (result.exit_code, result.stdout) == (6, golden("route-plan"))
    assert stub.heard[-1][2] == {"routes": ["program = wide", "director = hands"]}


@pytest.mark.parametrize("words", [("plan",), ("plan", "program"), ("program",), ("program", "wide", "hands")])
def test_routes_that_are_half_said_are_not_understood(stub: Stub, words: tuple[str, ...]) -> None:
    stub.routes = {"GET /api/v1/site": (200, SITE)}
    assert stub.run("route", *words).exit_code == 2
