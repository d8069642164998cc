"""Do threads that copy keep off processor and disks while a roll goes out, and do they let go when they must?"""

from collections.abc import Iterator

import pytest

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.work import HUSH_S, Leave, Pace


class Times:
    """A clock that is a little later each time somebody looks."""

    def __init__(self, *at: float) -> None:
        self._at: Iterator[float] = iter(at)
        self.seen: list[float] = []

    def __call__(self) -> float:
        self.seen.append(next(self._at))
        return self.seen[-1]


def test_what_keeps_a_disk_busy_waits_until_a_roll_has_gone_out() -> None:
    times = Times(5.0, 5.0 + HUSH_S - 0.02, 5.0 + HUSH_S - 0.01, 5.0 + HUSH_S)
    pace = Pace(None, times)
    pace.hush()
    pace.still()
    assert len(times.seen) == 4


@pytest.mark.parametrize("count", [0, 1000])
def test_no_block_is_handed_on_while_a_roll_goes_out(count: int) -> None:
    times = Times(5.0, 5.0 + HUSH_S - 0.01, 5.0 + HUSH_S)
    pace = Pace(None, times)
    pace.hush()
    pace.spend(count, Leave())
    assert len(times.seen) == 3


def test_who_must_stop_stops_in_the_hush_too() -> None:
    pace = Pace(None, Times(5.0, 5.0, 5.0))
    pace.hush()
    leave = Leave()
    leave.end()
    with pytest.raises(CopyError) as told:
        pace.spend(1, leave)
    assert told.value.reason is Reason.STOPPED
