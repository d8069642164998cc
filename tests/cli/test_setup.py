"""Does the terminal say what differs, what was done, and how it ended, in a code too? Source: own construction."""

import json
from typing import Any

import pytest

from tests.cli.answers import box
from tests.cli.stub import Stub, problem

DIFF = "GET /api/v1/setups/evening/diff"
APPLY = "POST /api/v1/setups/evening/apply"
UNDO = "POST /api/v1/setups/undo"
UNDOING = "GET /api/v1/setups/undo"
CAPTURE = "POST /api/v1/setups/evening/capture"


def row(say: str, truth: str = "no", **more: Any) -> dict[str, Any]:
    return {"say": say, "truth": truth, "stage": "", "refused": "", "by_hand": False} | more


def diff(*rows: dict[str, Any]) -> dict[str, Any]:
    return {"setup": "evening", "called": "Evening", "say": "Evening: so many differ.", "rows": list(rows)}


def group(ended: str, *boxes: dict[str, Any]) -> dict[str, Any]:
    return {"id": "x", "take": None, "count": "1 of 2", "ended": ended, "say": "Evening: said.", "boxes": list(boxes)}


def test_a_difference_is_told_under_its_headings_and_what_is_left_last(stub: Stub) -> None:
    stub.routes[DIFF] = (
        200,
        diff(
            row("A is no, becomes yes.", stage="sound down"),
            row("B is 1, and is left alone: it records.", stage="boxes and names", refused="it records"),
            row("C is 1, becomes 2.", stage="boxes and names"),
            row("D is not known now, becomes 2.", "unknown", stage="boxes and names"),
            row("E is 1080p50, wanted 1080p25: set it at the box.", by_hand=True),
            row("", "yes"),
        ),
    )
    done = stub.run("setup", "diff", "evening", "--only", "iso", "--only", "mixer strip 5")
    assert (done.exit_code, done.stdout) == (
        6,
        (
            "First sound down:\n"
            "  A is no, becomes yes.\n"
            "Then boxes and names:\n"
            "  C is 1, becomes 2.\n"
            "  D is not known now, becomes 2.\n"
            "Left alone:\n"
            "  B is 1, and is left alone: it records.\n"
            "At the box:\n"
            "  E is 1080p50, wanted 1080p25: set it at the box.\n"
            "Evening: so many differ.\n"
        ),
    )
    assert stub.heard[-1][1].endswith("/diff?only=iso%2C+mixer+strip+5")


@pytest.mark.parametrize(("truths", "code"), [(("yes",), 0), (("yes", "unknown"), 3), (("no", "unknown"), 6)])
def test_the_code_says_whether_it_differs_or_can_not_be_told(stub: Stub, truths: tuple[str, ...], code: int) -> None:
    stub.routes[DIFF] = (200, diff(*(row("" if truth == "yes" else "X.", truth) for truth in truths)))
    done = stub.run("--json", "setup", "diff", "evening")
    assert done.exit_code == code
    assert [one["truth"] for one in json.loads(done.stdout)["rows"]] == list(truths)


def test_an_apply_that_ends_well_is_one_sentence(stub: Stub) -> None:
    stub.routes[APPLY] = (200, group("verified", box(1)))
    done = stub.run("setup", "apply", "evening", "--only", "iso")
    assert (done.exit_code, done.stdout) == (0, "Evening: said.\n")
    assert stub.heard[-1] == ("POST", "/api/v1/setups/evening/apply?wait=verdict", {"only": ["iso"]})


def test_what_failed_has_a_line_and_what_it_held_back_is_counted(stub: Stub) -> None:
    boxes = [
        box(1, "failed", say="Rec 1: it records.", code="needs", refused=True),
        box(2, "failed", say="Rec 2: held.", code="held-back", refused=True),
        box(3, "failed", say="Rec 3: held.", code="held-back", refused=True),
        box(4, "unconfirmed", say="Paths: not known.", device="paths"),
        box(5),
    ]
    stub.routes[APPLY] = (200, group("failed", *boxes))
    done = stub.run("setup", "apply", "evening")
    assert (done.exit_code, done.stdout) == (
        1,
        "  Rec 1: it records.\n  2 more were held back by that.\nEvening: said.\n",
    )


@pytest.mark.parametrize(
    ("ended", "code", "exits"), [("failed", "locked", 4), ("unconfirmed", "", 3), ("failed", "device", 1)]
)
def test_the_code_says_how_an_apply_ended(stub: Stub, ended: str, code: str, exits: int) -> None:
    stub.routes[APPLY] = (200, group(ended, box(1, ended, say="Rec 1: no.", code=code)))
    assert stub.run("setup", "apply", "evening").exit_code == exits


def test_undo_says_what_it_leaves_and_dry_asks_for_nothing(stub: Stub) -> None:
    told = {"say": "2 values would go back.", "back": ["a becomes 1 again."], "left": ["b stays."]}
    stub.routes = {UNDOING: (200, told), UNDO: (200, group("verified", box(1)))}
    dry = stub.run("setup", "undo", "--dry")
    assert dry.stdout == "  a becomes 1 again.\n  b stays.\n2 values would go back.\n"
    assert [method for method, _, _ in stub.heard] == ["GET"]
    done = stub.run("setup", "undo")
    assert (done.exit_code, done.stdout) == (0, "  B stays.\nEvening: said.\n")
    stub.routes[UNDOING] = (404, problem(404, "setup", "No set-up was applied that could be undone."))
    assert stub.run("setup", "undo").exit_code == 2


def test_the_list_marks_what_is_held_and_tells_drifts_and_broken_files(stub: Stub) -> None:
    one = {"name": "evening", "called": "Evening", "about": "Late.", "includes": [], "values": 9, "differ": 1}
    rows = [
        one | {"unknown": 2, "versions": [], "problem": ""},
        one | {"name": "late", "called": "Late one", "differ": 0, "unknown": 0, "versions": ["last"], "problem": ""},
        one | {"name": "bad", "called": "", "unknown": 0, "versions": [], "problem": "bad.yaml:1:1 no."},
    ]
    drifts = [{"say": "A is 2, was 1; changed by ines."}]
    stub.routes["GET /api/v1/setups"] = (
        200,
        {"say": "Evening: 1 value differs now.", "held": "evening", "drifts": drifts, "setups": rows},
    )
    assert stub.run("setup", "list").stdout == (
        "> evening  Evening   1 of 9 differ, 2 can't be told  Late.\n"
        "  late     Late one  0 of 9 differ                   versions: last\n"
        "  bad                can't be read                   bad.yaml:1:1 no.\n"
        "Evening: 1 value differs now.\n"
        "  ~ A is 2, was 1; changed by ines.\n"
    )


def test_a_capture_says_each_line_it_writes(stub: Stub) -> None:
    answer = {
        "say": "Evening: 1 value changed, in evening.yaml.",
        "file": "/x/evening.yaml",
        "changes": [{"say": "mixer strip 5 level: -9 dB, was -12 dB"}],
        "unknown": [],
    }
    stub.routes[CAPTURE] = (200, answer)
    done = stub.run("setup", "capture", "evening", "--of", "mixer", "--add", "--version", "by ear", "--dry")
    assert (done.exit_code, done.stdout) == (
        0,
        "  mixer strip 5 level: -9 dB, was -12 dB\nEvening: 1 value changed, in evening.yaml.\n",
    )
    body = {"of": ["mixer"], "add": True, "version": "by ear", "called": "", "dry": True}
    assert stub.heard[-1][2] == body
    stub.routes[CAPTURE] = (200, answer | {"unknown": ["iso-1 record codec"]})
    missing = stub.run("setup", "capture", "evening")
    assert missing.exit_code == 3
    assert "  iso-1 record codec: can't be told" in missing.stdout
    stub.routes[CAPTURE] = (503, problem(503, "unwritten", "evening.yaml can't be written: no space.", "Look."))
    assert stub.run("setup", "capture", "evening").exit_code == 1
