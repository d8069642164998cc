"""A disk in memory that can fail, hang and lose power, and a clock that only moves when told.

The disk keeps what programs see apart from what would survive a power cut. Source of its behaviour: common practice of
Linux file systems (a failed sync forgets the pages it could not write, names need a sync of their own).
"""

import asyncio
import copy
import errno
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

# some turns of the loop pass from a sync that failed to whoever waits for it: what is written meanwhile is no trust
TOLD_S = 0.0002


@dataclass
class File:
    seen: bytearray = field(default_factory=bytearray)
    safe: bytearray = field(default_factory=bytearray)
    dirty: list[tuple[int, bytes]] = field(default_factory=list)  # offset, bytes written and not synced
    spoilt: bool = False  # a write or sync failed: whoever writes or syncs it again trusts it wrongly
    known_at: float = float("-inf")  # from when on whoever waited for that sync has been told


class ManualClock:
    """Time moves by `advance`; timers fall due in it. `wall` can be stepped without moving time."""

    def __init__(self) -> None:
        self.at = 1000.0
        self.wall_at = datetime(2027, 3, 12, 14, 0, tzinfo=UTC)
        self._timers: list[tuple[float, int, Callable[[], None], list[bool]]] = []
        self._count = 0

    def now(self) -> float:
        self.at += 1e-6
        return self.at

    def wall(self) -> datetime:
        return self.wall_at

    def later(self, at: float, do: Callable[[], None]) -> "Timer":
        self._count += 1
        cancelled = [False]
        self._timers.append((at, self._count, do, cancelled))
        return Timer(cancelled)

    @property
    def waiting(self) -> int:
        """Timers that will still fire."""
        return sum(not cancelled[0] for *_, cancelled in self._timers)

    def advance(self, seconds: float) -> None:
        end = self.at + seconds
        while due := [timer for timer in self._timers if timer[0] <= end]:
            timer = min(due, key=lambda one: one[:2])
            self._timers.remove(timer)
            self.at = max(self.at, timer[0])
            if not timer[3][0]:
                timer[2]()
        self.at = max(self.at, end)
        self.wall_at += timedelta(seconds=seconds)


class Timer:
    def __init__(self, cancelled: list[bool]) -> None:
        self._cancelled = cancelled

    def cancel(self) -> None:
        self._cancelled[0] = True


class Disk:
    """One directory. Every call counts; `fail_at` names the call that fails, `for_ever` all from there on."""

    def __init__(self) -> None:
        self.files: dict[str, File] = {}
        self.directory: dict[str, File] = {}  # the names as they survive a power cut
        self.calls: list[str] = []
        self.fail_at: int | None = None
        self.for_ever = False
        self.broken: set[str] = set()  # kinds of calls that fail now: "write", "sync" ...
        self.room: int | None = None  # bytes left; None: plenty
        self.gate: asyncio.Event | None = None  # syncs wait for it
        self.in_flight = 0
        self.most_in_flight = 0
        self.entered = asyncio.Event()  # a sync is in flight
        self.idle = asyncio.Event()  # none is
        self.on_call: Callable[[], None] | None = None

    # -- Storage

    def names(self) -> list[str]:
        self._call("names")
        return sorted(self.files)

    def read(self, name: str) -> bytes:
        self._call("read")
        if name not in self.files:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory", name)
        return bytes(self.files[name].seen)

    def append_to(self, name: str) -> "Append":
        self._call("append_to")
        self.files.setdefault(name, File())
        return Append(self, name)

    def rename(self, old: str, new: str) -> None:
        self._call("rename")
        self.files[new] = self.files.pop(old)

    def remove(self, name: str) -> None:
        self._call("remove")
        gone = self.files.pop(name)
        if self.room is not None:
            self.room += len(gone.seen)

    async def sync_names(self) -> None:
        names = dict(self.files)  # what is made meanwhile has no promise
        await self._wait()
        self._call("sync_names")
        self.directory = names

    # -- what a test does to it

    def lines(self, name: str) -> list[bytes]:
        return bytes(self.files[name].seen).splitlines(keepends=True)

    def segments(self) -> list[str]:
        return sorted(name for name in self.files if name.startswith("journal-"))

    def after_power_cut(self, chance: random.Random | None = None) -> "Disk":
        """Return the disk a machine finds after losing power now.

        Each write that was not synced is lost, torn or kept, as `chance` has it; without it, all are lost.
        """
        found = Disk()
        for name in sorted({*self.directory, *self.files}):
            now, safe = self.files.get(name), self.directory.get(name)
            file = now if now is safe or (chance and chance.random() < 0.5) else safe
            if file is not None:  # else: a name that was made and not synced, or removed and kept removed
                found.files[name] = File(seen=bytearray(content := _content(file, chance)), safe=content)
        found.directory = dict(found.files)
        return found

    def after_kill(self) -> "Disk":
        """Return the disk as the next process finds it: nothing written is lost."""
        found = Disk()
        found.files, found.directory = copy.deepcopy((self.files, self.directory))
        return found

    def trusted(self, name: str, how: str) -> None:
        """A file is used on although a write or a sync of it failed: what it holds may be lost unseen."""
        raise AssertionError(f"{name}: {how} after a failure")

    # -- inside

    def _call(self, kind: str) -> None:
        if self.on_call is not None:
            self.on_call()
        self.calls.append(kind)
        number = len(self.calls)
        failing = self.fail_at is not None and (number == self.fail_at or (self.for_ever and number > self.fail_at))
        if failing or kind in self.broken:
            raise OSError(errno.EIO, "Input/output error", kind)

    async def _wait(self) -> None:
        self.in_flight += 1
        self.most_in_flight = max(self.most_in_flight, self.in_flight)
        self.entered.set()
        self.idle.clear()
        try:
            await asyncio.sleep(0)
            if self.gate is not None:
                await self.gate.wait()
        finally:
            self.in_flight -= 1
            if not self.in_flight:
                self.entered.clear()
                self.idle.set()


def _content(file: File, chance: random.Random | None) -> bytearray:
    """What a power cut leaves of a file."""
    content = bytearray(file.safe)
    for offset, data in file.dirty:
        fate = chance.choice(["lost", "torn", "kept"]) if chance else "lost"
        kept = data if fate == "kept" else b""
        if chance and fate == "torn":
            kept = data[: chance.randrange(len(data))]
        if kept:
            content.extend(bytes(max(0, offset - len(content))))  # a hole reads as zeros
            content[offset : offset + len(kept)] = kept
    return content


class Append:
    def __init__(self, disk: Disk, name: str) -> None:
        self._disk = disk
        self._name = name
        self._file = disk.files[name]
        self._closed = False
        self._syncing = False

    def write(self, data: bytes) -> None:
        assert not self._closed, "written after close"
        told = not self._file.spoilt or asyncio.get_running_loop().time() < self._file.known_at
        if not told:
            self._disk.trusted(self._name, "written")
        disk = self._disk
        room = len(data) if disk.room is None else min(len(data), disk.room)
        try:
            disk._call("write")
        except OSError:
            self._file.spoilt = True
            self._put(data[: min(room, len(data) // 2)])
            raise
        self._put(data[:room])
        if room < len(data):
            self._file.spoilt = True
            raise OSError(errno.ENOSPC, "No space left on device", self._name)

    def _put(self, data: bytes) -> None:
        if data:
            self._file.dirty.append((len(self._file.seen), data))
            self._file.seen += data
            if self._disk.room is not None:
                self._disk.room -= len(data)

    async def sync(self) -> None:
        assert not self._closed, "synced after close"
        if self._file.spoilt:
            self._disk.trusted(self._name, "synced")
        upto = len(self._file.dirty)
        self._syncing = True
        try:
            await self._disk._wait()
            assert not self._closed, "closed under a sync"
            self._disk._call("sync")
        except OSError:
            self._file.spoilt = True
            self._file.known_at = asyncio.get_running_loop().time() + TOLD_S
            del self._file.dirty[:upto]  # forgotten: a later sync succeeds without them
            raise
        finally:
            self._syncing = False
        for offset, data in self._file.dirty[:upto]:
            self._file.safe.extend(bytes(max(0, offset - len(self._file.safe))))
            self._file.safe[offset : offset + len(data)] = data
        del self._file.dirty[:upto]

    def close(self) -> None:
        assert not self._syncing, "closed under a sync"
        self._closed = True
        self._disk._call("close")
