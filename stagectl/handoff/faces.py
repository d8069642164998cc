"""In which faces of type is a printed sheet set, so that every name can be read?

Needs reportlab, the extra "print". A sign that no face at hand holds is shown as its number, [U+9332], never left out;
so is writing from right to left, which reportlab sets in the wrong order.
"""

from collections.abc import Iterable, Iterator
from html import escape
from itertools import groupby
from pathlib import Path
from unicodedata import bidirectional, category

from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

OWN = (Path("Vera.ttf"), Path("VeraBd.ttf"))  # that reportlab brings: Latin letters


class Faces:
    """Sets text in the first face that holds each sign.

    Args:
        plain, bold: of the sheet.
        more: files of further faces, best first; opened only when a sign is lacking.
    """

    def __init__(self, plain: Path, bold: Path, more: Iterable[Path] = ()) -> None:
        self._plain, self._bold = _opened(plain, "sheet"), _opened(bold, "sheet-bold")
        self._more = iter(more)
        self._others: list[TTFont] = []
        self.lacking: set[str] = set()  # signs that no face holds

    @property
    def names(self) -> tuple[str, str]:
        """Of the plain and of the bold face, as reportlab knows them."""
        return self._plain.fontName, self._bold.fontName

    def set(self, text: str, *, bold: bool = False) -> str:
        """Text as markup of a reportlab paragraph."""
        base = self._bold if bold else self._plain
        parts: list[str] = []
        for face, signs in groupby(text, lambda sign: self._face(sign, base)):
            told = "".join(signs)
            if face is None:
                parts.extend(f"[U+{ord(sign):04X}]" for sign in told)
            else:
                parts.append(escape(told) if face is base else f'<font name="{face.fontName}">{escape(told)}</font>')
        return "".join(parts)

    def _face(self, sign: str, base: TTFont) -> TTFont | None:
        if sign == " ":
            return base
        if category(sign) in ("Cc", "Cf", "Cs") or bidirectional(sign) in ("R", "AL"):
            self.lacking.add(sign)
            return None
        face = next((face for face in self._held(base) if ord(sign) in face.face.charToGlyph), None)
        if face is None:
            self.lacking.add(sign)
        return face

    def _held(self, base: TTFont) -> Iterator[TTFont]:
        yield base
        yield self._plain
        yield from self._others
        for path in self._more:
            try:
                face = _opened(path, f"more-{len(self._others)}")
            except (OSError, TTFError):
                continue  # of another kind, such as with PostScript outlines
            self._others.append(face)
            yield face


def is_face(path: Path) -> bool:
    """Is this a file that text can be set in?"""
    try:
        TTFont("asked", str(path))
    except (OSError, TTFError):
        return False
    return True


def _opened(path: Path, name: str) -> TTFont:
    """Raises OSError, TTFError: it is not there, or no face that reportlab sets."""
    face = TTFont(name, str(path))
    registerFont(face)
    return face
