"""How does a recorder's list of takes read in the way of the CMX 3600? One picture track, cuts only.

The source columns hold the clips' own labels; the record columns lay the takes one after another from 01:00:00:00:
readers refuse a list that goes back in them, as the time of day does at midnight (measured: otio-cmx3600-adapter 1.0).

Source: the line-oriented practice that edit programs share; columns as that library writes them (measured).
SMPTE ST 258 was not read.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from stagectl.handoff.ranges import Clip, Span, TakeRange
from stagectl.model.timecode import Label, Rate, frame_number, label_at, label_day

EVENTS_MOST: Final = 999  # of one list: the number has three digits
SHOWN: Final = 40  # characters of free text in a comment: programs cut lines at 80


@dataclass(slots=True)
class _List:
    """One list while it is written. `record`: where in its record columns the next event goes."""

    reel: str
    rate: Rate
    record: int
    events: list[str] = field(default_factory=list)

    @classmethod
    def for_event(cls, reel: str, rate: Rate, frames: int) -> "_List":
        hour = frame_number(Label(1, 0, 0, 0, rate.drop), rate)
        return cls(reel, rate, hour if hour + frames <= label_day(rate) else 0)

    def has_room(self, frames: int) -> bool:
        return len(self.events) < EVENTS_MOST and self.record + frames <= label_day(self.rate)

    def add(self, source: Span, comments: Sequence[str]) -> None:
        at = Span(self.record, self.record + source.frames)
        labels = " ".join(f"{label_at(one.first, self.rate)} {_end(one, self.rate)}" for one in (source, at))
        line = f"{len(self.events) + 1:03}  {self.reel:<8} V     C        {labels}"
        self.events.append("\r\n".join([line, *comments]))
        self.record = at.end

    def text(self, title: str) -> str:
        head = f"TITLE: {plain_text(title).upper()}\r\nFCM: {'DROP FRAME' if self.rate.drop else 'NON-DROP FRAME'}"
        return "\r\n\r\n".join([head, *self.events]) + "\r\n"


def edls(takes: Sequence[TakeRange], title: str) -> dict[str, str]:
    """A list for each recorder and rate, as the last part of a file's name -> its text; more where one would be full.

    A list is full with EVENTS_MOST events, or where its record columns would pass midnight.
    """
    found: dict[tuple[str, Rate], list[_List]] = {}
    for take in takes:
        for clip in take.clips:
            part, rate = take.part(clip), clip.rate
            if rate is None or part is None:
                continue
            lists = found.setdefault((clip.reel, rate), [])
            for source in _up_to_midnight(part, rate):
                if not lists or not lists[-1].has_room(source.frames):
                    lists.append(_List.for_event(clip.reel, rate, source.frames))
                lists[-1].add(source, [*_comments(take, clip, rate)])
    texts = {}
    for (reel, rate), lists in found.items():
        for number, one in enumerate(lists, 1):
            more = f"_{number}" if number > 1 else ""
            texts[f"{reel}_{str(rate).replace(' ', '')}{more}.edl"] = one.text(f"{title} {reel}{more}")
    return texts


def _up_to_midnight(part: Span, rate: Rate) -> Iterator[Span]:
    """A part cut wherever its labels start again: no event may end before it begins. Each is below the label day."""
    day, first, left = label_day(rate), part.first % label_day(rate), part.frames
    while left:
        some = min(left, day - first)
        yield Span(first, first + some)
        first, left = 0, left - some


def _end(span: Span, rate: Rate) -> str:
    """The label after the last frame; at midnight 24:00:00:00: readers take 00:00:00:00 for a length below zero."""
    if span.end == label_day(rate):
        return f"24:00:00{';' if rate.drop else ':'}00"
    return str(label_at(span.end, rate))


def _comments(take: TakeRange, clip: Clip, rate: Rate) -> Iterator[str]:
    yield f"* FROM CLIP NAME: {plain_text(clip.lane.clip) or 'NOT TOLD'}"
    yield f"* STAGECTL TAKE={take.number} GOOD={int(take.good)} RATE={rate}"
    if take.name:
        yield f"* COMMENT: {plain_text(take.name)[:SHOWN]}"
    if take.common is None:
        yield "* COMMENT: WHOLE CLIP, NO COMMON RANGE"
    for mark in take.marks:
        told = f": {plain_text(mark.text)[:SHOWN]}" if mark.text else ""
        yield f"* COMMENT: {mark.kind.value.upper()} {mark.label or 'NO LABEL'}{told}"


def plain_text(text: str) -> str:
    """Text as old programs read it: ASCII, one line; what has no sign there is shown as a question mark."""
    return " ".join(text.split()).encode("ascii", "replace").decode()
