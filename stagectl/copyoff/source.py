"""What must a recorder's clip store be able to do? A session that lists, looks and reads; never one that writes.

All calls block and belong to one thread, `abort` alone may be called from any.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Protocol


class ToldBy(StrEnum):
    """Where the time of a file comes from."""

    FACTS = "facts"  # a machine-readable list (MLSD), to the second
    ASKED = "asked"  # asked for this file (MDTM), to the second
    LIST = "list"  # a list for people (LIST), to the minute or the day
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class Look:
    """What the store says of one file now.

    Attributes:
        size: bytes.
        mtime: when it was last written, taken for UTC, though some stores tell local time. None: untold.
        told_by: which question gave the time; answers to different questions are never compared: a free list is good to
            the minute only, and some stores tell local time in one answer and UTC in the other.
    """

    size: int
    mtime: datetime | None = None
    told_by: ToldBy = ToldBy.NOBODY

    def same(self, other: "Look") -> bool:
        """Equal size, and equal time as far as the two can be compared."""
        if self.size != other.size:
            return False
        if self.mtime is None or other.mtime is None or self.told_by is not other.told_by:
            return True
        return self.mtime == other.mtime


@dataclass(frozen=True, slots=True)
class Found:
    """One clip file of a store.

    Attributes:
        path: as the store names it, "/" between folders, none in front: "1/T001_wide.mov".
        slot: the medium's slot, from one; 0: not known.
    """

    path: str
    slot: int
    look: Look

    @property
    def name(self) -> str:
        """File name alone."""
        return self.path.rpartition("/")[2]


class Transfer(Protocol):
    """One file being read.

    Attributes:
        first: byte at which it begins: the one asked for, or 0 where the store can't begin elsewhere.
    """

    first: int

    def readinto(self, buffer: memoryview) -> int:
        """Fill the front of `buffer`; returns the bytes read, 0 at the end.

        Raises:
            CopyError: LINK, it broke, or no byte came for 20 s; STOPPED, `abort` was called.
        """

    def finish(self) -> bool:
        """Hear the store's last word, after `readinto` gave 0.

        Returns: True, it says all was sent; False, it said nothing within 30 s, and the session is spent.
        Raises:
            CopyError: LINK, it says the transfer broke.
        """

    def close(self) -> None:
        """Let go. Safe to call twice; never raises."""


class Store(Protocol):
    """One session with the clip store of one recorder. After any CopyError it is spent: close it, open anew."""

    def clips(self) -> Iterator[Found]:
        """All clip files of all slots, as they come: 50,000 must not stand in memory.

        Raises:
            CopyError: BUSY, LINK, REFUSED or STOPPED.
        """

    def look(self, path: str) -> Look:
        """Ask for size and time of one file now. Raises CopyError: GONE, LINK, REFUSED, STOPPED."""

    def open(self, path: str, offset: int) -> Transfer:
        """Begin to read at byte `offset`, at most the size. Raises CopyError: GONE, BUSY, LINK, REFUSED, STOPPED."""

    def abort(self) -> None:
        """Cut the connections, from any thread: a read that waits ends at once. Safe to call twice."""

    def close(self) -> None:
        """Say goodbye if that is quick, and end. Safe to call twice; never raises."""


OpenStore = Callable[[], Store]
"""Connects and logs in, in the calling thread. Raises CopyError: BUSY, LINK, REFUSED."""
