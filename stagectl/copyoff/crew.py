"""When is a run over? When no hand finds anything left to do: what one ends may be another's beginning."""

import asyncio
from collections.abc import Sequence
from contextlib import suppress
from math import inf
from typing import Protocol

from stagectl.model.world import Clock


class Hand(Protocol):
    """Does one kind of work, a piece at a time."""

    async def step(self) -> float | None:
        """Do the next piece. None: one was done; else when to look again, on the clock; inf: when there is news.

        Raises:
            Exception: the run can't go on.
        """


class Crew:
    """The hands of one run."""

    def __init__(self, clock: Clock, hands: Sequence[Hand]) -> None:
        self._clock = clock
        self._hands = hands
        self._wake = [asyncio.Event() for _ in hands]
        self._idle: set[int] = set()
        self._over = False

    async def work(self) -> None:
        """Return when nothing is left to do, or `end` was called and every hand has let go.

        Raises:
            Exception: what the first hand that can't go on raises; the others are ended.
        """
        try:
            async with asyncio.TaskGroup() as group:
                for number in range(len(self._hands)):
                    group.create_task(self._drive(number))
        except ExceptionGroup as several:
            raise several.exceptions[0] from several

    def end(self) -> None:
        """No new piece is begun."""
        self._over = True
        self.news()

    def news(self) -> None:
        """Something has changed: every hand looks again."""
        self._idle.clear()
        for wake in self._wake:
            wake.set()

    async def _drive(self, number: int) -> None:
        hand, wake = self._hands[number], self._wake[number]
        while not self._over:
            wake.clear()
            until = await hand.step()
            if until is None:
                self.news()
                continue
            if wake.is_set():  # while it looked
                continue
            if until == inf:
                self._idle.add(number)
                if len(self._idle) == len(self._hands):
                    self.end()
                    return
            with suppress(TimeoutError):
                async with asyncio.timeout(None if until == inf else max(0.0, until - self._clock.now())):
                    await wake.wait()
            self._idle.discard(number)
