"""Does the timeline say what the hand says, read back by opentimelineio 0.18, and is the sheet whole?"""

from typing import Any

import opentimelineio as otio
import pytest

from stagectl.handoff.logsheet import log_sheet
from stagectl.handoff.ranges import ranged
from stagectl.handoff.timeline import timelines
from tests.handoff.test_ranges import ROWS, lane, take


def mark(kind: str, label: str, text: str = "", device: str = "wide") -> dict[str, Any]:
    at = "2026-11-28T19:31:00.000Z"
    return {"kind": kind, "text": text, "who": "ines", "at": at, "label": label, "device": device}


@pytest.mark.parametrize(("format", "clips", "first", "frames"), [(r[1], r[2], r[3], r[5]) for r in ROWS])
def test_each_recorder_has_a_track_of_the_common_range(
    format: str,  # noqa: A002
    clips: list[tuple[str, str]],
    first: str,
    frames: int,
) -> None:
    lanes = [lane(f"iso-{n}", start, length, format=format) for n, (start, length) in enumerate(clips, 1)]
    (text,) = timelines(ranged([take(*lanes)]), "Hall").values()
    made = otio.adapters.read_from_string(text, "otio_json")
    rate = 30000 / 1001 if "2997" in format else 25.0
    assert len(made.tracks) == len(clips)
    for track, (start, _) in zip(made.tracks, clips, strict=True):
        (clip,) = track
        at = clip.source_range.start_time
        assert (at.rate, clip.source_range.duration.to_frames()) == (rate, frames)
        whole = clip.media_reference.available_range
        for time, label in ((at, first), (whole.start_time, start)):
            assert otio.opentime.to_timecode(time, rate, drop_frame=";" in label) == label
        assert whole.extended_by(clip.source_range) == whole


def test_takes_lie_one_after_another_and_who_is_missing_leaves_a_gap() -> None:
    one = take(lane("hands", "10:00:00:00", "00:00:10:00"), lane("wide", "10:00:03:00", "00:00:10:00"))
    two = take(lane("wide", "10:01:00:00", "00:00:05:00"), take=2, opened="2026-11-28T12:31:00.000Z")
    (text,) = timelines(ranged([one, two]), "Hall").values()
    hands, wide = otio.adapters.read_from_string(text, "otio_json").tracks
    # 10:00:03:00 to 10:00:10:00 are 7 s of 25; then 5 s of the second take
    assert [(type(item).__name__, item.duration().to_frames()) for item in hands] == [("Clip", 175), ("Gap", 125)]
    assert [(type(item).__name__, item.duration().to_frames()) for item in wide] == [("Clip", 175), ("Clip", 125)]
    assert hands[0].media_reference.target_url == "hands/T001_hands"


def test_a_gap_between_the_clips_of_a_recorder_is_a_gap_on_its_track() -> None:
    spill = [lane("wide", "10:00:00:00", "00:00:02:00"), lane("wide", "10:00:02:05", "00:00:01:20", clip="T001_wide_2")]
    (text,) = timelines(ranged([take(lane("hands", "10:00:00:00", "00:00:04:00"), *spill)]), "Hall").values()
    _, wide = otio.adapters.read_from_string(text, "otio_json").tracks
    assert [(type(item).__name__, item.duration().to_frames()) for item in wide] == [
        ("Clip", 50),
        ("Gap", 5),
        ("Clip", 45),
    ]


def test_marks_stand_at_their_frames_on_every_recorder_also_past_midnight() -> None:
    marks = [mark("problem", "00:00:01:05", "chair"), mark("note", "", "after the end"), mark("good", "12:00:00:00")]
    lanes = [lane("hands", "23:59:58:00", "00:00:10:00"), lane("wide", "23:59:59:00", "00:00:10:00")]
    (text,) = timelines(ranged([take(*lanes, marks=marks)]), "Hall").values()
    for track in otio.adapters.read_from_string(text, "otio_json").tracks:
        (one,) = track[0].markers
        # 00:00:01:05 is 2 s and 5 frames after 23:59:59:00, where the common range begins
        start = one.marked_range.start_time - track[0].source_range.start_time
        assert (start.to_frames(), one.name, one.color) == (55, "chair", "RED")


def test_a_name_that_is_no_address_is_spelled_out_in_the_reference() -> None:
    (text,) = timelines(ranged([take(lane("wide", "10:00:00:00", "00:00:05:00", clip="a b/ü.mov"))]), "Hall").values()
    (track,) = otio.adapters.read_from_string(text, "otio_json").tracks
    assert track[0].media_reference.target_url == "wide/a%20b%2F%C3%BC.mov"


def test_takes_without_a_common_range_are_in_no_timeline() -> None:
    assert timelines(ranged([take(lane("wide", "10:00:00:00", ""))]), "Hall") == {}


def test_the_log_sheet_names_all_and_runs_nothing() -> None:
    lanes = [lane("wide", "10:00:00:00", "00:18:28:07", clip=""), lane("hands", "10:00:00:05", "00:18:28:07")]
    page = log_sheet(ranged([take(*lanes, marks=[mark("problem", "10:00:04:00", "<script>")], wanted=["pgm"])]), "Hall")
    for told in (
        "pgm did not roll.",
        "<td>NO CLIP",
        "NOT TOLD",
        "10:00:00:05",
        "27702 frames at 25, 0:18:28",
        "&lt;script&gt;",
    ):
        assert told in page
    assert "<script" not in page
    assert "http" not in page
