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
    def epoch(self) -> int: ...


@dataclass(slots=True)
class Untold:
    """Spans of our wall clock, told line by line.

    Attributes:
        spans: (last line before, first line after) of each gap between two starts, and of each jump in the numbers.
        last: when the newest line was written; None: there is none.
    """

    spans: list[tuple[datetime, datetime]] = field(default_factory=list)
    last: datetime | None = None
    _before: tuple[int, int] = (0, 0)  # number and epoch of the line before
    _commands: deque[datetime] = field(default_factory=deque)
    _forgotten: datetime | None = None  # ids up to this one are not remembered any more

    def read(self, line: Line) -> None:
        """Take the next line of earlier daemons, oldest first."""
        if self.last is not None and self._before != (line.n - 1, line.epoch):
            self.spans.append((self.last, line.wall))
        self.last, self._before = line.wall, (line.n, line.epoch)
        if line.kind == "command":
            self._commands.append(line.wall)
            if len(self._commands) > KEEP:
                self._forgotten = self._commands.popleft()

    def hold(self, born: datetime, started: datetime) -> bool:
        """May an act born then have been carried out without a line of it? `started`: this daemon, by the same clock.

        A client whose clock is far off ours was born outside of every span: it is never taken for one that asks again.
        """
        if self._forgotten is not None and born <= self._forgotten:
            return True
        last = min(self.last or started, started)
        return any(since - OFF <= born < until for since, until in [*self.spans, (last, started)])
