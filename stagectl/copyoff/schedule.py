"""When does a run begin by itself? At a time of day, and so long after the last take; pure."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

GRACE: Final = timedelta(hours=1)  # a daemon that was down at the time of day still begins within that


@dataclass(slots=True)
class Schedule:
    """What is due, looked at again and again.

    Attributes:
        at: time of day, here; None: never.
        after_wrap_s: seconds after the last take's end; None: never.
        day: the day of the last run that was due by its time of day.
        take: the number of the take after which the last run that was due by wrap began.
    """

    at: time | None
    after_wrap_s: float | None
    day: date | None = None
    take: int = 0

    def due(self, here: datetime, *, last: tuple[int, datetime] | None, rolls: bool) -> str:
        """Why a run begins now, a clause; empty: none does. What it names is not due a second time.

        Args:
            here: wall time of this place.
            last: number and end of the last take that has ended; None: there is none.
            rolls: a take rolls.
        """
        if self.at is not None and self.day != here.date():
            since = here - datetime.combine(here.date(), self.at, here.tzinfo)
            if timedelta(0) <= since < GRACE:
                self.day = here.date()
                return f"it is {self.at:%H:%M}"
        if self.after_wrap_s is not None and last is not None and not rolls and last[0] > self.take:
            quiet = here - last[1]
            if timedelta(seconds=self.after_wrap_s) <= quiet < timedelta(seconds=self.after_wrap_s) + GRACE:
                self.take = last[0]
                return f"take {last[0]} was the last"
        return ""
