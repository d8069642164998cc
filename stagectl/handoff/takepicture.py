"""How does a take look as a picture? A bar for each clip by its timecode, and a bracket over what all recorders hold.

What is a few frames long is no width on such a bar: the frames that each clip has more than all share stand in figures
at its ends.
"""

from collections.abc import Callable, Iterator
from typing import Final

from stagectl.handoff.ranges import Clip, Span, TakeRange
from stagectl.handoff.svg import Drawing, Paper, cut
from stagectl.model.timecode import Rate, label_at
from stagectl.shoot.take import Mark

WIDE: Final = 880
_NAME: Final = 140.0  # where the names of the recorders end, px
_FIRST: Final = 190.0  # where the bars begin
_LAST: Final = 800.0  # ...and end
_ROW: Final = 20.0
SIGNS: Final = "abcdefghijklmnopqrst"  # of marks: as many are told in words


def take_picture(take: TakeRange, *, alone: bool = False) -> str:
    """The picture; `alone`: it stands in no page, and says itself which take it is and what is wrong."""
    drawing = Drawing(f"take-{take.number}", WIDE)
    y = 0.0
    for line in (title(take), *take.troubles) if alone else ():
        y += 16
        drawing.text(0, y, line, bold=y <= 16, most=WIDE)
    if take.common is not None:
        y += 20
        drawing.text(_FIRST, y, _shared(take), most=_LAST - _FIRST)
    y = draw_clips(drawing, take, y)
    for line in _marks(take):
        y += 16
        drawing.text(_FIRST, y, line, most=WIDE - _FIRST)
    return drawing.written(title(take), about(take), y + 8, alone=alone)


def draw_clips(paper: Paper, take: TakeRange, top: float) -> float:
    """The clips below each other, by their timecode where that can be compared. Returns where the drawing ends, px."""
    spans = [clip.span for clip in take.clips if clip.span is not None]
    if take.rate is not None and spans:
        whole = Span(min(span.first for span in spans), max(span.end for span in spans))
        return _bars(paper, take, take.rate, whole=whole, top=top)
    for clip in take.clips:
        top += _ROW
        paper.text(_NAME, top, clip.lane.called, end=True, most=_NAME)
        paper.text(_FIRST, top, _apart(clip), most=_LAST - _FIRST)
    return top


def title(take: TakeRange) -> str:
    """Its number, name and rating."""
    return f"{take.called}{', good' if take.good else ''}"


def about(take: TakeRange) -> str:
    """What the picture shows, in words."""
    told = [_shared(take), *take.troubles]
    for clip in take.clips if take.common is not None else ():
        if clip.span is not None and take.common is not None:
            into, over = take.common.first - clip.span.first, clip.span.end - take.common.end
            told.append(f"{clip.lane.called}: {into} frames before it and {over} after it.")
    return " ".join(filter(None, (*told, *(f"{line}." for line in _marks(take)))))


def _shared(take: TakeRange) -> str:
    if take.common is None or take.rate is None:
        return ""
    first, end = label_at(take.common.first, take.rate), label_at(take.common.end, take.rate)
    return f"All share {first} to {end}, {take.common.frames} frames at {take.rate}."


def _bars(drawing: Paper, take: TakeRange, rate: Rate, *, whole: Span, top: float) -> float:
    """The bars with bracket, marks and axis. Returns where they end."""

    def x(frame: int) -> float:
        return _FIRST + (_LAST - _FIRST) * (frame - whole.first) / whole.frames

    rows = list(dict.fromkeys(clip.lane.device for clip in take.clips))
    under = top + 16 + _ROW * len(rows)
    if take.common is not None:
        first, end = x(take.common.first), x(take.common.end)
        drawing.line((first, top + 12), (first, top + 6), (end, top + 6), (end, top + 12))
        drawing.bar((first, top + 12), end - first, under - top - 12, ink=0.1)
    for row, device in enumerate(rows):
        clips = [clip for clip in take.clips if clip.lane.device == device]
        _lane(drawing, take, clips, x=x, y=top + 16 + _ROW * row)
    for number, mark in enumerate(take.marks):
        frame = take.mark_frame(mark)
        if frame is not None and whole.first <= frame < whole.end:
            drawing.line((x(frame), top + 14), (x(frame), under + 4), dashed=True)
            drawing.text(x(frame) + 2, under + 12, SIGNS[number : number + 1])
    under += 14 if take.marks else 0
    drawing.line((_FIRST, under + 2), (_LAST, under + 2))
    drawing.text(_FIRST, under + 15, str(label_at(whole.first, rate)))
    drawing.text(_LAST, under + 15, str(label_at(whole.end, rate)), end=True)
    return under + 20


def _lane(drawing: Paper, take: TakeRange, clips: list[Clip], *, x: Callable[[int], float], y: float) -> None:
    """A recorder's name, its clips, and at both ends the frames it has beyond what all share."""
    foot = y + 12
    drawing.text(_NAME, foot, clips[0].lane.called, end=True, most=_NAME)
    known = [clip.span for clip in clips if clip.span is not None]
    for clip in clips:
        if clip.span is not None:
            wide = max(1.0, x(clip.span.end) - x(clip.span.first))
            drawing.bar((x(clip.span.first), y + 2), wide, 12, ink=0.75, about=_apart(clip))
    if len(known) < len(clips):
        drawing.text(_FIRST if not known else x(known[-1].end) + 4, foot, "not known whole")
    if take.common is not None and known:
        drawing.text(_FIRST - 6, foot, f"+{take.common.first - known[0].first}", end=True)
        drawing.text(_LAST + 6, foot, f"+{known[-1].end - take.common.end}")


def _apart(clip: Clip) -> str:
    """A clip in words, where it can't be drawn beside the others."""
    name, lane = cut(clip.lane.clip, 300) or "clip not told", clip.lane
    if clip.span is None or clip.rate is None:
        return f"{name}, {lane.start or 'first label not known'}, not known whole"
    first, end = label_at(clip.span.first, clip.rate), label_at(clip.span.end, clip.rate)
    return f"{name}, {first} to {end}, {clip.span.frames} frames at {clip.rate}"


def _marks(take: TakeRange) -> Iterator[str]:
    for sign, mark in zip(SIGNS, take.marks, strict=False):
        yield f"{sign}  {_mark(mark)}"
    if len(take.marks) > len(SIGNS):
        yield f"and {len(take.marks) - len(SIGNS)} marks more"


def _mark(mark: Mark) -> str:
    label = mark.label or f"{mark.wall.astimezone():%H:%M:%S}"
    return f"{label} {mark.kind.value}{f': {mark.text}' if mark.text else ''}"
