"""How does a day look as a picture? Each recorder a row, each take a column of bars, by the time of day."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from stagectl.handoff.ranges import TakeRange
from stagectl.handoff.svg import Drawing
from stagectl.shoot.take import Lane

WIDE: Final = 880
BARS_MOST: Final = 2000  # of one picture; more, and one row stands for all recorders
_NAME: Final = 140.0  # where names end, px
_FIRST: Final = 150.0  # where bars begin
_LAST: Final = 870.0
_ROW: Final = 20.0
_APART: Final = 22.0  # figures below each other stand so far apart at least, px
_STEPS: Final = (
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=15),
    timedelta(hours=1),
    timedelta(hours=3),
)


def day_picture(takes: Sequence[TakeRange], title: str, now: datetime, *, alone: bool = False) -> str:
    """The picture; `now`: how far what still rolls is drawn; `alone`: it stands in no page."""
    drawing = Drawing("day", WIDE)
    drawing.text(0, 16, title, bold=True, most=WIDE)
    drawing.text(0, 32, about(takes), most=WIDE)
    lanes = [clip.lane for take in takes for clip in take.clips]
    if not lanes:
        return drawing.written(title, about(takes), 40, alone=alone)
    begin, end = min(lane.wall for lane in lanes), max(lane.ended or now for lane in lanes)
    length = max((end - begin).total_seconds(), 1.0)
    called = {lane.device: lane.called for lane in lanes}
    rows = [{device} for device in called] if len(lanes) <= BARS_MOST else [set(called)]

    def x(moment: datetime) -> float:
        return _FIRST + (_LAST - _FIRST) * (moment - begin).total_seconds() / length

    top, numbered = 54.0, float("-inf")
    under = top + 4 + _ROW * len(rows)
    for take in takes:
        at = x(min((clip.lane.wall for clip in take.clips), default=take.opened))
        if at - numbered >= _APART:
            drawing.text(at, top, f"{take.number}{'*' if take.good else ''}")
            numbered = at
        for row, devices in enumerate(rows):
            own = [clip.lane for clip in take.clips if clip.lane.device in devices]
            for lane in own if len(rows) > 1 or len(called) == 1 else own[:1]:
                wide = max(2.0, x(lane.ended or now) - x(lane.wall))
                ink = 0.85 if take.good else 0.45
                drawing.bar((x(lane.wall), top + 6 + _ROW * row), wide, 14, ink=ink, about=_bar(take, lane))
    for row, devices in enumerate(rows):
        name = called[next(iter(devices))] if len(devices) == 1 else f"{len(devices)} recorders"
        drawing.text(_NAME, top + 17 + _ROW * row, name, end=True, most=_NAME)
    drawing.line((_FIRST, under + 2), (_LAST, under + 2))
    zone, step = takes[0].opened.tzinfo, next((one for one in _STEPS if length / one.total_seconds() <= 10), _STEPS[-1])
    hour = begin.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    hours = [hour + step * number for number in range(1, 2 + int((end - hour) / step))]
    for tick in (one for one in hours if begin < one < end):
        drawing.line((x(tick), under + 2), (x(tick), under + 6))
        drawing.text(x(tick) - 15, under + 18, f"{tick:%H:%M}")
    if length < 2 * step.total_seconds():  # too short for hours that say anything
        drawing.text(_FIRST, under + 18, f"{begin.astimezone(zone):%H:%M:%S}")
        drawing.text(_LAST, under + 18, f"{end.astimezone(zone):%H:%M:%S}", end=True)
    return drawing.written(title, about(takes), under + 24, alone=alone)


def about(takes: Sequence[TakeRange]) -> str:
    """What the picture shows, in words."""
    if not takes:
        return "No take."
    good = [str(take.number) for take in takes if take.good]
    rolled = (
        f"{len(takes)} take{'' if len(takes) == 1 else 's'} from {takes[0].opened:%H:%M} to {takes[-1].opened:%H:%M}"
    )
    told = f"; good: {', '.join(good)}" if good else "; none is rated good"
    troubled = [str(take.number) for take in takes if take.troubles]
    more = f" Trouble in: {', '.join(troubled)}." if troubled else ""
    return f"{rolled}{told}.{more}{' A star and a dark bar: good.' if good else ''}"


def _bar(take: TakeRange, lane: Lane) -> str:
    zone = take.opened.tzinfo
    ended = f"{lane.ended.astimezone(zone):%H:%M:%S}" if lane.ended is not None else "now"
    return f"{take.called}, {lane.called}, {lane.wall.astimezone(zone):%H:%M:%S} to {ended}"
