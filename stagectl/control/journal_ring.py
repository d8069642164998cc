"""Which records are not yet safe on a disk, and which of them went over the edge?"""

from collections import deque
from dataclasses import dataclass
from typing import Final

RING_BYTES: Final = 16 << 20  # lines kept are never more than this, however few they are; own choice
GAPS: Final = 1_000  # outages remembered for `is_lost`


@dataclass(frozen=True, slots=True)
class Line:
    """A record's line, with its number and the chain it follows."""

    n: int
    before: str
    data: bytes


class Ring:
    """The newest records that are not known to be safe, at most `limit`; older ones fall out.

    Falling out is harmless while a file holds them too. It is a loss when that file is given up: see `gap`.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._lines: deque[Line] = deque()
        self._bytes = 0
        self._gaps: deque[tuple[int, int]] = deque(maxlen=GAPS)

    def __len__(self) -> int:
        return len(self._lines)

    @property
    def first(self) -> Line | None:
        return self._lines[0] if self._lines else None

    def keep(self, line: Line) -> None:
        self._lines.append(line)
        self._bytes += len(line.data)
        while len(self._lines) > self._limit or (self._bytes > RING_BYTES and len(self._lines) > 1):
            self._bytes -= len(self._lines.popleft().data)

    def safe(self, upto: int) -> None:
        """Let go of what is safe now."""
        while self._lines and self._lines[0].n <= upto:
            self._bytes -= len(self._lines.popleft().data)

    def data(self) -> bytes:
        """All lines, to be written anew."""
        return b"".join(line.data for line in self._lines)

    def gap(self, durable: int) -> None:
        """Take down what fell out since `durable`: a new file begins without it."""
        if self._lines:
            start, end = self._open_gap(durable)
            if end >= start:
                self._gaps.append((start, end))

    def is_lost(self, n: int) -> bool:
        return any(first <= n <= last for first, last in self._gaps)

    def lost(self, durable: int) -> int:
        """How many records are in no file and not here, if no file holds what came after `durable`."""
        start, end = self._open_gap(durable)
        return sum(last - first + 1 for first, last in self._gaps) + max(0, end - start + 1)

    def _open_gap(self, durable: int) -> tuple[int, int]:
        start = max(durable, self._gaps[-1][1] if self._gaps else 0) + 1
        return start, (self._lines[0].n - 1 if self._lines else durable)
