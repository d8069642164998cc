"""Does `watch` tell each change once, and put the terminal back? Against a stub daemon, also on a pseudo-terminal."""

import json
import os
import pty
import select
import subprocess
import sys
import termios
import time
from typing import Any

from tests.cli.answers import lane, take
from tests.cli.stub import Stub
from tests.cli.test_reads import NOW

READY = NOW | {"say": "Ready: 5 of 5 can roll.", "can_roll": 5, "wrong": [], "last": ""}
ROLLS = READY | {"say": "Take 15 rolls on 2 of 2. 00:00:01 so far.", "take": take([lane(1, 0), lane(2, 1)])}
LATER = ROLLS | {"say": "Take 15 rolls on 2 of 2. 00:00:02 so far."}
QUIET = {"entries": [], "last": 41}
HAND = {
    "n": 42,
    "at": "2026-11-25T15:00:02.000Z",
    "kind": "hand",
    "who": "box",
    "data": {"device": "hall", "point": "output.9.source", "value": 4},
    "say": "Hall router: output 9 source became 4 at the box.",
}
ACTS = {"entries": [HAND, HAND | {"n": 43, "kind": "link", "say": ""}], "last": 43}
COMMAND = [sys.executable, "-m", "stagectl", "watch"]


def lines_of(stub: Stub, number: int, *args: str) -> list[str]:
    """The first lines that `watch` prints; then it is left by Ctrl-C."""
    env = {**os.environ, "STAGECTL_URL": stub.url}
    with subprocess.Popen([*COMMAND, *args], stdout=subprocess.PIPE, text=True, env=env) as watching:
        assert watching.stdout is not None
        lines = [watching.stdout.readline().rstrip("\n") for _ in range(number)]
        watching.send_signal(2)
        assert watching.wait(10) == 130
    return lines


def answers() -> list[Any]:
    return [(200, one) for one in (READY, READY, ROLLS, LATER, NOW)]


def test_plain_is_one_line_for_each_change_and_running_time_is_none(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": answers(), "GET /api/v1/journal": (200, QUIET)}
    assert lines_of(stub, 3, "--plain") == [
        "15:00:00 Ready: 5 of 5 can roll.",
        "15:00:00 Take 15 rolls on 2 of 2. 00:00:01 so far.",
        "15:00:00 Not ready: Rec 3 has no medium. 4 of 5 can roll. ^ Rec 3 can't roll: it has no medium. Put one in.",
    ]
    assert all(method == "GET" for method, _, _ in stub.heard)


def test_json_is_one_object_a_line(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": answers(), "GET /api/v1/journal": (200, QUIET)}
    told = [json.loads(line) for line in lines_of(stub, 2, "--json")]
    assert [one["say"] for one in told] == [READY["say"], ROLLS["say"]]
    assert told[1]["take"]["take"] == 15


def test_what_is_done_at_a_box_is_a_line_of_its_own(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": (200, READY), "GET /api/v1/journal": [(200, QUIET), (200, QUIET), (200, ACTS)]}
    assert lines_of(stub, 2, "--plain") == [
        "15:00:00 Ready: 5 of 5 can roll.",
        "15:00:02 Hall router: output 9 source became 4 at the box.",
    ]


def test_what_was_done_before_is_not_told_and_json_has_the_whole_entry(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": (200, READY), "GET /api/v1/journal": [(200, ACTS), (200, QUIET), (200, ACTS)]}
    told = [json.loads(line) for line in lines_of(stub, 2, "--json")]
    assert (told[0]["say"], told[1]["act"]) == (READY["say"], HAND)
    assert any("since=43" in path for _, path, _ in stub.heard)


def read_until(fd: int, wanted: bytes) -> bytes:
    seen, end = b"", time.monotonic() + 20
    while wanted not in seen:
        assert time.monotonic() < end, seen
        if select.select([fd], [], [], 0.1)[0]:
            seen += os.read(fd, 65536)
    return seen


def test_the_live_view_draws_lanes_and_q_puts_the_terminal_back(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": (200, ROLLS), "GET /api/v1/journal": [(200, QUIET), (200, ACTS)]}
    ours, theirs = pty.openpty()
    try:
        before = termios.tcgetattr(theirs)
        env = {**{k: v for k, v in os.environ.items() if k != "NO_COLOR"}, "STAGECTL_URL": stub.url, "TERM": "xterm"}
        with subprocess.Popen(COMMAND, stdin=theirs, stdout=theirs, stderr=theirs, env=env) as watching:
            page = read_until(ours, b"q leaves")
            assert b"Take 15 rolls on 2 of 2." in page
            assert b"Rec 1 |:##|" in page
            assert b"15:00:02 Hall router: output 9 source became 4 at the box." in page
            os.write(ours, b"q")
            read_until(ours, b"\x1b[?1049l")
            assert watching.wait(10) == 0
        assert termios.tcgetattr(theirs) == before
    finally:
        os.close(ours)
        os.close(theirs)


def test_a_view_that_has_lost_the_daemon_says_so_and_tries_on(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": [(200, b"no stagectl"), (200, READY)], "GET /api/v1/journal": (200, QUIET)}
    ours, theirs = pty.openpty()
    try:
        env = {**{k: v for k, v in os.environ.items() if k != "NO_COLOR"}, "STAGECTL_URL": stub.url, "TERM": "xterm"}
        with subprocess.Popen(COMMAND, stdin=theirs, stdout=theirs, stderr=theirs, env=env) as watching:
            assert b"Recorders go on by themselves" in read_until(ours, b"Trying again.")
            read_until(ours, b"Ready: 5 of 5 can roll.")
            os.write(ours, b"q")
            read_until(ours, b"\x1b[?1049l")
            assert watching.wait(10) == 0
    finally:
        os.close(ours)
        os.close(theirs)
