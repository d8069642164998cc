"""How do blocks of text lie on the wire of a block router? Bytes in, blocks out; blocks in, bytes out.

Source: from memory of the public documentation of matrix routers, versions 2.3 to 2.8: lines end in LF (CR LF is
accepted), a block is a header in capitals that ends in a colon, its lines, and an empty line.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

MAX_LINE_BYTES: Final = 4096  # own choice: a label is some twenty letters long
MAX_BLOCK_LINES: Final = 2048  # own choice: a salvo over every output of the largest frame has 288

ACK: Final = b"ACK\n\n"
NAK: Final = b"NAK\n\n"


@dataclass(frozen=True, slots=True)
class Block:
    """One block as a client sent it, without its empty line."""

    header: str  # with its colon, as it came
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Malformed:
    """What came up to an empty line is no block: the reason, for the record."""

    why: str


@dataclass(slots=True)
class BlockReader:
    """Cuts one client's bytes into blocks. Any split of the same bytes gives the same blocks.

    An empty line between blocks means nothing. Beyond a limit the rest of a block is thrown away: memory is bounded.
    """

    _tail: bytes = b""
    _tail_is_too_long: bool = False
    _lines: list[bytes] = field(default_factory=list)
    _fault: str = ""

    def feed(self, data: bytes) -> list[Block | Malformed]:
        done: list[Block | Malformed] = []
        *whole, rest = data.split(b"\n")
        for piece in whole:
            self._keep(piece)
            line, self._tail = self._tail.removesuffix(b"\r"), b""
            if self._tail_is_too_long:
                self._tail_is_too_long = False
                self._fault = self._fault or "a line is too long"
            elif line:
                self._take(line)
            elif self._lines or self._fault:
                done.append(self._finish())
        self._keep(rest)
        return done

    def _keep(self, piece: bytes) -> None:
        self._tail += piece[: MAX_LINE_BYTES + 2 - len(self._tail)]
        if len(self._tail) > MAX_LINE_BYTES + 1:  # one more for a CR
            self._tail_is_too_long = True

    def _take(self, line: bytes) -> None:
        if len(self._lines) > MAX_BLOCK_LINES:
            self._fault = self._fault or "a block has too many lines"
        else:
            self._lines.append(line)

    def _finish(self) -> Block | Malformed:
        lines, self._lines = self._lines, []
        fault, self._fault = self._fault, ""
        if fault:
            return Malformed(fault)
        try:
            header, *rest = [line.decode() for line in lines]
        except UnicodeDecodeError:
            return Malformed("a line is not UTF-8")
        if not header.endswith(":"):
            return Malformed(f"{header[:40]!r} is no header")
        return Block(header, tuple(rest))


def written(header: str, lines: Iterable[str] = ()) -> bytes:
    """Write one block: header, lines, empty line. An empty text leaves its line with the number and a space."""
    return "".join(f"{line}\n" for line in (header, *lines, "")).encode()
