"""How does a day read on paper? Each take with its recorders, marks and troubles, as one page that prints."""

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from stagectl.handoff.daypicture import day_picture
from stagectl.handoff.ranges import Clip, TakeRange
from stagectl.handoff.takepicture import take_picture
from stagectl.model.timecode import label_at, seconds

_STYLE: Final = (
    "body{font:10pt/1.35 sans-serif;margin:1.5em;color:#000;background:#fff}h1{font-size:14pt;margin:0 0 .2em}"
    "h2{font-size:11pt;margin:1.2em 0 .2em}table{border-collapse:collapse;width:100%}"
    "th,td{border:1px solid #888;padding:.15em .4em;text-align:left;vertical-align:top}"
    "td.n{text-align:right}.t{font-family:monospace;white-space:nowrap}.bad{font-weight:bold}"
    "svg{max-width:100%;height:auto}"
    "section{break-inside:avoid}thead{display:table-header-group}@page{size:A4 landscape;margin:12mm}"
    "@media print{body{margin:0}}"
)


def log_sheet(takes: Sequence[TakeRange], title: str) -> str:
    """The page, whole in itself: no script, nothing fetched."""
    body = "\n".join(part for take in takes for part in _take(take))
    lanes = [clip.lane for take in takes for clip in take.clips]
    last = max((lane.ended or lane.wall for lane in lanes), default=None)
    day = day_picture(takes, title, last) if last is not None else ""
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head>\n<body>\n<h1>{escape(title)}</h1>\n"
        f"<p>Ends of ranges are the frame after the last.</p>\n{day}\n"
        f"{body or '<p>No take.</p>'}\n</body>\n</html>\n"
    )


def _take(take: TakeRange) -> Iterator[str]:
    good = ", GOOD" if take.good else ""
    name = f" {take.name}" if take.name else ""
    yield f"<section><h2>Take {take.number}{escape(name)}{good}, rolled {take.opened:%H:%M:%S}</h2>"
    yield from (f'<p class="bad">{escape(trouble)}</p>' for trouble in take.troubles)
    if take.common is not None and take.rate is not None:
        first, end = label_at(take.common.first, take.rate), label_at(take.common.end, take.rate)
        yield (
            f'<p>All share <span class="t">{first}</span> to <span class="t">{end}</span>, {take.common.frames} frames '
            f"at {take.rate}, {_long(take)}.</p>"
        )
    yield "<table><thead><tr><th>recorder<th>clip<th>first label<th>end<th>frames<th>rate<th>offset<th></tr></thead>"
    yield from (_row(take, clip) for clip in take.clips)
    yield f"</table>{take_picture(take)}"
    for mark in take.marks:
        label = mark.label or f"{mark.wall.astimezone():%H:%M:%S}"
        told = f": {mark.text}" if mark.text else ""
        yield f'<p><span class="t">{label}</span> {mark.kind.value}, {escape(mark.who + told)}</p>'
    yield "</section>"


def _row(take: TakeRange, clip: Clip) -> str:
    lane, span, rate = clip.lane, clip.span, clip.rate
    known = span is not None and rate is not None
    first = str(label_at(span.first, rate)) if known and span and rate else lane.start or "not known"
    end = str(label_at(span.end, rate)) if known and span and rate else "not known"
    offset = str(take.common.first - span.first) if take.common is not None and span is not None else ""
    return (
        f"<tr><td>{escape(lane.called)}<td>{escape(lane.clip) or 'NOT TOLD'}"
        f'<td class="t">{escape(first)}<td class="t">{end}<td class="n">{span.frames if span else ""}'
        f'<td>{rate or "not known"}<td class="n">{offset}<td>{escape(lane.note)}</tr>'
    )


def _long(take: TakeRange) -> str:
    """How long the common range lasts by the clock: h:mm:ss."""
    assert take.common is not None
    assert take.rate is not None
    whole = int(seconds(take.common.frames, take.rate))
    return f"{whole // 3600}:{whole % 3600 // 60:02}:{whole % 60:02}"
