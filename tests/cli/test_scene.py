"""Do scenes run and plan from a terminal? Against a stub daemon with the shapes of runs and plans."""

import json
import os
import pty
import subprocess
import sys
from typing import Any

from tests.cli.answers import golden
from tests.cli.stub import Stub, problem
from tests.cli.test_watch import read_until

ID = "01KAXE3Q5V0000000000000000"
RUN = f"GET /api/v1/scenes/runs/{ID}"
RUNS = "POST /api/v1/scenes/start/runs"


def step(number: str, say: str, stand: str, **more: Any) -> dict[str, Any]:
    told = {"step": number, "say": say, "stand": stand, "why": "", "remedy": "", "after_s": None}
    return told | {"commands": [], "question": "", "of": ""} | more


def run_of(ended: str | None, **more: Any) -> dict[str, Any]:
    told = {
        "id": ID,
        "run": ID,
        "scene": "start",
        "called": "Masterclass starts",
        "who": "ines",
        "begun": "2026-11-25T15:00:00.000Z",
        "args": {},
        "ended": ended,
        "count": "1 of 3",
        "why": "",
        "remedy": "",
        "steps": [
            step("1", "check every recorder remote is yes", "passed", after_s=0.0),
            step(
                "2", "set hall output 3 source to 5", "failed", after_s=1.0, why="it is 7", remedy="Look at its front."
            ),
            step("3", "takes roll", "not attempted"),
        ],
        "back": ["hall output 1 source is 1 again"],
        "stopped_by": "",
        "say": "Masterclass starts: 1 of 3 steps passed.",
        "questions": [],
    }
    return told | more


def change(device: str, say: str, **more: Any) -> dict[str, Any]:
    told: dict[str, Any] = {"device": device, "say": say, "point": "", "seen": "", "quality": "", "wanted": ""}
    told |= {"moot": False, "ends_take": None, "loud": False, "moves": False, "refused": "", "heading": False}
    return told | more


PLAN = {
    "scene": "start",
    "args": {},
    "say": "start would make 3 changes. It ends take 4. It may be loud.",
    "steps": [
        {"step": "1", "say": "check takes running is no", "truth": "no", "only_if": "", "changes": [], "refused": ""},
        {
            "step": "2",
            "say": "set paths and mixer",
            "truth": "",
            "only_if": "yes",
            "refused": "",
            "changes": [
                change("paths", "set director shows to wide", heading=True),
                change("hall", "set output 15 source to 4", seen="3", wanted="4"),
                change("gallery", "set output 3 source to 1", moot=True),
                change("mixer", "set strip 5 level to -10 dB", seen="off", loud=True),
                change("hall", "set output 1 source to 2", refused="Rec 1 is the safety copy."),
            ],
        },
        {
            "step": "3",
            "say": "takes cut",
            "truth": "",
            "only_if": "",
            "refused": "",
            "changes": [change("iso-1", "cut take 4", ends_take=4)],
        },
    ],
    "ends": [4],
    "loud": True,
    "moves": False,
}


def test_a_run_shows_each_step_and_what_was_put_back(stub: Stub) -> None:
    stub.routes = {RUNS: (202, run_of(None)), RUN: (200, run_of("failed"))}
    result = stub.run("scene", "start", "name=Third movement", "at=5")
    assert result.stdout == golden("scene")
    assert result.exit_code == 1
    assert stub.heard == [
        ("POST", "/api/v1/scenes/start/runs", {"args": {"name": "Third movement", "at": "5"}}),
        ("GET", f"/api/v1/scenes/runs/{ID}", None),
    ]


def test_the_exit_code_of_a_run(stub: Stub) -> None:
    for ended, code in (("verified", 0), ("sent", 0), ("failed", 1), ("unconfirmed", 3)):
        stub.routes = {RUNS: (202, run_of(ended))}
        assert stub.run("scene", "start").exit_code == code


def asking() -> dict[str, Any]:
    ask = step("1", "ask operator", "under way", question="Does everyone stand clear?", of="operator")
    return run_of(None, steps=[ask], questions=[{"step": "1", "of": "operator"}])


def test_a_question_of_a_run_is_told_once_where_nobody_can_answer_it(stub: Stub) -> None:
    stub.routes = {RUNS: (202, asking()), RUN: [(200, asking()), (200, asking()), (200, run_of("verified"))]}
    result = stub.run("scene", "start")
    assert result.stderr == "It asks operator: Does everyone stand clear?\n"
    assert result.exit_code == 0


def test_a_question_of_a_run_is_put_to_who_sits_at_the_terminal(stub: Stub) -> None:
    answers = f"POST /api/v1/scenes/runs/{ID}/answers"
    stub.routes = {RUNS: (202, asking()), RUN: (200, run_of("verified")), answers: (200, asking())}
    ours, theirs = pty.openpty()
    try:
        command = [sys.executable, "-m", "stagectl", "scene", "start"]
        env = {**os.environ, "STAGECTL_URL": stub.url}
        with subprocess.Popen(command, stdin=theirs, stdout=subprocess.DEVNULL, stderr=theirs, env=env) as running:
            read_until(ours, b"Does everyone stand clear? [y/N]")
            os.write(ours, b"y\n")
            assert running.wait(10) == 0
    finally:
        os.close(ours)
        os.close(theirs)
    assert ("POST", f"/api/v1/scenes/runs/{ID}/answers", {"answer": True, "step": "1"}) in stub.heard


def test_a_dry_run_lists_every_change_and_what_it_would_end(stub: Stub) -> None:
    stub.routes = {RUNS: (200, PLAN)}
    result = stub.run("scene", "start", "--dry")
    assert result.stdout == golden("scene-dry")
    assert result.exit_code == 0
    assert stub.heard[0][1] == "/api/v1/scenes/start/runs?dry=true"


def test_an_argument_that_is_none_is_asked_back(stub: Stub) -> None:
    for typed in ("Third", "=x"):
        result = stub.run("scene", "start", typed)
        assert result.exit_code == 2
        assert "is no argument of a scene" in result.stderr
    assert stub.heard == []


def test_a_scene_that_is_not_there_is_exit_2(stub: Stub) -> None:
    stub.routes = {RUNS: (404, problem(404, "scene", 'There is no scene "start".', "There is roll-all."))}
    assert stub.run("scene", "start").exit_code == 2


def test_scenes_are_listed_with_what_they_may_be_told(stub: Stub) -> None:
    listed = {"scenes": [{"name": "roll-all", "called": "Roll all", "args": [{"name": "name", "default": ""}]}]}
    stub.routes = {"GET /api/v1/scenes": (200, listed)}
    assert stub.run("scenes").stdout == "roll-all  Roll all  name=\n"
    assert json.loads(stub.run("--json", "scenes").stdout)["scenes"] == listed["scenes"]
