"""Who is called when? Thousands of timers of one loop behind a single one of its own.

The loop compares its timers by a method written in Python; a heap of plain tuples is compared by the heap itself, which
with a thousand boxes is a twentieth of all work.
"""

import asyncio
from collections.abc import Callable
from heapq import heapify, heappop, heappush
from typing import Final

NEVER: Final = float("inf")
CANCELLED_MOST: Final = 100  # timers taken back that may lie about, if they are the smaller half


class Timer:
    """One call to come; it can be taken back until then."""

    __slots__ = ("_timers", "do")

    def __init__(self, timers: "Timers", do: Callable[[], None]) -> None:
        self._timers = timers
        self.do: Callable[[], None] | None = do

    def cancel(self) -> None:
        """Take it back; safe to call twice, and after it was called."""
        if self.do is not None:
            self.do = None
            self._timers.cancelled()


class Timers:
    """All timers of a loop, in the order of their times; those of one time in the order they were made."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._heap: list[tuple[float, int, Timer]] = []
        self._made = 0
        self._cancelled = 0  # of those in the heap
        self._bell: asyncio.TimerHandle | None = None
        self._rings_at = NEVER

    def at(self, at: float, do: Callable[[], None]) -> Timer:
        """Call `do` once at `at` of the loop's time; never within this call, nor twice in one turn of the loop."""
        timer = Timer(self, do)
        self._made += 1
        heappush(self._heap, (at, self._made, timer))
        if at < self._rings_at:
            self._set(at)
        return timer

    def cancelled(self) -> None:
        """One of them was taken back: it lies where it is until its time, or until there are too many of them."""
        self._cancelled += 1
        if self._cancelled > CANCELLED_MOST and 2 * self._cancelled > len(self._heap):
            self._heap[:] = [entry for entry in self._heap if entry[2].do is not None]
            heapify(self._heap)
            self._cancelled = 0

    def _set(self, at: float) -> None:
        if self._bell is not None:
            self._bell.cancel()
        self._rings_at = at
        self._bell = self._loop.call_at(at, self._ring, at)

    def _ring(self, due: float) -> None:
        """Call all whose time has come, and be back at the time of the next.

        Args:
            due: when this was to be called; the loop calls up to its clock's step early.
        """
        self._bell, self._rings_at = None, NEVER
        until = max(due, self._loop.time())
        ready: list[Timer] = []
        while self._heap and self._heap[0][0] <= until:
            ready.append(heappop(self._heap)[2])
        try:
            for timer in ready:
                do, timer.do = timer.do, None
                if do is None:
                    self._cancelled = max(0, self._cancelled - 1)
                else:
                    self._call(do)
        finally:
            if self._heap and self._heap[0][0] < self._rings_at:
                self._set(self._heap[0][0])

    def _call(self, do: Callable[[], None]) -> None:
        """As the loop does it: one that fails keeps nobody else from being called."""
        try:
            do()
        except Exception as error:  # noqa: BLE001 - handed on
            self._loop.call_exception_handler({"message": f"Exception in {do!r}", "exception": error})
