"""How does a terminal show a QR code? Two rows of squares in a line of text, dark on light whatever its colours are."""

from collections.abc import Sequence
from typing import Final

QUIET: Final = 4  # light squares around it; ISO/IEC 18004
INK: Final = "\x1b[30;107m"  # black on bright white: not every phone reads light squares on dark
_OUT: Final = "\x1b[0m"
_HALVES: Final = {("0", "0"): " ", ("1", "0"): "▀", ("0", "1"): "▄", ("1", "1"): "█"}


def drawn(rows: Sequence[str]) -> list[str]:
    """Lines of text for rows of "1" (dark) and "0" (light)."""
    width = len(rows[0]) + 2 * QUIET
    blank = ["0" * width] * QUIET
    square = [*blank, *("0" * QUIET + row + "0" * QUIET for row in rows), *blank]
    if len(square) % 2:
        square.append("0" * width)
    pairs = zip(square[::2], square[1::2], strict=True)
    return [INK + "".join(map(_HALVES.__getitem__, zip(*pair, strict=True))) + _OUT for pair in pairs]


def columns(rows: Sequence[str]) -> int:
    """How wide the window must be."""
    return len(rows[0]) + 2 * QUIET
