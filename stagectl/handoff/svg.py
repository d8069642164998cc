"""How is a small picture written as SVG? Rectangles, lines and text in one ink, with a title and a description.

All is drawn in currentColor, so that a picture in a page follows its theme; one that stands alone brings both themes.
Source: SVG 1.1, with the roles that WAI-ARIA gives a picture; from memory.
"""

from html import escape
from typing import Final, Protocol
from unicodedata import category, east_asian_width

ALONE: Final = (  # the style of a picture that stands alone
    ":root{color:#1b1b1b;background:#fff}@media(prefers-color-scheme:dark){:root{color:#e6e6e6;background:#161616}}"
)
SPACE: Final = ' xmlns="http://www.w3.org/2000/svg"'  # which a page implies
SIZE: Final = 12  # of text, px
UNIT: Final = 6.7  # px that a sign of that size takes at most, on average; a wide one takes two


class Paper(Protocol):
    """What a picture is drawn on; x to the right, y downwards, both in px. `Drawing` says what each word draws."""

    def bar(self, at: tuple[float, float], wide: float, high: float, *, ink: float, about: str = "") -> None: ...

    def line(self, *points: tuple[float, float], dashed: bool = False) -> None: ...

    def text(
        self, x: float, y: float, text: str, *, end: bool = False, bold: bool = False, most: float = 0.0
    ) -> None: ...


class Drawing:
    """A picture while it is drawn, `wide` px wide; x to the right, y downwards, both in px.

    Args:
        name: tells its parts from those of other pictures in a page; letters, figures, hyphens.
    """

    def __init__(self, name: str, wide: int) -> None:
        self._name = name
        self._wide = wide
        self._parts: list[str] = []

    def bar(self, at: tuple[float, float], wide: float, high: float, *, ink: float, about: str = "") -> None:
        """A filled rectangle with its upper left corner at `at`; `ink` 0 to 1; `about` is shown to who points at it."""
        told = f"><title>{sayable(about)}</title></rect>" if about else "/>"
        self._parts.append(f'<rect x="{at[0]:.1f}" y="{at[1]:.1f}" width="{wide:.1f}" height="{high:.1f}" ')
        self._parts.append(f'fill="currentColor" fill-opacity="{ink:g}"{told}')

    def line(self, *points: tuple[float, float], dashed: bool = False) -> None:
        """A thin line through these points."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashes = ' stroke-dasharray="3 3"' if dashed else ""
        self._parts.append(f'<polyline points="{path}" fill="none" stroke="currentColor"{dashes}/>')

    def text(self, x: float, y: float, text: str, *, end: bool = False, bold: bool = False, most: float = 0.0) -> None:
        """A line of text that begins (`end`: ends) at x, with its foot at y; cut to `most` px."""
        anchor = ' text-anchor="end"' if end else ""
        weight = ' font-weight="bold"' if bold else ""
        told = cut(text, most) if most else text
        self._parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{anchor}{weight}>{sayable(told)}</text>')

    def written(self, title: str, about: str, high: float, *, alone: bool = False) -> str:
        """The picture, `high` px high. `title` names it, `about` says in words what it shows."""
        name = self._name
        style = f"<style>{ALONE}</style>" if alone else ""
        return (
            f'<svg{SPACE if alone else ""} viewBox="0 0 {self._wide} {high:.0f}" width="{self._wide}" '
            f'height="{high:.0f}" role="img" aria-labelledby="{name}-title {name}-about" '
            f'font-family="sans-serif" font-size="{SIZE}" fill="currentColor">'
            f'<title id="{name}-title">{sayable(title)}</title><desc id="{name}-about">{sayable(about)}</desc>{style}'
            f"{''.join(self._parts)}</svg>"
        )


def sayable(text: str) -> str:
    """Text as XML may hold it: no sign of control, and what means something there spelled out."""
    return escape(
        "".join("\ufffd" if category(sign) in ("Cc", "Cs") or sign in "\ufffe\uffff" else sign for sign in text)
    )


def cut(text: str, px: float) -> str:
    """Text that fits into so many px, with dots where something was cut off."""
    most = int(px / UNIT)
    wide = [2 if east_asian_width(sign) in "WF" else 1 for sign in text]
    if sum(wide) <= most:
        return text
    kept, room = 0, most - 3
    while kept < len(text) and wide[kept] <= room:
        room -= wide[kept]
        kept += 1
    return text[:kept] + "..."
