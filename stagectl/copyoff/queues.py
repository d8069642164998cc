"""Which job is taken up next, and which one rests after a failure? What the hands of one kind of work share."""

import asyncio
from collections.abc import Awaitable, Callable, Collection
from math import inf
from typing import Final, Generic, TypeVar

from stagectl.copyoff.job import Job
from stagectl.model.world import Clock

MOST_REST_S: Final = 60.0  # between two tries; own choice
BEHIND_MOST: Final = 1000  # jobs that failed once and stand behind the others; own choice

Due = TypeVar("Due")


class Queue(Generic[Due]):
    """Jobs of one kind of work, the best one first; never one twice at a time.

    Args:
        clock: of the world.
        find: finds the next one but those to be left out.
        job_of: the job of what was found.
        strikes_most: failures in a row, of whatever job, after which nobody should go on in this run.

    Attributes:
        given_up: why nobody should go on; empty: go on.
        rests_until: on the clock; until then nothing is taken up.
    """

    def __init__(
        self,
        clock: Clock,
        find: Callable[[Collection[str]], Awaitable[Due | None]],
        job_of: Callable[[Due], Job],
        strikes_most: int,
    ) -> None:
        self.given_up = ""
        self.rests_until = 0.0
        self._clock = clock
        self._find = find
        self._job_of = job_of
        self._strikes_most = strikes_most
        self._strikes = 0
        self._taken: set[str] = set()
        self._resting: dict[str, float] = {}  # job -> until
        self._behind: dict[str, None] = {}  # jobs that failed once: the others come first
        self._one_asks = asyncio.Lock()

    async def take(self) -> Due | None:
        """The next one, ours until it is given back; None: none that is not taken or resting."""
        async with self._one_asks:
            now = self._clock.now()
            self._resting = {job: until for job, until in self._resting.items() if until > now}
            out = self._taken | self._resting.keys()
            found = await self._find(sorted(out | self._behind.keys()))
            if found is None and not self._behind.keys() <= out:
                found = await self._find(sorted(out))
            if found is not None:
                self._taken.add(self._job_of(found).id)
            return found

    def give_back(self, job: str, *, rest_s: float = 0.0) -> None:
        """Let go of one, not to be taken up again for so long, and then after those that have not rested."""
        self._taken.discard(job)
        if rest_s:
            self._resting[job] = self._clock.now() + rest_s
            self._behind[job] = None
            if len(self._behind) > BEHIND_MOST:
                del self._behind[next(iter(self._behind))]

    def next_at(self) -> float:
        """When the first one that rests has rested; inf: none rests."""
        return min(self._resting.values(), default=inf)

    def struck(self, why: str, rest_s: float) -> None:
        """It failed in a way that the next one may fail in too: all of it rests a while, and in the end gives up."""
        self._strikes += 1
        if self._strikes > self._strikes_most:
            self.given_up = why
        self.rests_until = self._clock.now() + min(MOST_REST_S, rest_s * 2 ** (self._strikes - 1))

    def went_well(self) -> None:
        """One got through: failures before it were its own."""
        self._strikes = 0
