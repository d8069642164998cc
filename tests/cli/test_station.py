"""Does the terminal give a station its picture and its sound with one verb? Source: own construction."""

from typing import Any

import pytest

from tests.cli.answers import box
from tests.cli.stub import Stub

SITE = {"stations": ["director", "bench"], "sources": ["wide", "stage-left", "stage-right"]}
POINTS = [
    {"device": "stations", "name": name, "value": value, "quality": quality, "unit": ""}
    for name, value, quality in [
        ("director.sees", "wide", "good"),
        ("director.hears", "program", "stale"),
        ("bench.hears", "piano", "good"),
    ]
]


def asked(**more: Any) -> dict[str, Any]:
    return {
        "id": "x",
        "count": "3 of 3",
        "take": None,
        "ended": "verified",
        "say": "Show director wide: 3 of 3 done.",
        "boxes": [box(1)],
    } | more


def hall(stub: Stub, **more: Any) -> None:
    stub.routes = {
        "GET /api/v1/site": (200, SITE),
        "GET /api/v1/points": (200, {"points": POINTS}),
        "POST /api/v1/commands": (200, asked(**more)),
    }


def test_one_verb_gives_picture_and_sound(stub: Stub) -> None:
    hall(stub)
    done = stub.run("station", "dir", "show", "wi", "sound", "piano", "+", "presenter")
    assert (done.exit_code, done.stdout) == (0, "Show director wide: 3 of 3 done.\n")
    args = {"station": "director", "picture": "wide", "sound": "piano + presenter"}
    assert stub.heard[-1][2] == {"target": "stations", "verb": "show", "args": args}


def test_a_part_that_failed_has_a_line_of_its_own(stub: Stub) -> None:
    hall(stub, ended="failed", boxes=[box(1), box(2, "failed", why="it is dark", words="not set")])
    done = stub.run("station", "director", "sound", "program")
    assert done.exit_code == 1
    assert "Rec 2  FAILED" in done.stdout


def test_alone_it_lists_who_sees_and_hears_what(stub: Stub) -> None:
    hall(stub)
    text = "director  sees wide  hears program ~\nbench                hears piano\n"
    assert stub.run("station").stdout == text
    assert stub.run("station", "bench").stdout == "bench    hears piano\n"
    assert '"director": {"sees": "wide", "hears": "program ~"}' in stub.run("station", "--json").stdout


@pytest.mark.parametrize(
    ("args", "why"),
    [
        (("director", "wide"), '"wide" says neither show nor sound.'),
        (("director", "show"), "After show a name is missing."),
        (("director", "show", "stage"), '"stage" may be stage-left or stage-right.'),
        (("balcony", "show", "wide"), 'There is no station "balcony".'),
    ],
)
def test_what_is_not_understood_asks_for_nothing(stub: Stub, args: tuple[str, ...], why: str) -> None:
    hall(stub)
    done = stub.run("station", *args)
    assert done.exit_code == 2
    assert why in done.stderr
    assert all(method == "GET" for method, _, _ in stub.heard)
