"""How does it look in JSON where the clips of a take lie against what all recorders share?"""

from typing import Any

from stagectl.handoff.ranges import Clip, TakeRange
from stagectl.model.timecode import label_at


def overlap(take: TakeRange) -> dict[str, Any]:
    """The common range, each clip against it, and what an editor must know.

    `end` is the frame after the last, `last` the last one. Of a clip, `into`: frames from its first to where the common
    range begins; `over`: frames it goes on after that has ended; both are below 0 where one of several clips does not
    reach so far, and None where they can't be told.
    """
    common, rate = take.common, take.rate
    shared = None
    if common is not None and rate is not None:
        shared = {
            "first": str(label_at(common.first, rate)),
            "last": str(label_at(common.end - 1, rate)),
            "end": str(label_at(common.end, rate)),
            "frames": common.frames,
        }
    return {
        "rate": str(rate) if rate is not None else "",
        "common": shared,
        "clips": [_clip(take, clip) for clip in take.clips],
        "troubles": list(take.troubles),
    }


def _clip(take: TakeRange, clip: Clip) -> dict[str, Any]:
    span, rate, common = clip.span, clip.rate, take.common
    known = span is not None and rate is not None
    return {
        "device": clip.lane.device,
        "called": clip.lane.called,
        "clip": clip.lane.clip,
        "slot": clip.lane.slot,
        "first": str(label_at(span.first, rate)) if known and span and rate else clip.lane.start,
        "end": str(label_at(span.end, rate)) if known and span and rate else "",
        "frames": span.frames if span is not None else None,
        "into": common.first - span.first if common is not None and span is not None else None,
        "over": span.end - common.end if common is not None and span is not None else None,
    }
