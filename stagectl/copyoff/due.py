"""Who looks whether a run is due? Again and again, so that a clock that is set does not matter."""

from collections.abc import Callable, Iterable
from typing import Final

from stagectl.copyoff.schedule import Schedule
from stagectl.model.world import Clock, Handle
from stagectl.shoot.take import Take

LOOK_S: Final = 20.0  # between two looks


class Due:
    """Looks at the schedule.

    Args:
        clock: of the world.
        schedule: what is due when.
        takes: the takes there are, oldest first.
        begin: a run is due; why, a clause.
    """

    def __init__(
        self, clock: Clock, schedule: Schedule, takes: Callable[[], Iterable[Take]], begin: Callable[[str], None]
    ) -> None:
        self._clock = clock
        self._schedule = schedule
        self._takes = takes
        self._begin = begin
        self._timer: Handle | None = None

    def look(self) -> None:
        """Look now, and from now on."""
        self._timer = self._clock.later(self._clock.now() + LOOK_S, self.look)
        takes = list(self._takes())
        closed = [(take.number, take.closed) for take in takes if take.closed is not None]
        last = (closed[-1][0], closed[-1][1].astimezone()) if closed else None
        rolls = any(take.closed is None for take in takes[-1:])
        if why := self._schedule.due(self._clock.wall().astimezone(), last=last, rolls=rolls):
            self._begin(why)

    def close(self) -> None:
        """Look no more."""
        if self._timer is not None:
            self._timer.cancel()
