"""Is what is wrong shown with who knows, and can it be known or put aside from a terminal? Against a stub daemon."""

from typing import Any

import pytest

from tests.cli.stub import Stub, problem

ROW: dict[str, Any] = {
    "id": "iso-3.cannot-roll",
    "number": 7,
    "device": "iso-3",
    "called": "Rec 3",
    "say": "Rec 3 can't roll: it has no medium.",
    "remedy": "Put one in.",
    "since": None,
    "grade": "soon",
    "is": "on",
    "known_by": "",
    "aside": None,
}
BACK = ROW | {"number": 5, "say": "Over after 42 s: Rec 2 has no input picture.", "remedy": "", "is": "back"}


def test_each_row_has_the_number_to_name_it_by(stub: Stub) -> None:
    stub.routes = {
        "GET /api/v1/wrong": (200, {"wrong": [ROW, ROW | {"number": 8, "known_by": "ines"}], "back": [BACK]})
    }
    result = stub.run("wrong")
    assert result.exit_code == 6
    assert result.stdout.splitlines() == [
        "^ Rec 3 can't roll: it has no medium. Put one in.  [7]",
        "^ Rec 3 can't roll: it has no medium. Put one in.  [8, ines knows]",
        ". Over after 42 s: Rec 2 has no input picture.  [5]",
    ]


def test_what_is_over_and_unseen_is_no_reason_for_exit_6(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/wrong": (200, {"wrong": [], "back": [BACK]})}
    result = stub.run("wrong")
    assert (result.exit_code, result.stdout) == (0, ". Over after 42 s: Rec 2 has no input picture.  [5]\n")


def test_an_alarm_is_known_by_its_number(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/alarms/7/ack": (200, ROW | {"done": "Known: Rec 3 can't roll: it has no medium."})}
    result = stub.run("wrong", "know", "7")
    assert (result.exit_code, result.stdout) == (0, "Known: Rec 3 can't roll: it has no medium.\n")


def test_an_alarm_is_put_aside_by_the_daemons_clock(stub: Stub) -> None:
    aside = {"until": "2026-11-25T17:00:00.000Z", "by": "ines", "reason": "on the bench"}
    stub.routes = {
        "GET /api/v1/alarms": (200, {"at": "2026-11-25T15:00:00.000Z", "alarms": [ROW]}),
        "POST /api/v1/alarms/7/aside": (200, ROW | {"aside": aside, "done": "Put aside until 17:00:00: Rec 3."}),
    }
    result = stub.run("wrong", "aside", "7", "--for", "2h", "--because", "on the bench")
    assert result.exit_code == 0
    assert result.stdout.startswith("Put aside until 17:00:00: Rec 3.\n")
    assert stub.heard[-1][2] == {"until": "2026-11-25T17:00:00+00:00", "reason": "on the bench"}


@pytest.mark.parametrize(
    "words",
    [
        ("wrong", "know"),
        ("wrong", "aside", "7"),
        ("wrong", "aside", "7", "--for", "2h"),
        ("wrong", "aside", "7", "--for", "soon", "--because", "x"),
        ("wrong", "forget", "7"),
    ],
)
def test_what_is_named_too_little_sends_nothing(stub: Stub, words: tuple[str, ...]) -> None:
    result = stub.run(*words)
    assert result.exit_code == 2
    assert stub.heard == []
    assert result.stderr


def test_a_number_that_is_none_is_said(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/alarms/99/ack": (404, problem(404, "alarm", 'There is no alarm "99".', "See it."))}
    result = stub.run("wrong", "know", "99")
    assert (result.exit_code, result.stderr) == (2, 'There is no alarm "99". See it.\n')
