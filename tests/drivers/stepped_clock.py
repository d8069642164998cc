"""What time is it in a test without a loop? A clock that takes one step each time it is read, and never a timer."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from stagectl.model.world import Handle


class SteppedClock:
    """Fulfils `Clock`: `now` never gives the same value twice."""

    def __init__(self, step_s: float = 0.001) -> None:
        self._now_s = 0.0
        self._step_s = step_s

    def now(self) -> float:
        self._now_s += self._step_s
        return self._now_s

    def wall(self) -> datetime:
        return datetime(2027, 3, 12, 14, 2, tzinfo=UTC) + timedelta(seconds=self._now_s)

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        raise AssertionError(f"no driver sets a timer, least of all for {at} s")
