"""From which times may acts be missing in the journal? Their ids are answered "not known", and never carried out again.

A kill loses no line that was written. A power cut, a disk that refused and a damaged file lose what came after the last
line that is left, up to the next start.
"""

from collections import deque
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final, Protocol

from stagectl.control.recovery import KEEP

OFF: Final = timedelta(seconds=60)  # how far a client's clock may be off ours and its act is still not done twice


class Line(Protocol):
    """A journal record, as far as needed."""

    @property
    def kind(self) -> str: ...

    @property
    def n(self) -> int: ...

    @property
    def wall(self) -> datetime: ...

    @property
    def mono(self) -> float: ...

    @property
    def epoch(self) -> int: ...


@dataclass(slots=True)
class Untold:
    """Spans of wall clocks, told line by line.

    Attributes:
        spans: from when to when of each gap between two starts, and of each jump in the numbers.
        last: the newest line; None: there is none.
    """

    spans: list[tuple[datetime, datetime]] = field(default_factory=list)
    last: Line | None = None
    _commands: deque[datetime] = field(default_factory=deque)
    _forgotten: datetime | None = None  # ids up to this one are not remembered any more

    def read(self, line: Line) -> None:
        """Take the next line of earlier daemons, oldest first."""
        before, self.last = self.last, line
        if before is not None and (before.n, before.epoch) != (line.n - 1, line.epoch):
            self.spans.extend(_gap(before, line.wall, line.mono))
        if line.kind == "command":
            self._commands.append(line.wall)
            if len(self._commands) > KEEP:
                self._forgotten = self._commands.popleft()

    def hold(self, born: datetime, started: datetime, mono: float) -> bool:
        """May an act born then have been carried out without a line of it?

        A client whose clock is far off ours was born outside of every span: it is never taken for one that asks again.

        Args:
            born: by the client's clock.
            started: when this daemon did, by the wall clock as it reads now.
            mono: the same on the monotonic clock.
        """
        if self._forgotten is not None and born <= self._forgotten:
            return True
        last = _gap(self.last, started, mono) if self.last is not None else [(started, started)]
        return any(since - OFF <= born < until for since, until in [*self.spans, *last])


def _gap(before: Line, wall: datetime, mono: float) -> list[tuple[datetime, datetime]]:
    """The time between a line and what came next, by the wall clock of before and by that of after.

    How long it was says the monotonic clock, which one machine keeps until it is started anew: a wall clock that was
    set meanwhile makes no gap of hours.
    """
    lasted = timedelta(seconds=mono - before.mono) if mono >= before.mono else max(wall - before.wall, timedelta(0))
    return [(before.wall, before.wall + lasted), (wall - lasted, wall)]
