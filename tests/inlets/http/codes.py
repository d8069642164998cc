"""What does a phone's camera read in a code? zxing-cpp, which shares no line with what drew it."""

from collections.abc import Sequence

import zxingcpp

SIDE = 4  # pixels a square
QUIET = 4  # squares


def read(rows: Sequence[str]) -> str:
    """The text of a QR code of "1" (dark) and "0" (light); its quiet zone is added."""
    wide = (len(rows) + 2 * QUIET) * SIDE
    margin = b"\xff" * QUIET * SIDE
    lines = [margin + b"".join((b"\0" if square == "1" else b"\xff") * SIDE for square in row) + margin for row in rows]
    blank = [b"\xff" * wide] * QUIET * SIDE
    picture = b"".join([*blank, *(line for line in lines for _ in range(SIDE)), *blank])
    (found,) = zxingcpp.read_barcodes(memoryview(picture).cast("B", shape=[wide, wide]))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return str(found.text)
