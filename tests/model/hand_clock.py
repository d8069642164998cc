"""What time is it in a test of conditions? What the test says; timers fire as it passes them."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from stagectl.model.late import BEHIND_S
from stagectl.model.world import Handle


class _Timer:
    def __init__(self, at: float, do: Callable[[], None]) -> None:
        self.at, self.do, self.cancelled = at, do, False

    def cancel(self) -> None:
        self.cancelled = True


class HandClock:
    """Fulfils `Clock`; never the same value twice."""

    def __init__(self) -> None:
        self._now = 100.0
        self._timers: list[_Timer] = []

    def now(self) -> float:
        self._now += 1e-9
        return self._now

    def wall(self) -> datetime:
        return datetime(2027, 3, 12, 14, 2, tzinfo=UTC) + timedelta(seconds=self._now)

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        timer = _Timer(at, do)
        self._timers.append(timer)
        return timer

    @property
    def waiting(self) -> int:
        """Timers that will still fire."""
        return sum(not timer.cancelled for timer in self._timers)

    def go(self, seconds: float) -> None:
        """Let time pass; every timer fires at its time."""
        end = self._now + seconds
        while due := [timer for timer in self._timers if timer.at <= end and not timer.cancelled]:
            first = min(due, key=lambda timer: timer.at)
            self._timers.remove(first)
            self._now = max(self._now, first.at)
            first.do()
        self._now = max(self._now, end)


class LateClock(HandClock):
    """A loop that is always behind: each timer fires later than it should."""

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        return super().later(at + 2 * BEHIND_S, do)
