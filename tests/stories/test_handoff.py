"""Does what the edit gets agree with what the decks hold, counted by hand?

Real processes: simulators, daemon, terminal. Sources: the simulators' own record of their clips, and plain arithmetic
at 25 frames a second; lists are read back by otio-cmx3600-adapter 1.0, the timeline by opentimelineio 0.18, the
printed sheet by pypdf.
"""

import csv
import json
from collections.abc import Iterator
from pathlib import Path

import opentimelineio as otio
import pytest
from pypdf import PdfReader

from tests.stories.studio import RECORDERS, Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path, write=lambda text: f"{text}\ntakes numbered: per slate\n") as made:
        made.start()
        yield made


def counted(label: str) -> int:
    hours, minutes, seconds, frames = map(int, label.split(":"))
    return ((hours * 60 + minutes) * 60 + seconds) * 25 + frames


def label(frame: int) -> str:
    return f"{frame // 90000:02}:{frame // 1500 % 60:02}:{frame // 25 % 60:02}:{frame % 25:02}"


def ranges(studio: Studio, nth: int) -> dict[str, tuple[int, int]]:
    """First frame and end of each deck's clip, as the deck has it; `nth` from the last."""
    clips = {box: studio.truth(box)["clips"][-nth] for box in RECORDERS}
    return {box: (counted(clip["start"]), counted(clip["start"]) + clip["frames"]) for box, clip in clips.items()}


def test_two_takes_one_with_a_late_deck_agree_with_a_count_by_hand(studio: Studio, tmp_path: Path) -> None:
    assert studio.cli("slate", "Masterclass 3").returncode == 0
    assert studio.cli("roll").returncode == 0
    assert "has the mark good at" in studio.cli("mark", "good").stdout
    problem = studio.cli("mark", "problem", "a", "chair")
    assert "Take 1 has the mark problem at" in problem.stdout, problem.stderr
    refused = studio.cli("handoff", "--take", "1", "--to", str(tmp_path / "early"))
    assert (refused.returncode, (tmp_path / "early").exists()) == (4, False)
    assert studio.cli("cut", "1").returncode == 0
    until(lambda: studio.get("takes/1")["common"], 15, "the first take is known whole")

    assert studio.cli("roll", *(box for box in RECORDERS if box != "iso-4")).returncode == 0
    until(lambda: studio.truth("iso-1")["clips"][-1]["frames"] > 75, 15, "three seconds")
    studio.hand("iso-4", "record", name="by hand")
    until(lambda: "iso-4" in studio.get("takes/2")["rolling"], 10, "the late deck is in the take")
    until(lambda: studio.truth("iso-4")["clips"][-1]["frames"] > 50, 15, "two seconds of it")
    assert studio.cli("cut", "2").returncode == 0
    until(lambda: studio.get("takes/2")["common"], 15, "the second take is known whole")

    takes = [studio.get(f"takes/{number}") for number in (1, 2)]
    assert [(take["name"], take["slate_take"]) for take in takes] == [("Masterclass 3", 1), ("Masterclass 3", 2)]

    clips = studio.get("clips")
    assert (clips["missing"], clips["unknown"]) == ([], [])
    assert sorted((clip["take"], clip["device"]) for clip in clips["clips"]) == [
        (number, box) for number in (1, 2) for box in RECORDERS
    ]
    assert {clip["by"] for clip in clips["clips"]} == {"name and label"}
    listed = {(box, clip["name"]) for box in RECORDERS for clip in studio.truth(box)["clips"]}
    found = {(clip["device"], clip["clip"]) for clip in [*clips["clips"], *clips["orphans"]]}
    assert found == listed
    assert "Every clip of every take in the log is there." in studio.cli("takes", "clips").stdout
    # the medium of both takes is not the one in use any more: its list tells no first labels
    assert studio.cli("set", "iso-2", "slot.active", "2").returncode == 0
    other = studio.cli("takes", "clips")
    assert (other.returncode, "Rec 2  slots 1, 2" in other.stdout) == (0, True), other.stdout + other.stderr
    assert other.stdout.count("by its name and length") == 2
    assert studio.cli("set", "iso-2", "slot.active", "1").returncode == 0

    to = tmp_path / "edit"
    said = studio.cli("--json", "handoff", "--day", "today", "--to", str(to))
    assert said.returncode == 0, said.stdout + said.stderr
    assert json.loads(said.stdout)["troubles"] == []
    by_hand = [
        (max(first for first, _ in decks.values()), min(end for _, end in decks.values()))
        for decks in (ranges(studio, 2), ranges(studio, 1))
    ]
    late = ranges(studio, 1)
    # iso-4 began last, so what all share begins with its first frame; it ends with the first deck that ended. A deck's
    # offset is what it recorded before that: common in less its own first frame, so 0 for iso-4, over 75 for others.
    assert by_hand[1][0] == late["iso-4"][0]
    assert late["iso-4"][0] - late["iso-1"][0] >= 75
    offsets = {box: by_hand[1][0] - first for box, (first, _) in late.items()}
    shown = studio.cli("takes", "show", "2")
    assert shown.returncode == 0, shown.stderr
    first, last = label(by_hand[1][0]), label(by_hand[1][1] - 1)
    assert f"All share {first} to {last}, {by_hand[1][1] - by_hand[1][0]} frames." in shown.stdout
    for box in RECORDERS:
        called = studio.get(f"devices/{box}")["called"]
        (line,) = (line for line in shown.stdout.splitlines() if line.startswith(f"  {called} "))
        assert f"  frame {offsets[box]}  " in line
    assert studio.cli("take", "2").stdout == shown.stdout

    for box in RECORDERS:
        (path,) = to.glob(f"*_{box.replace('-', '').upper()}_25.edl")
        events = otio.adapters.read_from_file(str(path), "cmx_3600", rate=25).find_clips()
        found = [(clip.source_range.start_time.value, clip.source_range.end_time_exclusive().value) for clip in events]
        assert found == by_hand

    (path,) = to.glob("*_25.otio")
    tracks = otio.adapters.read_from_file(str(path)).tracks
    assert len(tracks) == len(RECORDERS)
    for track in tracks:
        found = [(clip.source_range.start_time.value, clip.source_range.end_time_exclusive().value) for clip in track]
        assert found == by_hand
    marks = studio.get("takes/1")["marks"]
    assert [(mark["kind"], mark["text"]) for mark in marks] == [("good", ""), ("problem", "a chair")]
    inside = [mark for mark in marks if by_hand[0][0] <= counted(mark["label"]) < by_hand[0][1]]
    assert [int(one.marked_range.start_time.value) for one in tracks[0][0].markers] == [
        counted(mark["label"]) for mark in inside
    ]
    assert len(inside) == len(marks)

    (path,) = to.glob("*_clips.csv")
    with path.open(newline="", encoding="utf-8") as table:
        rows = [row for row in csv.DictReader(table) if row["take"] == "2"]
    assert {row["recorder"]: int(row["offset_frames"]) for row in rows} == offsets
    (path,) = to.glob("*_log.pdf")
    sheet = " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())
    assert f"All share {first} to {label(by_hand[1][1])}, {by_hand[1][1] - by_hand[1][0]} frames at 25" in sheet
    assert "a chair" in sheet
    (path,) = to.glob("*_log.html")
    assert "a chair" in path.read_text(encoding="utf-8")
