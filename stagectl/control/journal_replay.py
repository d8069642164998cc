"""What do the journal's files still say, and where are they damaged?

Each segment is read up to its first damage, and the next one goes on where its head says. Damage is named and never
raised: a daemon with a torn journal must start. Records written twice, after a sync that failed, come once.
"""

import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, Protocol

from stagectl.control.journal_lines import (
    GENESIS,
    VERSION,
    Head,
    Record,
    chain_of,
    number_of,
    read_head,
    read_record,
    whole,
)

_SEGMENT: Final = re.compile(r"journal-([0-9]{8})\.log")
_REMEMBERED: Final = 40_000  # chains kept to know doubled records: four times the ring that is written anew


class Files(Protocol):
    """Where segments are read: a folder, or what a backup holds."""

    def names(self) -> list[str]:
        """Sorted names of the files. Raises OSError."""

    def read(self, name: str) -> bytes:
        """Raises OSError."""


@dataclass(frozen=True, slots=True)
class Damage:
    """One place where the journal is not whole.

    Attributes:
        segment: file name.
        line: from one; 0 for the file as a whole.
        what: one sentence without the place.
        known: a later start saw it and went on from before it, as after a power cut: nothing new.
    """

    segment: str
    line: int
    what: str
    known: bool = False

    def __str__(self) -> str:
        return f"{self.segment}:{self.line}: {self.what}" if self.line else f"{self.segment}: {self.what}"


@dataclass(slots=True)
class Report:
    """What a walk through all segments found.

    Attributes:
        segments: files seen.
        records: records read, doubled ones counted once.
        doubled: records that came a second time.
        last: highest number seen anywhere, also behind a damage; a new record takes a higher one.
        chain: of the last record read; what the next one follows.
        epoch: highest epoch of all heads.
        headless: segments since the last head that was read, whose own could not be: each may be a start of its own.
        unreadable: those of them that may hold records nobody has counted.
        newer: a segment was written by a newer version: don't write to this journal.
        damage: in the order of the files.
    """

    segments: int = 0
    records: int = 0
    doubled: int = 0
    last: int = 0
    chain: str = GENESIS
    epoch: int = 0
    headless: int = 0
    unreadable: int = 0
    newer: bool = False
    damage: list[Damage] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """No damage that is news."""
        return all(damage.known for damage in self.damage)


def segment_name(number: int) -> str:
    return f"journal-{number:08}.log"


def segment_numbers(storage: Files) -> list[int]:
    """Numbers of the segments there, in order. Raises OSError."""
    return sorted(int(match[1]) for name in storage.names() if (match := _SEGMENT.fullmatch(name)))


def verify(storage: Files) -> Report:
    """Check every line's sum and the chain over all segments. Never raises for what the files hold."""
    walk = Walk(storage)
    for _ in walk.lines():
        pass
    return walk.report


class Walk:
    """One pass over the segments with a number below `below`; `report` is complete when `lines` is at its end."""

    def __init__(self, storage: Files, below: int | None = None) -> None:
        self.report = Report()
        self._storage = storage
        self._below = below
        self._recent: deque[str] = deque([GENESIS])
        self._known: dict[str, None] = {GENESIS: None}
        self._tail: Damage | None = None

    def records(self) -> Iterator[Record]:
        for body, chain, epoch in self.lines():
            try:
                yield read_record(body, chain, epoch)
            except ValueError as error:
                self.report.damage.append(
                    Damage("", 0, f"record {number_of(body)} is whole but makes no sense: {error}.")
                )

    def lines(self) -> Iterator[tuple[bytes, str, int]]:
        """Give (body, chain, epoch) of each record that is whole and in its chain."""
        try:
            numbers = segment_numbers(self._storage)
        except OSError as error:
            self._headless()
            self.report.damage.append(
                Damage("the journal's folder", 0, f"it can't be read: {error.strerror or error}.")
            )
            return
        for number in numbers:
            if self._below is None or number < self._below:
                yield from self._segment(segment_name(number))
        self._settle_tail(known=False)

    def _segment(self, name: str) -> Iterator[tuple[bytes, str, int]]:
        report = self.report
        report.segments += 1
        try:
            lines = self._storage.read(name).split(b"\n")
        except OSError as error:
            self._headless()
            report.damage.append(Damage(name, 0, f"it can't be read: {error.strerror or error}."))
            return
        torn = lines.pop()  # empty if the last line is whole
        if not lines and not torn:
            report.headless += 1
            self._stop(name, 0, "it is empty", [])
            return
        head = self._head(name, lines)
        if head is None:
            return
        for index, line in enumerate(lines[1:], start=2):
            found = whole(line)
            number = number_of(found[0]) if found else None
            if found is None or number is None or chain_of(report.chain, found[0]) != found[1]:
                why = "its checksum is wrong" if found is None else "it doesn't follow from the lines before"
                self._stop(name, index, f"this line is damaged, {why}", lines[index:])
                return
            body, report.chain = found
            report.last = max(report.last, number)
            if report.chain in self._known:
                report.doubled += 1
                continue
            self._remember(report.chain)
            report.records += 1
            yield body, report.chain, head.epoch
        if torn:
            self._stop(name, len(lines) + 1, "the last line is torn", [])

    def _head(self, name: str, lines: list[bytes]) -> Head | None:
        report = self.report
        found = whole(lines[0]) if lines else None
        head = read_head(*found) if found else None
        if head is None:
            self._headless()
            self._stop(name, 1, "the first line is torn or damaged", lines[1:])
            return None
        if head.version > VERSION:
            report.newer = True
            self._headless()
            report.damage.append(Damage(name, 1, f"a newer version wrote it ({head.version}), it is not read."))
            return None
        report.epoch = max(report.epoch, head.epoch)
        report.headless = report.unreadable = 0
        follows = head.chain in self._known
        self._settle_tail(known=follows)
        if not follows:
            gap = f", records {report.last + 1} to {head.first - 1} are missing" if head.first > report.last + 1 else ""
            report.damage.append(Damage(name, 1, f"it doesn't follow from the file before{gap}."))
        report.last = max(report.last, head.first - 1)
        report.chain = head.chain
        self._remember(head.chain)
        return head

    def _headless(self) -> None:
        self.report.headless += 1
        self.report.unreadable += 1

    def _stop(self, name: str, line: int, what: str, unread: list[bytes]) -> None:
        """Keep what was read of this segment; numbers behind the damage are still not given out again."""
        later = [number for one in unread if (found := whole(one)) and (number := number_of(found[0])) is not None]
        self.report.last = max([self.report.last, *later])
        more = f", {len(unread)} lines after it are not read" if unread else ""
        self._settle_tail(known=False)
        self._tail = Damage(name, line, f"{what}{more}.")

    def _settle_tail(self, *, known: bool) -> None:
        """A damage is known if the next segment goes on from something that was read before it."""
        if self._tail is not None:
            tail, self._tail = self._tail, None
            self.report.damage.append(Damage(tail.segment, tail.line, tail.what, known))

    def _remember(self, chain: str) -> None:
        if chain not in self._known:
            self._known[chain] = None
            self._recent.append(chain)
            if len(self._recent) > _REMEMBERED:
                del self._known[self._recent.popleft()]
