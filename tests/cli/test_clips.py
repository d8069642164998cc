"""Does the terminal say which clips are missing, which nobody's, and what it can't tell, with the right exit code?"""

from typing import Any

import pytest

from tests.cli.stub import Stub

CLIP = {
    "device": "iso-1",
    "called": "Rec 1",
    "clip": "A001",
    "start": "10:00:00:00",
    "length": "00:10:00:00",
    "slot": 1,
}
TAKEN = CLIP | {"take": 1, "name": "Songs", "by": "name and label"}
GONE = TAKEN | {"clip": "A002", "take": 2, "why": "it is not on the medium in slot 1"}
READ = {"device": "iso-1", "called": "Rec 1", "slot": 1, "others": [], "clips": 2, "why": ""}
UNREAD = {"device": "iso-2", "called": "Rec 2", "slot": 0, "others": [], "clips": 0, "why": "it is not reached"}


def answer(**more: Any) -> dict[str, Any]:
    return {"recorders": [READ], "clips": [TAKEN], "orphans": [], "missing": [], "unknown": []} | more


@pytest.mark.parametrize(
    ("more", "code", "text"),
    [
        ({}, 0, "Rec 1  slot 1  2 clips, 1 of takes\nEvery clip of every take in the log is there.\n"),
        (
            {"orphans": [CLIP | {"clip": "X"}], "clips": [TAKEN | {"by": "label and length"}]},
            0,
            (
                "Rec 1  slot 1  2 clips, 1 of takes\n\n"
                "Of no take in the log:\n  Rec 1  X  10:00:00:00  00:10:00:00  slot 1\n\n"
                "Told by less than name and label:\n  take 1  Rec 1  A001  by its label and length\n"
                "Every clip of every take in the log is there.\n"
            ),
        ),
        (
            {"missing": [GONE], "unknown": [GONE | {"clip": "", "why": "it is not reached"}]},
            6,
            (
                "Rec 1  slot 1  2 clips, 1 of takes\n\nMissing:\n"
                "  take 2  Rec 1  A002  10:00:00:00  it is not on the medium in slot 1\n\nNot known if it is there:\n"
                "  take 2  Rec 1  not told  10:00:00:00  it is not reached\n"
            ),
        ),
        (
            {"recorders": [READ | {"others": [2]}]},
            0,
            "Rec 1  slots 1, 2  2 clips, 1 of takes\nEvery clip of every take in the log is there.\n",
        ),
        (
            {"recorders": [UNREAD], "clips": [], "unknown": [GONE | {"why": "it is not reached"}]},
            3,
            (
                "Rec 2    it is not reached\n\nNot known if it is there:\n"
                "  take 2  Rec 1  A002  10:00:00:00  it is not reached\n"
            ),
        ),
    ],
    ids=["whole", "orphan", "missing", "two media", "not known"],
)
def test_clips_are_told_worst_first(stub: Stub, more: dict[str, Any], code: int, text: str) -> None:
    stub.routes = {"GET /api/v1/clips": (200, answer(**more))}
    result = stub.run("takes", "clips")
    assert (result.exit_code, result.stdout) == (code, text)


def test_a_long_list_is_cut_and_says_so(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/clips": (200, answer(orphans=[CLIP] * 150))}
    assert "  and 50 more, see --json\n" in stub.run("takes", "clips").stdout
