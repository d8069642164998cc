"""How does the log sheet read in a browser, and on paper from there? One page, whole in itself."""

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from stagectl.handoff.daypicture import day_picture
from stagectl.handoff.ranges import TakeRange
from stagectl.handoff.sheet import ENDS, HEAD, Section, problems, sections
from stagectl.handoff.takepicture import take_picture

_STYLE: Final = (
    "body{font:10pt/1.35 sans-serif;margin:1.5em;color:#000;background:#fff}h1{font-size:14pt;margin:0 0 .2em}"
    "h2{font-size:11pt;margin:1.2em 0 .2em}table{border-collapse:collapse;width:100%}"
    "th,td{border:1px solid #888;padding:.15em .4em;text-align:left;vertical-align:top;overflow-wrap:anywhere}"
    ".n{text-align:right}td.t,span.t{font-family:monospace;white-space:nowrap}.bad{font-weight:bold}"
    "svg{max-width:100%;height:auto}"
    "section{break-inside:avoid}thead{display:table-header-group}@page{size:A4 landscape;margin:12mm}"
    "@media print{body{margin:0}}"
)
_KINDS: Final = ("", "", ' class="t"', ' class="t"', ' class="n"', "", ' class="n"', "")  # of the cells, by column


def log_sheet(takes: Sequence[TakeRange], title: str) -> str:
    """The page: no script, nothing fetched."""
    lanes = [clip.lane for take in takes for clip in take.clips]
    last = max((lane.ended or lane.wall for lane in lanes), default=None)
    day = day_picture(takes, title, last) if last is not None else ""
    wrong = "".join(f'<p class="bad">{escape(problem)}</p>' for problem in problems(takes))
    told = zip(takes, sections(takes), strict=True)
    body = "\n".join(part for take, section in told for part in _take(take, section))
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head>\n<body>\n<h1>{escape(title)}</h1>\n{wrong}\n<p>{ENDS}</p>\n{day}\n"
        f"{body or '<p>No take.</p>'}\n</body>\n</html>\n"
    )


def _take(take: TakeRange, section: Section) -> Iterator[str]:
    yield f"<section><h2>{escape(section.title)}</h2>"
    yield from (f'<p class="bad">{escape(trouble)}</p>' for trouble in section.troubles)
    if section.shared:
        yield f"<p>{escape(section.shared)}</p>"
    heads = "".join(f"<th{kind}>{name}" for kind, name in zip(_KINDS, HEAD, strict=True))
    yield f"<table><thead><tr>{heads}</tr></thead>"
    for row in section.rows:
        cells = zip(_KINDS, row, strict=True)
        yield f"<tr>{''.join(f'<td{kind}>{escape(cell)}' for kind, cell in cells)}</tr>"
    yield f"</table>{take_picture(take)}"
    yield from (f'<p><span class="t">{escape(at)}</span> {escape(told)}</p>' for at, told in section.marks)
    yield "</section>"
