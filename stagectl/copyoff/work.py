"""What does a piece of work in a thread share with the loop: leave to go on, the pace, and how far it is?"""

from collections.abc import Callable
from threading import Event, Lock
from typing import Final

from stagectl.copyoff.errors import CopyError, Reason

HUSH_S: Final = 1.0  # a roll is written down and proved within that, as a rule; own choice


class Leave:
    """May this piece of work go on? Asked in its thread, block by block; taken back from the loop, at once."""

    def __init__(self) -> None:
        self._ended = Event()
        self._cut: Callable[[], None] | None = None

    def cut_with(self, cut: Callable[[], None] | None) -> None:
        """What ends a call that blocks, such as the store's `abort`; it may be called twice. None: nothing blocks."""
        self._cut = cut
        if cut is not None and self._ended.is_set():
            cut()

    def end(self) -> None:
        """Take it back: never blocks."""
        self._ended.set()
        if (cut := self._cut) is not None:
            cut()

    @property
    def ended(self) -> bool:
        """It was taken back."""
        return self._ended.is_set()

    def check(self) -> None:
        """Raises CopyError: STOPPED, it was taken back."""
        if self._ended.is_set():
            raise CopyError(Reason.STOPPED, "It was asked to stop.")

    def pause(self, seconds: float) -> None:
        """Wait, no longer than it is given. Raises CopyError: STOPPED."""
        self._ended.wait(max(0.0, seconds))
        self.check()


class Pace:
    """When may copies move bytes, and how many? Shared by all: none while a roll goes out, else so many a second.

    Args:
        bytes_per_s: None: no limit.
        elapsed: monotonic seconds, from any thread.
    """

    def __init__(self, bytes_per_s: int | None, elapsed: Callable[[], float]) -> None:
        self._bytes_per_s = bytes_per_s
        self._elapsed = elapsed
        self._free_at = self._hushed_until = 0.0
        self._lock = Lock()

    def hush(self) -> None:
        """A roll goes out: for HUSH_S processor and disks are its own. From the loop; never blocks.

        Copies stand on the disk of the journal in many a house, and a sync of theirs holds the journal's up: with one
        of them under way an answer to a roll came some 40 ms later (bench, case "copy").
        """
        self._hushed_until = self._elapsed() + HUSH_S

    def still(self) -> None:
        """Wait until no roll goes out, whether leave was taken back or not: before what keeps a disk busy."""
        while (left := self._hushed_until - self._elapsed()) > 0:
            Event().wait(left)

    def spend(self, count: int, leave: Leave) -> None:
        """Wait for the turn of so many bytes off a recorder; 0: others. Raises CopyError: STOPPED."""
        leave.check()
        while (left := self._hushed_until - self._elapsed()) > 0:
            leave.pause(left)
        if not self._bytes_per_s:
            return
        with self._lock:
            now = self._elapsed()
            begin = max(now, self._free_at)
            self._free_at = begin + count / self._bytes_per_s
        leave.pause(begin - now)


class Meter:
    """How far one transfer is. Written by its thread, read by the loop.

    Attributes:
        clip: source path; empty: none.
        done, of: bytes of it.
        total: bytes that came in all transfers so far.
    """

    __slots__ = ("clip", "done", "of", "total")

    def __init__(self) -> None:
        self.clip = ""
        self.done = self.of = self.total = 0

    def begin(self, clip: str, done: int, of: int) -> None:
        """A transfer begins, with `done` bytes there already."""
        self.clip, self.done, self.of = clip, done, of

    def came(self, count: int) -> None:
        """More bytes are there."""
        self.done += count
        self.total += count

    def end(self) -> None:
        """No transfer goes."""
        self.clip, self.done, self.of = "", 0, 0
