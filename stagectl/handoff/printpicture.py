"""How does the picture of a take come onto a printed page? As lines and type, drawn by what draws it for a screen.

Needs reportlab, the extra "print".
"""

from collections.abc import Callable
from typing import Final

from reportlab.lib.colors import black
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Paragraph

from stagectl.handoff.faces import Faces
from stagectl.handoff.svg import SIZE, cut
from stagectl.handoff.takepicture import WIDE

USUAL: Final = 0.75  # points a px: its type is then as large as that of the tables
READABLE: Final = 0.5  # smaller, and nobody reads it


class Picture(Flowable):
    """A drawing of WIDE px; never cut by the end of a page.

    Args:
        faces: the type that text is set in.
        draw: draws on it, and returns how high the drawing is, px.
        wide, high: room for it, points.

    Attributes:
        fits: it is readable in that room.
    """

    def __init__(self, faces: Faces, draw: Callable[["Picture"], float], wide: float, high: float) -> None:
        super().__init__()
        self.hAlign = "LEFT"  # the library's name
        self._faces = faces
        self._steps: list[Callable[[], None]] = []
        self._px_high = draw(self)
        self._scale = min(USUAL, wide / WIDE, high / max(1.0, self._px_high))
        self.width, self.height = WIDE * self._scale, self._px_high * self._scale
        self.fits = bool(self._steps) and self._scale >= READABLE

    def bar(self, at: tuple[float, float], wide: float, high: float, *, ink: float, about: str = "") -> None:
        """As `svg.Drawing.bar`; nobody points at paper, so `about` is left out."""

        def step() -> None:
            self.canv.setFillColor(black, alpha=ink)
            self.canv.rect(at[0], self._px_high - at[1] - high, wide, high, stroke=0, fill=1)

        self._steps.append(step)

    def line(self, *points: tuple[float, float], dashed: bool = False) -> None:
        """As `svg.Drawing.line`."""

        def step() -> None:
            self.canv.setDash([3, 3] if dashed else [])
            path = self.canv.beginPath()
            path.moveTo(points[0][0], self._px_high - points[0][1])
            for x, y in points[1:]:
                path.lineTo(x, self._px_high - y)
            self.canv.drawPath(path)

        self._steps.append(step)

    def text(self, x: float, y: float, text: str, *, end: bool = False, bold: bool = False, most: float = 0.0) -> None:
        """As `svg.Drawing.text`."""
        style = ParagraphStyle(
            "picture", fontName=self._faces.names[bold], fontSize=SIZE, leading=SIZE, alignment=2 if end else 0
        )
        line = Paragraph(self._faces.set(cut(text, most) if most else text, bold=bold), style)

        def step() -> None:
            line.wrapOn(self.canv, WIDE, SIZE)
            line.drawOn(self.canv, x - WIDE if end else x, self._px_high - y - 0.25 * SIZE)

        self._steps.append(step)

    def wrap(self, avail_wide: float, avail_high: float) -> tuple[float, float]:
        """Points it takes, as reportlab asks."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it, as reportlab asks."""
        self.canv.scale(self._scale, self._scale)
        self.canv.setLineWidth(0.8)
        for step in self._steps:
            step()
