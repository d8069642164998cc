"""How do the clips of takes read in a spreadsheet? One row a clip, as RFC 4180 says."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Final

from stagectl.handoff.ranges import Clip, TakeRange
from stagectl.model.timecode import label_at

COLUMNS: Final = (
    *("day", "take", "name", "slate_take", "good", "recorder", "called", "reel", "clip", "slot", "start_tc", "end_tc"),
    *("frames", "rate", "drop", "common_in", "common_out", "offset_frames", "problems", "notes"),
)
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")  # spreadsheets run a field that begins so; own advice


def clip_table(takes: Sequence[TakeRange]) -> str:
    """The table with its head.

    `end_tc` and `common_out` are the frame after the last; `offset_frames`: where in its clip the common range begins.
    """
    out = io.StringIO()
    writer = csv.writer(out)  # comma, CR LF, quotes doubled
    writer.writerow(COLUMNS)
    for take in takes:
        for clip in take.clips:
            writer.writerow(_tame(_row(take, clip)))
    return out.getvalue()


def _row(take: TakeRange, clip: Clip) -> Iterable[str]:
    lane, rate, span, common = clip.lane, clip.rate, clip.span, take.common
    known, shared = rate is not None and span is not None, rate is not None and common is not None
    return (
        take.day,
        str(take.number),
        take.name,
        str(take.slate_take or ""),
        "yes" if take.good else "no",
        lane.device,
        lane.called,
        clip.reel,
        lane.clip,
        str(lane.slot or ""),
        str(label_at(span.first, rate)) if known and span and rate else lane.start,
        str(label_at(span.end, rate)) if known and span and rate else "",
        str(span.frames) if span else "",
        str(rate).removesuffix(" df") if rate else "",
        ("yes" if rate.drop else "no") if rate else "",
        str(label_at(common.first, rate)) if shared and common and rate else "",
        str(label_at(common.end, rate)) if shared and common and rate else "",
        str(common.first - span.first) if common and span else "",
        " ".join(filter(None, (lane.note, *take.troubles))),
        "; ".join(f"{mark.label} {mark.kind.value} {mark.text}".strip() for mark in take.marks),
    )


def _tame(row: Iterable[str]) -> list[str]:
    return [f"'{cell}" if cell.startswith(_FORMULA) else cell for cell in row]
