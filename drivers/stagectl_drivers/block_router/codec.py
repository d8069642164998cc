"""Block router on the wire: bytes in, blocks out; requests in, bytes out. No I/O, no clock.

Source: README.md beside this file, "Framing" and "Requests" (from memory of public documentation, versions 2.3 to
2.8). The wire counts from zero, people count from one: this module alone knows both.
"""

from dataclasses import dataclass
from typing import Final

from stagectl.model.errors import ProtocolError

MAX_LINE: Final = 4096  # bytes without a line end; own choice, some thirty times the longest label known
MAX_BLOCK: Final = 1 << 20  # characters of one block; own choice, the labels of a thousand outputs are a tenth of it

INPUT_LABELS: Final = "INPUT LABELS:"
OUTPUT_LABELS: Final = "OUTPUT LABELS:"
LOCKS: Final = "VIDEO OUTPUT LOCKS:"
ROUTING: Final = "VIDEO OUTPUT ROUTING:"
PREAMBLE: Final = "PROTOCOL PREAMBLE:"
DEVICE_ENDING: Final = " DEVICE:"  # after one word of the maker's

# blocks of rows "INDEX REST" -> is REST an index too?
TABLES: Final = {INPUT_LABELS: False, OUTPUT_LABELS: False, LOCKS: False, ROUTING: True}
# Never inside a block, whose lines begin with an index or a key: where one stands, the block before it was torn off.
OUTSIDE: Final = frozenset({"ACK", "NAK", PREAMBLE, "END PRELUDE:", *TABLES})


@dataclass(frozen=True, slots=True)
class Block:
    """A header and what stood below it, up to the empty line.

    Attributes:
        header: capitals, with its colon.
        lines: every line that is no row, in wire order.
        rows: of the blocks in TABLES: (number, rest). Both count from one; a rest that should be a number and is
            none ("-1") stays text.
    """

    header: str
    lines: tuple[str, ...] = ()
    rows: tuple[tuple[int, int | str], ...] = ()


@dataclass(frozen=True, slots=True)
class Ack:
    """The router took a block. It says nothing of what changed."""


@dataclass(frozen=True, slots=True)
class Nak:
    """The router refused a block."""


@dataclass(frozen=True, slots=True)
class Noise:
    """A line outside any block that fits no rule. Never fatal: firmware adds lines."""

    line: str


Event = Block | Ack | Nak | Noise


@dataclass(frozen=True, slots=True)
class Query:
    """A header without rows: asks for that whole block."""

    header: str


@dataclass(frozen=True, slots=True)
class Change:
    """A block that holds only the rows to change: (number, rest), counted from one."""

    header: str
    rows: tuple[tuple[int, int | str], ...]


@dataclass(frozen=True, slots=True)
class Ping:
    """Asks for an ACK and nothing else."""


Request = Query | Change | Ping


class BlockRouterCodec:
    """One conversation's bytes. Holds at most MAX_LINE of an unfinished line and MAX_BLOCK of an unfinished block."""

    def __init__(self) -> None:
        self._tail = b""
        self._header = ""  # of the block being read; "" between blocks
        self._lines: list[str] = []
        self._size = 0

    def feed(self, data: bytes) -> list[Event]:
        """Return the events that `data` completes; any split of a stream gives the same events.

        Raises:
            ProtocolError: a line over MAX_LINE or a block over MAX_BLOCK. The codec is spent: close the link.
        """
        *whole, self._tail = (self._tail + data).split(b"\n")
        if len(self._tail) > MAX_LINE or (whole and max(map(len, whole)) > MAX_LINE):
            raise ProtocolError(f"The router sent a line of more than {MAX_LINE} bytes. Look at what serves this port.")
        if not whole:
            return []
        text = b"\n".join(whole).decode(errors="replace")
        lines = text.split("\n")  # not splitlines: a label may hold other characters that end lines elsewhere
        if "\r" in text:
            lines = [line.removesuffix("\r") for line in lines]
        return self._blocks(lines)

    def gap(self) -> list[Event]:
        """Silence completes nothing: a block ends with its empty line."""
        return []

    def encode(self, request: Request) -> bytes:
        """Write a request.

        Raises:
            ValueError: a control character or line end inside a field: it would smuggle in a second command; a
                number below one; a change without rows, which would ask instead.
        """
        match request:
            case Ping():
                return b"PING:\n\n"
            case Query(header):
                return f"{_clean(header)}\n\n".encode()
            case Change(header, rows):
                if not rows:
                    raise ValueError("A change without rows would ask for the block instead.")
                counted = TABLES[header]
                lines = [f"{_wire(number)} {_wire(rest) if counted else _clean(str(rest))}" for number, rest in rows]
                if max(map(len, lines)) > MAX_LINE // 4:
                    raise ValueError(f"A label can't be longer than {MAX_LINE // 4} characters.")
                return "\n".join([header, *lines, "", ""]).encode()

    def _blocks(self, lines: list[str]) -> list[Event]:
        events: list[Event] = []
        at, count = 0, len(lines)
        while at < count:
            if self._header:
                end = _end(lines, at)
                self._keep(lines[at:end])
                if end == count:
                    break
                events.append(_block(self._header, self._lines))
                self._header, self._lines, self._size = "", [], 0
                at = end + (not lines[end])
                continue
            line = lines[at]
            at += 1
            if line == "ACK":
                events.append(Ack())
            elif line == "NAK":
                events.append(Nak())
            elif line.endswith(":") and (line.isupper() or line.endswith(DEVICE_ENDING)) and line.isprintable():
                self._header = line  # printable: what a header was learnt from is asked for by it
            elif line:
                events.append(Noise(line))
        return events

    def _keep(self, lines: list[str]) -> None:
        self._size += sum(map(len, lines)) + len(lines)
        if self._size > MAX_BLOCK:
            raise ProtocolError(f"The router sent a block of more than {MAX_BLOCK} characters. Look at the router.")
        self._lines += lines


def _end(lines: list[str], at: int) -> int:
    """Where the open block ends from `at` on: at its empty line, at what can't be inside it, or not yet (the count)."""
    try:
        end = lines.index("", at)
    except ValueError:
        end = len(lines)
    if OUTSIDE.isdisjoint(lines[at:end]):
        return end
    return next(number for number in range(at, end) if lines[number] in OUTSIDE)


def _block(header: str, lines: list[str]) -> Block:
    counted = TABLES.get(header)
    if counted is None:
        return Block(header, tuple(lines))
    rows: list[tuple[int, int | str]] = []
    rest: list[str] = []
    for line in lines:
        index, _, said = line.partition(" ")
        if not _is_index(index):
            rest.append(line)
        elif counted and _is_index(said):
            rows.append((int(index) + 1, int(said) + 1))
        else:
            rows.append((int(index) + 1, said))
    return Block(header, tuple(rest), tuple(rows))


def _is_index(text: str) -> bool:
    """At most five plain digits: no router has more, and `int` takes other scripts' digits too."""
    return len(text) <= 5 and text.isascii() and text.isdigit()


def _wire(number: int | str) -> int:
    if not isinstance(number, int) or number < 1:
        raise ValueError(f"{number!r} is no number of an input or output: they count from one.")
    return number - 1


def _clean(text: str) -> str:
    if any(ord(char) < 32 or ord(char) == 127 for char in text):
        raise ValueError(f"{text!r} holds a control character or line end.")
    return text
