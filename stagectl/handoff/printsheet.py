"""How does the log sheet read as a PDF? A4 across, the head of a table on each of its pages, pages counted.

Needs reportlab, the extra "print". The same takes make the same bytes.
"""

import io
from collections.abc import Iterator, Sequence
from typing import Any, Final

from reportlab.lib.colors import grey
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, LongTable, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from stagectl.handoff.faces import Faces
from stagectl.handoff.printpicture import Picture
from stagectl.handoff.ranges import TakeRange
from stagectl.handoff.sheet import ENDS, HEAD, Section, problems, sections
from stagectl.handoff.takepicture import SIGNS, draw_clips

_MARGIN: Final = 12 * mm
_SHARES: Final = (0.12, 0.24, 0.1, 0.1, 0.08, 0.09, 0.07, 0.2)  # of the columns, of the width
_ABOVE: Final = 80.0  # what stands above a take's picture at least, and the head of its table below, points
_INDENT: Final = 6.0  # of text from the margin, reportlab's own, points; tables begin with it
_FOOT: Final = 8.0  # size of the line below each page, points


def log_pdf(takes: Sequence[TakeRange], title: str, faces: Faces) -> bytes:
    """The sheet; what `faces` lacks afterwards was shown by number."""
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=landscape(A4),
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 2 * _FOOT,
        title=title,
        author="stagectl",
        invariant=1,
    )
    foot = _cut(title, faces, document.width - 80)

    def canvas(*args: Any, **more: Any) -> Canvas:
        return _Counted(*args, foot=foot, face=faces.names[0], **more)

    setting = _Setting(faces, document.width - 2 * _INDENT, document.height)
    document.build([*setting.whole(takes, title)], canvasmaker=canvas)
    return out.getvalue()


def _cut(title: str, faces: Faces, wide: float) -> Paragraph:
    """The line at the foot: what does not fit into it is cut off by the page's edge, and stands whole at the top."""
    style = ParagraphStyle("foot", fontName=faces.names[0], fontSize=_FOOT, leading=_FOOT + 2)
    line = Paragraph(faces.set(title[:80]), style)
    line.wrap(wide, 40)
    return line


class _Counted(Canvas):
    """Writes below each page which it is of how many: known when all are set."""

    def __init__(self, *args: Any, foot: Paragraph, face: str, **more: Any) -> None:
        super().__init__(*args, **more)
        self._foot = foot
        self._face = face
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - the library's name
        self._pages.append(dict(self.__dict__))
        self._startPage()  # type: ignore[attr-defined] # the stubs lack it

    def save(self) -> None:
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self._foot.drawOn(self, _MARGIN, _MARGIN - _FOOT)
            self.setFont(self._face, _FOOT)
            self.drawRightString(
                landscape(A4)[0] - _MARGIN, _MARGIN - _FOOT + 2, f"page {number} of {len(self._pages)}"
            )
            super().showPage()
        super().save()


class _Setting:
    """Sets takes in one set of styles. `wide`, `high`: room for text on a page, points."""

    def __init__(self, faces: Faces, wide: float, high: float) -> None:
        plain, bold = faces.names
        self._faces = faces
        self._wide = wide
        self._high = high
        self._body = ParagraphStyle("body", fontName=plain, fontSize=9, leading=11.5)
        self._bad = ParagraphStyle("bad", self._body, fontName=bold)
        self._head = ParagraphStyle("head", self._bad, fontSize=10.5, leading=13, spaceBefore=8, spaceAfter=2)
        self._top = ParagraphStyle("top", self._bad, fontSize=14, leading=18)
        self._number = ParagraphStyle("number", self._body, alignment=2)

    def whole(self, takes: Sequence[TakeRange], title: str) -> Iterator[Flowable]:
        yield self._says(title, self._top)
        yield from (self._says(problem, self._bad) for problem in problems(takes))
        yield Spacer(0, 4)
        yield self._says(ENDS if takes else "No take.", self._body)
        for take, section in zip(takes, sections(takes), strict=True):
            yield from self._take(take, section)

    def _take(self, take: TakeRange, section: Section) -> Iterator[Flowable]:
        picture = Picture(self._faces, lambda paper: draw_clips(paper, take, 0.0), self._wide, self._high - _ABOVE)
        above = _ABOVE + 12 * len(section.troubles) + (picture.height if picture.fits else 0)
        yield CondPageBreak(above)  # no title alone at the end of a page
        yield self._says(section.title, self._head)
        yield from (self._says(trouble, self._bad) for trouble in section.troubles)
        if section.shared:
            yield self._says(section.shared, self._body)
        yield Spacer(0, 3)
        if picture.fits:
            yield picture
            yield Spacer(0, 6)
        yield self._table(section)
        yield Spacer(0, 3)
        for number, (at, told) in enumerate(section.marks):
            yield self._says("  ".join(filter(None, (SIGNS[number : number + 1], at, told))), self._body)

    def _table(self, section: Section) -> Flowable:
        kinds = [self._number if name in ("frames", "offset") else self._body for name in HEAD]
        rows = [
            [
                self._says(name, ParagraphStyle(kind.name, kind, fontName=self._bad.fontName))
                for name, kind in zip(HEAD, kinds, strict=True)
            ]
        ]
        rows += [[self._says(cell, kind) for cell, kind in zip(row, kinds, strict=True)] for row in section.rows]
        style = TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, grey),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            ]
        )
        return LongTable(
            rows, colWidths=[share * self._wide for share in _SHARES], repeatRows=1, splitInRow=1, style=style
        )

    def _says(self, text: str, style: ParagraphStyle) -> Paragraph:
        return Paragraph(self._faces.set(text, bold=style.fontName == self._faces.names[1]), style)
