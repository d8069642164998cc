"""Does a take say where each clip lies against what all share, as a calculation by hand does?

Source: the rows of common ranges of test_ranges.py, worked by hand there.
"""

import pytest

from stagectl.handoff.overlap import overlap
from stagectl.handoff.ranges import ranged
from tests.handoff.test_ranges import ROWS, lane, take


@pytest.mark.parametrize(("format", "clips", "first", "end", "frames", "offsets"), [row[1:] for row in ROWS])
def test_each_clip_is_placed_against_what_all_share(
    format: str,  # noqa: A002
    *,
    clips: list[tuple[str, str]],
    first: str,
    end: str,
    frames: int,
    offsets: list[int],
) -> None:
    lanes = [lane(f"iso-{n}", start, length, format=format) for n, (start, length) in enumerate(clips, 1)]
    told = overlap(ranged([take(*lanes)])[0])
    assert (told["common"]["first"], told["common"]["end"], told["common"]["frames"]) == (first, end, frames)
    assert [clip["into"] for clip in told["clips"]] == offsets
    one_more = {":07": ":08", ":23": ":24", ";28": ";29"}  # the frame after the last
    assert told["common"]["last"][:-3] + one_more[told["common"]["last"][-3:]] == end
    assert all(clip["into"] + frames + clip["over"] == clip["frames"] for clip in told["clips"])


def test_the_clips_of_a_spill_are_placed_each_for_itself() -> None:
    lanes = [
        lane("hands", "10:00:30:00", "00:01:00:00"),
        lane("wide", "10:00:00:00", "00:01:00:00"),
        lane("wide", "10:01:00:00", "00:01:00:00", slot=2),
    ]
    told = overlap(ranged([take(*lanes)])[0])
    # all share 10:00:30:00 to 10:01:30:00: 750 frames into wide's first clip, which ends 750 before; 750 before its
    # second begins, which goes on for 750
    assert [(clip["into"], clip["over"]) for clip in told["clips"]] == [(0, 0), (750, -750), (-750, 750)]


def test_without_a_common_range_nothing_is_placed_and_the_reason_is_told() -> None:
    told = overlap(ranged([take(lane("hands", "10:00:00:00", "00:01:00:00"), lane("wide", "10:00:00:00", ""))])[0])
    assert told["common"] is None
    assert [(clip["into"], clip["frames"], clip["first"], clip["end"]) for clip in told["clips"]] == [
        (None, 1500, "10:00:00:00", "10:01:00:00"),
        (None, None, "10:00:00:00", ""),
    ]
    assert told["troubles"] == ["Wide: it has told no length yet.", "No common range: not every clip is known whole."]
