"""Which clips make up a take, where do they lie against each other, and what do all recorders share?

Frame numbers here are unwrapped: those of a take run on over midnight, counted from 00:00:00:00 of the day in which its
first recorder began. Ranges end before their `end`.

Source: common practice in the edit, without a source; labels as in stagectl.model.timecode.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from stagectl.model.timecode import Rate, frame_number, label_at, span_frames
from stagectl.shoot.take import Lane, Mark, moment


@dataclass(frozen=True, slots=True)
class Span:
    """Frames from `first` up to, not with, `end`."""

    first: int
    end: int

    @property
    def frames(self) -> int:
        return self.end - self.first

    def within(self, other: "Span") -> "Span | None":
        """What both hold; None: nothing."""
        first, end = max(self.first, other.first), min(self.end, other.end)
        return Span(first, end) if first < end else None


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording of one recorder. `span` is None where labels or length are not known, or do not exist."""

    lane: Lane
    reel: str
    span: Span | None
    rate: Rate | None


@dataclass(frozen=True, slots=True)
class TakeRange:
    """A take for the edit.

    Attributes:
        slate_take: its number on the slate, within its name or day; 0: none.
        opened: with the time zone in which its day is told.
        rate: of all its clips; None if they have several, or one is not known.
        clips: recorder by recorder, in the order in which each recorded.
        common: what all recorders hold; None: see `troubles`.
        troubles: what an editor must know, a sentence each.
        absent: recorders that were asked for and have no clip, and what people call them.
        unseen: those of whom not all is known: they were out of reach.
    """

    number: int
    name: str
    slate_take: int
    good: bool
    opened: datetime
    rate: Rate | None
    clips: tuple[Clip, ...]
    common: Span | None
    marks: tuple[Mark, ...]
    troubles: tuple[str, ...]
    absent: Mapping[str, str]
    unseen: tuple[str, ...]

    @property
    def called(self) -> str:
        """Number and name as people say them: "Take 15 Songs", or "Take 15: Songs, take 2" as it stands on a slate."""
        if self.slate_take in (0, self.number):
            return f"Take {self.number} {self.name}".rstrip()
        return f"Take {self.number}: {', '.join(filter(None, (self.name, f'take {self.slate_take}')))}"

    @property
    def day(self) -> str:
        return f"{self.opened:%Y-%m-%d}"

    def part(self, clip: Clip) -> Span | None:
        """What goes out of a clip: its part of the common range, or all of it where there is none."""
        if clip.span is None or self.common is None:
            return clip.span
        return clip.span.within(self.common)

    def mark_frame(self, mark: Mark) -> int | None:
        """Where in the take a mark stands; None: its timecode is not known, or is of another rate."""
        clip = next((one for one in self.clips if one.lane.device == mark.device and one.span is not None), None)
        if clip is None or clip.span is None or clip.rate is None or not mark.label:
            return None
        start = label_at(clip.span.first, clip.rate)
        try:
            return clip.span.first + span_frames(start, type(start).parse(mark.label), clip.rate)
        except ValueError:
            return None


def ranged(takes: Iterable[Mapping[str, Any]], called: Mapping[str, str] = MappingProxyType({})) -> list[TakeRange]:
    """Make takes as REST shows them ready for the edit, in the order in which they were rolled.

    `called`: what people call recorders, beside those that recorded.

    Raises:
        KeyError, TypeError, ValueError: one is no take.
    """
    plain = sorted(takes, key=lambda take: moment(take["opened"]))
    lanes = {int(take["take"]): [Lane.read(lane) for lane in take["lanes"]] for take in plain}
    reels = reel_names(lane.device for some in lanes.values() for lane in some)
    names = {**called, **{lane.device: lane.called for some in lanes.values() for lane in some}}
    return [_ranged(take, lanes[int(take["take"])], reels, names) for take in plain]


def _ranged(
    take: Mapping[str, Any], lanes: Sequence[Lane], reels: Mapping[str, str], called: Mapping[str, str]
) -> TakeRange:
    clips, troubles = _clips(lanes, reels)
    own, unseen = {lane.device for lane in lanes}, take.get("unseen", ())
    absent = {name: called.get(name, name) for name in take["wanted"] if name not in own}
    troubles += [
        f"{told}: not known if it rolled, it was out of reach." if name in unseen else f"{told} did not roll."
        for name, told in absent.items()
    ]
    rates = {clip.rate for clip in clips}
    rate = next(iter(rates)) if len(rates) == 1 else None
    common = None
    if len(rates) > 1:
        told = "; ".join(sorted({f"{clip.lane.called} {clip.rate or 'not known'}" for clip in clips}))
        troubles.append(f"No common range: the frame rates differ ({told}).")
    elif clips and all(clip.span is not None for clip in clips):
        common, more = _common(clips)
        troubles += more
    elif clips:
        troubles.append("No common range: not every clip is known whole.")
    return TakeRange(
        number=int(take["take"]),
        name=str(take["name"]),
        slate_take=int(take.get("slate_take", 0)),
        good=bool(take["good"]),
        opened=moment(take["opened"]).astimezone(),
        rate=rate,
        clips=tuple(clips),
        common=common,
        marks=tuple(Mark.read(mark) for mark in take["marks"]),
        troubles=tuple(troubles),
        absent=MappingProxyType(absent),
        unseen=tuple(unseen),
    )


def _clips(lanes: Sequence[Lane], reels: Mapping[str, str]) -> tuple[list[Clip], list[str]]:
    """The clips, placed around the first label that is known; and what is wrong with those that have no place."""
    reference = next((lane for lane in lanes if lane.label is not None), None)
    clips, troubles = [], []
    for lane in lanes:
        clip = Clip(lane, reels[lane.device], None, lane.rate)
        label, frames = lane.label, lane.frames()
        if lane.rate is None:
            troubles.append(f"{lane.called}: its frame rate is not known.")
        elif label is None:
            troubles.append(f"{lane.called}: it told no first label that exists at {lane.rate}.")
        elif not frames:
            troubles.append(f"{lane.called}: it has told no length yet.")
        else:
            first = frame_number(label, lane.rate)
            if reference is not None and reference.rate == lane.rate and reference.label is not None:
                origin = frame_number(reference.label, lane.rate)
                first = origin + span_frames(reference.label, label, lane.rate)
            clip = Clip(lane, reels[lane.device], Span(first, first + frames), lane.rate)
        if not lane.start_exact and lane.start:
            troubles.append(f"{lane.called}: its first label is reckoned, not told by its clip list.")
        clips.append(clip)
    return clips, troubles


def _common(clips: Sequence[Clip]) -> tuple[Span | None, list[str]]:
    """What all recorders hold, and where one that has several clips leaves a gap. All clips have their span."""
    by_recorder: dict[str, list[Span]] = {}
    troubles = []
    for clip in clips:
        assert clip.span is not None
        by_recorder.setdefault(clip.lane.device, []).append(clip.span)
    called = {clip.lane.device: clip.lane.called for clip in clips}
    for device, spans in by_recorder.items():
        for one, following in pairwise(spans):
            if gap := following.first - one.end:
                what = f"a gap of {gap} frames" if gap > 0 else f"an overlap of {-gap} frames"
                troubles.append(f"{called[device]}: {what} between its clips.")
    first = max(min(span.first for span in spans) for spans in by_recorder.values())
    end = min(max(span.end for span in spans) for spans in by_recorder.values())
    if first >= end:
        return None, [*troubles, "No common range: the clips do not overlap."]
    return Span(first, end), troubles


def reel_names(devices: Iterable[str]) -> dict[str, str]:
    """A reel name for each recorder: eight capitals and figures at most, no two alike.

    Source: what lists of the CMX 3600 kind hold today; common practice.
    """
    names: dict[str, str] = {}
    for device in dict.fromkeys(devices):
        plain = "".join(sign for sign in device.upper() if sign.isascii() and sign.isalnum()) or "REEL"
        name, number = plain[:8], 1
        while name in names.values():
            number += 1
            name = f"{plain[: 8 - len(str(number))]}{number}"
        names[device] = name
    return names
