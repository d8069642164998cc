"""What stands on the log sheet of some takes, however it is printed? What is wrong first, then take by take."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from stagectl.handoff.ranges import Clip, TakeRange
from stagectl.model.timecode import label_at, seconds

HEAD: Final = ("recorder", "clip", "first label", "end", "frames", "rate", "offset", "note")
ENDS: Final = "Ends of ranges are the frame after the last. Offset: the frame of a clip with which all recorders roll."


@dataclass(frozen=True, slots=True)
class Section:
    """A take on the sheet.

    Attributes:
        troubles: a sentence each.
        shared: what all recorders hold, in a sentence; empty: nothing.
        rows: a row for each clip, and for each recorder without one, in the columns of HEAD.
        marks: place, and what was said of it.
    """

    title: str
    troubles: tuple[str, ...]
    shared: str
    rows: tuple[tuple[str, ...], ...]
    marks: tuple[tuple[str, str], ...]


def sections(takes: Sequence[TakeRange]) -> list[Section]:
    """The takes, in the order in which they were rolled."""
    return [_section(take) for take in takes]


def problems(takes: Sequence[TakeRange]) -> list[str]:
    """All that an editor must know, a sentence each."""
    return [f"Take {take.number}: {trouble}" for take in takes for trouble in take.troubles]


def _section(take: TakeRange) -> Section:
    return Section(
        f"{take.called}{', GOOD' if take.good else ''}, rolled {take.opened:%H:%M:%S}",
        take.troubles,
        _shared(take),
        (*(_row(take, clip) for clip in take.clips), *_absent(take)),
        tuple(_marks(take)),
    )


def _shared(take: TakeRange) -> str:
    if take.common is None or take.rate is None:
        return ""
    first, end = label_at(take.common.first, take.rate), label_at(take.common.end, take.rate)
    whole = int(seconds(take.common.frames, take.rate))
    long = f"{whole // 3600}:{whole % 3600 // 60:02}:{whole % 60:02}"
    return f"All share {first} to {end}, {take.common.frames} frames at {take.rate}, {long}."


def _row(take: TakeRange, clip: Clip) -> tuple[str, ...]:
    lane, span, rate = clip.lane, clip.span, clip.rate
    known = span is not None and rate is not None
    return (
        lane.called,
        lane.clip or "NOT TOLD",
        str(label_at(span.first, rate)) if known and span and rate else lane.start or "not known",
        str(label_at(span.end, rate)) if known and span and rate else "not known",
        str(span.frames) if span is not None else "",
        str(rate or "not known"),
        str(take.common.first - span.first) if take.common is not None and span is not None else "",
        lane.note,
    )


def _absent(take: TakeRange) -> Iterator[tuple[str, ...]]:
    for device, called in take.absent.items():
        clip = "NOT KNOWN IF IT ROLLED" if device in take.unseen else "NO CLIP"
        yield (called, clip, *[""] * (len(HEAD) - 2))


def _marks(take: TakeRange) -> Iterator[tuple[str, str]]:
    for mark in take.marks:
        told = f": {mark.text}" if mark.text else ""
        yield mark.label or f"{mark.wall.astimezone():%H:%M:%S}", f"{mark.kind.value}, {mark.who}{told}"
