"""Which records follow a given one? Read from the journal's files while they grow, for who copies them elsewhere."""

from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from stagectl.control.journal_lines import Record, number_of, read_head, read_record, whole
from stagectl.control.journal_replay import Files, segment_name, segment_numbers

_BODY: Final = 9  # where a line's body begins, behind its sum


@dataclass(frozen=True, slots=True)
class Piece:
    """Records in a row.

    Attributes:
        origin: chain of the very first record there is: no two journals share it. Empty: there is none.
        records: oldest first, each whole.
    """

    origin: str
    records: tuple[Record, ...]


class Tail:
    """Reads on from any record. Blocks while it reads a segment: run it off the loop, one call at a time."""

    def __init__(self, storage: Files) -> None:
        self._storage = storage
        self._firsts: dict[int, tuple[int, int]] = {}  # segment: first record, epoch
        self._origin = ""

    def read(self, n: int, most: int, most_bytes: int) -> Piece:
        """Records with numbers above `n`, at most so many and about so many bytes; at least one if there is one.

        A damaged line ends its segment, as in a replay. Raises OSError.
        """
        numbers = segment_numbers(self._storage)
        if not self._origin and numbers:
            first = self._records(numbers[0], 0, 1, 0)
            self._origin = first[0].chain if first else ""
        start = max((number for number in numbers if self._first(number) <= n + 1), default=0)
        for number in (one for one in numbers if one >= start):
            if found := self._records(number, n, most, most_bytes):
                return Piece(self._origin, tuple(found))
        return Piece(self._origin, ())

    def _first(self, number: int) -> int:
        """The first record of a segment by its head; 0: it can't be read."""
        if number not in self._firsts:
            line, _, _ = self._storage.read(segment_name(number)).partition(b"\n")
            read = whole(line)
            head = read_head(*read) if read is not None else None
            if head is None:
                return 0
            self._firsts[number] = (head.first, head.epoch)
        return self._firsts[number][0]

    def _records(self, number: int, n: int, most: int, most_bytes: int) -> list[Record]:
        if not self._first(number):
            return []
        epoch = self._firsts[number][1]
        found: list[Record] = []
        size = 0
        for line in self._storage.read(segment_name(number)).split(b"\n")[1:-1]:
            at = number_of(line[_BODY:])
            if at is None or at <= n:
                continue
            read = whole(line)
            if read is None:
                break
            size += len(line)
            if len(found) >= most or (found and size > most_bytes):
                break
            with suppress(ValueError):  # whole, and makes no sense: a hand or another version wrote it
                found.append(read_record(*read, epoch))
        return found
