"""Does the terminal roll and cut as people and scripts expect? Against a stub daemon."""

import json
import os
import signal
import subprocess
import sys
import threading
from typing import Any

import pytest

from tests.cli.answers import box, golden, group, lane, take
from tests.cli.stub import Stub, problem

ROLL = "POST /api/v1/roll"
CUT = "POST /api/v1/cut"
COMMAND = "GET /api/v1/commands/01KAXE3Q5V0000000000000000"

NO_INPUT = box(4, "failed", why="no input", remedy='Route a source to it, then: stagectl roll "Rec 4"', after_s=0.4)


def rolled(*, exact: bool) -> dict[str, Any]:
    """Three rolled of four; the first labels come later than the verdict."""
    boxes = [box(1), box(2), box(3), NO_INPUT]
    if exact:
        for number, offset in enumerate((0, 1, 3)):
            boxes[number]["offset_frames"] = offset
    lanes = [lane(number, (number - 1) if exact else None) for number in (1, 2, 3)]
    say = "Take 15 rolls on 3 of 4, spread 3 frames." if exact else "Take 15 rolls on 3 of 4."
    return group(boxes, "failed", say, take_detail=take(lanes))


def test_a_roll_shows_each_recorder_with_its_time_and_its_first_frame(stub: Stub) -> None:
    stub.routes = {ROLL: (200, rolled(exact=False)), COMMAND: [(200, rolled(exact=False)), (200, rolled(exact=True))]}
    result = stub.run("roll", "--name", "Third movement")
    assert result.stdout == golden("roll")
    assert result.exit_code == 1
    assert stub.heard[0] == ("POST", "/api/v1/roll?wait=verdict", {"name": "Third movement"})
    assert [method for method, _, _ in stub.heard] == ["POST", "GET", "GET"]


def test_a_roll_of_named_boxes_hands_their_names_on_as_they_were_typed(stub: Stub) -> None:
    stub.routes = {ROLL: (200, group([box(4)], "verified", "Take 15 rolls on 1 of 1."))}
    result = stub.run("roll", "Rec 4", "iso-2")
    assert result.exit_code == 0
    assert stub.heard == [("POST", "/api/v1/roll?wait=verdict", {"on": ["Rec 4", "iso-2"]})]


def test_labels_that_never_come_cost_the_offsets_and_nothing_else(stub: Stub) -> None:
    told = group([box(1), box(2)], "verified", "Take 15 rolls on 2 of 2.", take_detail=take([lane(1, None)]))
    stub.routes = {ROLL: (200, told), COMMAND: (404, problem(404, "command", "No such command."))}
    result = stub.run("roll")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[1:] == [
        "  Rec 1  rolls  0.31 s",
        "  Rec 2  rolls  0.32 s",
        "Take 15 rolls on 2 of 2.",
    ]


EXITS = [
    # how the boxes ended, exit code; source: the project's list of exit codes
    ("proven", "verified", [box(1)], 0),
    ("can't report", "sent", [box(1, "sent")], 0),
    ("one failed", "failed", [box(1), box(2, "failed", why="no medium", code="needs")], 1),
    ("not known", "unconfirmed", [box(1, "unconfirmed", code="unknown")], 3),
    ("no verdict in time", None, [box(1, None, after_s=None)], 3),
    ("guarded", "failed", [box(1, "failed", why="it is protected", code="locked", refused=True)], 4),
    (
        "guarded, and failed",
        "failed",
        [box(1, "failed", code="locked", refused=True), box(2, "failed", code="needs", refused=True)],
        1,
    ),
]


@pytest.mark.parametrize(("ended", "boxes", "code"), [row[1:] for row in EXITS], ids=[row[0] for row in EXITS])
def test_the_exit_code_tells_how_it_ended(stub: Stub, ended: str | None, boxes: list[Any], code: int) -> None:
    stub.routes = {ROLL: (200, group(boxes, ended, "Said."))}
    assert stub.run("roll").exit_code == code


REFUSALS = [
    # status, code, exit code; codes are the house's
    (404, "target", 2),
    (422, "value", 2),
    (422, "range", 2),
    (403, "role", 4),
    (403, "locked", 4),
    (409, "take", 4),
    (422, "limit", 4),
    (409, "busy", 1),
    (422, "no-way", 1),
    (404, "take", 2),
    (500, "fault", 1),
    (503, "full", 1),
    (429, "rate", 4),
]


@pytest.mark.parametrize(("status", "code", "exit_code"), REFUSALS)
def test_a_refusal_is_a_sentence_on_stderr_and_a_code(stub: Stub, status: int, code: str, exit_code: int) -> None:
    stub.routes = {CUT: (status, problem(status, code, "Take 3 is not running.", "To end it: stagectl cut 4"))}
    result = stub.run("cut", "3")
    assert result.exit_code == exit_code
    assert result.stderr == "Take 3 is not running. To end it: stagectl cut 4\n"
    assert result.stdout == ""


def test_a_cut_without_a_number_names_the_take_and_the_command_that_ends_it(stub: Stub) -> None:
    say = "Take 15 rolls on 4 recorders since 12 min 40 s."
    stub.routes = {CUT: (409, problem(409, "take-unnamed", say, "To end it: stagectl cut 15"))}
    result = stub.run("cut")
    assert result.exit_code == 2
    assert result.stderr == f"{say} To end it: stagectl cut 15\n"
    assert stub.heard == [("POST", "/api/v1/cut?wait=verdict", {})]


def test_a_cut_hands_the_number_on(stub: Stub) -> None:
    ended = [box(number, words="stopped", verb="cut") for number in (1, 2)]
    stub.routes = {CUT: (200, group(ended, "verified", "Take 15 ended on 2 of 2.", verb="cut"))}
    result = stub.run("cut", "15")
    assert result.stdout.splitlines()[-1] == "Take 15 ended on 2 of 2."
    assert "Rec 1  stopped  0.31 s" in result.stdout
    assert stub.heard[0][2] == {"take": 15}


def test_json_is_one_object_before_or_after_the_verb(stub: Stub) -> None:
    ended = [box(1, words="stopped", after_s=0.22), NO_INPUT]
    stub.routes = {CUT: (200, group(ended, "failed", "Take 15 ended on 1 of 2.", verb="cut"))}
    for args in (("--json", "cut", "15"), ("cut", "15", "--json")):
        result = stub.run(*args)
        told = json.loads(result.stdout)
        assert told["v"] == 1
        assert (told["verb"], told["take"], told["verdict"], told["say"]) == (
            "cut",
            15,
            "failed",
            "Take 15 ended on 1 of 2.",
        )
        assert told["boxes"]["iso-1"] == {"verdict": "verified", "t": 0.22}
        assert told["boxes"]["iso-4"]["why"] == "no input"
        assert result.exit_code == 1


def test_json_also_tells_a_refusal_on_stdout(stub: Stub) -> None:
    stub.routes = {CUT: (403, problem(403, "role", "Mara may only watch.", "Ask an operator."))}
    result = stub.run("--json", "cut", "3")
    assert json.loads(result.stdout) == {
        "v": 1,
        "verb": "cut",
        "say": "Mara may only watch.",
        "remedy": "Ask an operator.",
        "code": "role",
        "exit": 4,
    }


def test_a_daemon_that_is_not_there_is_told_with_what_to_do(stub: Stub) -> None:
    result = stub.run("roll", STAGECTL_URL="http://127.0.0.1:1")
    assert result.exit_code == 5
    assert "is not reached at http://127.0.0.1:1" in result.stderr
    assert "STAGECTL_URL" in result.stderr


@pytest.mark.parametrize("url", ["ftp://127.0.0.1", "127.0.0.1:8420", "http://127.0.0.1:999999", "http://"])
def test_an_address_that_is_none_is_told_as_such(stub: Stub, url: str) -> None:
    result = stub.run("now", STAGECTL_URL=url)
    assert result.exit_code == 5
    assert "is no address of a stagectl" in result.stderr


def test_a_roll_whose_answer_is_lost_is_not_known_to_have_happened(stub: Stub) -> None:
    stub.routes = {ROLL: lambda: None}
    result = stub.run("roll")
    assert result.exit_code == 3
    assert "It is not known if it was carried out. Look first: stagectl now" in result.stderr
    assert len(stub.heard) == 1, "a roll is never sent twice"


def _held(answer_now: threading.Event) -> None:
    answer_now.wait(20)


def test_ctrl_c_ends_the_waiting_and_says_that_the_roll_goes_on(stub: Stub) -> None:
    answer_now = threading.Event()
    stub.routes = {ROLL: lambda: _held(answer_now)}
    command = [sys.executable, "-m", "stagectl", "roll"]
    env = {**os.environ, "STAGECTL_URL": stub.url}
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=env) as rolling:
        assert rolling.stderr is not None
        assert rolling.stderr.readline() == "Waiting for proof from the recorders. Ctrl-C ends the waiting only.\n"
        rolling.send_signal(signal.SIGINT)
        assert rolling.stderr.readline() == "Left. What was asked goes on: stagectl now\n"
        assert rolling.wait(10) == 130
    answer_now.set()
    assert [method for method, _, _ in stub.heard] == ["POST"]


def test_another_program_at_the_address_is_not_taken_for_stagectl(stub: Stub) -> None:
    stub.routes = {ROLL: (200, b"<html>hello</html>")}
    result = stub.run("roll")
    assert result.exit_code == 5
    assert "no stagectl" in result.stderr


def test_good_note_and_slate_say_what_was_written(stub: Stub) -> None:
    stub.routes = {
        "POST /api/v1/takes/15/marks": (200, {"take": 15, "say": "Written."}),
        "POST /api/v1/takes/slate": (200, {"take": 16, "name": "Songs", "say": 'Take 16 will be "Songs".'}),
        "GET /api/v1/now": (200, {"take": None, "next": {"take": 16, "name": ""}}),
    }
    assert stub.run("good", "15").stdout == "Written.\n"
    assert stub.run("good", "15", "--not").exit_code == 0
    assert stub.run("note", "horn", "late").exit_code == 0
    assert stub.run("slate", "Songs").stdout == 'Take 16 will be "Songs".\n'
    bodies = [body for method, _, body in stub.heard if method == "POST"]
    assert bodies == [{"good": True}, {"good": False}, {"note": "horn late"}, {"name": "Songs"}]


def test_a_note_before_the_first_take_is_refused(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/now": (200, {"take": None, "next": {"take": 1, "name": ""}})}
    result = stub.run("note", "hello")
    assert result.exit_code == 2
    assert "There is no take yet" in result.stderr


@pytest.mark.parametrize("args", [("cut", "x"), ("cut", "0"), ("rol",), ("roll", "--nam"), ("good",), ("take", "0")])
def test_what_is_not_understood_is_a_sentence_with_exit_2_and_nothing_is_sent(
    stub: Stub, args: tuple[str, ...]
) -> None:
    result = stub.run(*args)
    assert result.exit_code == 2
    assert result.stderr.strip()
    assert "Error" not in result.output
    assert "Traceback" not in result.output
    assert stub.heard == []


def test_a_roll_loads_neither_the_web_server_nor_the_model_library(stub: Stub) -> None:
    stub.routes = {ROLL: (200, group([box(1)], "verified", "Take 15 rolls on 1 of 1."))}
    code = (
        "import sys\n"
        "from stagectl.cli import main\n"
        "assert main(['roll'], standalone_mode=False) == 0\n"
        "print(sorted({'aiohttp', 'pydantic', 'asyncio', 'yaml', 'structlog', 'stagectl.daemon'} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"STAGECTL_URL": stub.url, "PATH": ""},
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert done.stdout.splitlines()[-1] == "[]", done.stderr


# -- somebody else's take ---------------------------------------------------------------------------------------------

SHOWN = "ines rolled take 15. This ends it on Rec 1 and Rec 2."


def shown(word: str) -> tuple[int, Any]:
    return 428, problem(428, "confirm", SHOWN, "Ask again with the word.") | {"confirm": word}


def test_a_script_is_told_the_word_and_how_to_say_it(stub: Stub) -> None:
    stub.routes = {CUT: shown("C7QF2")}
    result = stub.run("cut", "15")
    assert result.exit_code == 4
    assert result.stderr == f"{SHOWN} Within 10 s: stagectl cut 15 --confirm C7QF2\n"
    stub.routes = {CUT: (200, group([box(1, words="stopped", verb="cut")], "verified", "Take 15 ended.", verb="cut"))}
    assert stub.run("cut", "15", "--confirm", "C7QF2").exit_code == 0
    assert stub.heard[-1][2] == {"take": 15, "confirm": "C7QF2"}


@pytest.mark.parametrize("answers", [["yes"], ["yes", "yes"], ["no"], [""]])
def test_at_a_terminal_it_is_shown_until_who_sits_there_has_said_yes(stub: Stub, answers: list[str]) -> None:
    words = ["C7QF2", "H3MPX", "J9VWR"]  # the picture changes while it is read: shown anew
    done = (200, group([box(1, words="stopped", verb="cut")], "verified", "Take 15 ended.", verb="cut"))
    stub.routes = {CUT: [*map(shown, words[: len(answers)]), done]}
    ours, theirs = os.openpty()
    environment = {**os.environ, "STAGECTL_URL": stub.url, "NO_COLOR": "1"}
    try:
        os.write(ours, "".join(f"{line}\n" for line in answers).encode())
        ended = subprocess.run(
            [sys.executable, "-m", "stagectl", "cut", "15"],
            stdin=theirs,
            capture_output=True,
            text=True,
            env=environment,
            timeout=30,
            check=False,
        )
    finally:
        os.close(ours)
        os.close(theirs)
    said = [body.get("confirm", "") for _, _, body in stub.heard]
    if answers[0] == "yes":
        assert (ended.returncode, said) == (0, ["", *words[: len(answers)]])
        assert ended.stderr == f"{SHOWN} To end it, type yes: " * len(answers)
    else:
        assert (ended.returncode, said) == (4, [""])
        assert ended.stderr == f"{SHOWN} To end it, type yes: Left as it is.\n"
