"""Who is told what happened? The journal's newest lines, for everything that follows them live."""

from collections import deque
from collections.abc import Callable
from datetime import datetime
from typing import Any, Final, Protocol

from stagectl.model.world import Clock

KEEP: Final = 1000  # newest records in memory for pages
BACKLOG: Final = 1000  # records a follower may lag behind before it is told of a gap


class Writer(Protocol):
    """The journal, as far as writing goes."""

    def write(self, kind: str, who: str, **data: Any) -> int: ...

    async def synced(self, n: int) -> bool: ...


class Entry:
    """One record as it was written: number, wall time, kind, who, data."""

    __slots__ = ("data", "kind", "n", "wall", "who")

    def __init__(self, n: int, wall: datetime, kind: str, who: str, data: dict[str, Any]) -> None:
        self.n, self.wall, self.kind, self.who, self.data = n, wall, kind, who, data

    def plain(self) -> dict[str, Any]:
        """As JSON holds it; wall time in RFC 3339, UTC, milliseconds."""
        return {"n": self.n, "at": stamp(self.wall), "kind": self.kind, "who": self.who, "data": self.data}


def stamp(wall: datetime) -> str:
    """A UTC time as RFC 3339 with milliseconds: "2026-11-25T10:00:00.120Z"."""
    return wall.strftime("%Y-%m-%dT%H:%M:%S.") + f"{wall.microsecond // 1000:03d}Z"


class Follower:
    """A bounded line of entries for one reader; when it is full the oldest go and `gap` says so."""

    __slots__ = ("_wake", "entries", "gap")

    def __init__(self, wake: Callable[[], None]) -> None:
        self.entries: deque[Entry] = deque()
        self.gap = False
        self._wake = wake

    def put(self, entry: Entry) -> None:
        if len(self.entries) >= BACKLOG:
            self.entries.popleft()
            self.gap = True
        self.entries.append(entry)
        self._wake()

    def take(self) -> tuple[list[Entry], bool]:
        """All waiting entries and whether older ones were dropped; begin anew."""
        taken, gap = list(self.entries), self.gap
        self.entries.clear()
        self.gap = False
        return taken, gap


class Chronicle:
    """Writes through to the journal and tells followers. This is what all parts write to."""

    def __init__(self, journal: Writer, clock: Clock) -> None:
        self.recent: deque[Entry] = deque(maxlen=KEEP)
        self._journal = journal
        self._clock = clock
        self._followers: list[Follower] = []

    def write(self, kind: str, who: str, **data: Any) -> int:
        """Append one record; returns its number. Never raises for the disk's sake."""
        number = self._journal.write(kind, who, **data)
        entry = Entry(number, self._clock.wall(), kind, who, data)
        self.recent.append(entry)
        for follower in self._followers:
            follower.put(entry)
        return number

    async def synced(self, n: int) -> bool:
        """Wait until record `n` survives a power cut; False: it may not."""
        return await self._journal.synced(n)

    def follow(self, wake: Callable[[], None]) -> Follower:
        """A new follower; `wake` is called for each entry. End it with `unfollow`."""
        follower = Follower(wake)
        self._followers.append(follower)
        return follower

    def unfollow(self, follower: Follower) -> None:
        """Safe to call twice."""
        if follower in self._followers:
            self._followers.remove(follower)
