"""Which ids may have been carried out without a line of it? Spans between two starts, never a client's wrong clock.

Source: own construction, after rules 8 and 19 of the reliability goals.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from stagectl.control.recovery import KEEP
from stagectl.control.untold import Untold

NOON = datetime(2027, 3, 12, 12, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Line:
    kind: str
    n: int
    wall: datetime
    mono: float
    epoch: int


def at(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


def told(n: int, seconds: float, epoch: int, *, off: float = 0.0) -> Line:
    return Line("command", n, at(seconds + off), seconds, epoch)


def journal() -> Untold:
    """Two lives: lines at 0 and 100 s, dead at an unknown time, again at 300 s, a hole from 400 to 500 s."""
    untold = Untold()
    for n, seconds, epoch in ((1, 0, 1), (2, 100, 1), (3, 300, 2), (4, 400, 2), (9, 500, 2), (10, 600, 2)):
        untold.read(told(n, seconds, epoch))
    return untold


@pytest.mark.parametrize(
    ("born", "held"),
    [
        (-5000, False),  # a clock far behind
        (20, False),  # longer before the last line than any clock is off: it would stand there
        (100, True),  # between the last line of a life and the next start
        (299, True),
        (301, False),
        (450, True),  # numbers are missing there
        (501, False),
        (600, True),  # after the last line of all
        (899, True),
        (900, False),  # since this start
        (8000, False),  # a clock far ahead
    ],
)
def test_an_id_is_held_back_if_it_was_born_where_lines_may_be_missing(born: float, held: bool) -> None:
    assert journal().hold(at(born), at(900), 900.0) is held


def test_a_clock_that_was_set_between_two_starts_makes_no_gap_of_hours() -> None:
    untold = Untold()
    untold.read(told(1, 0, 1))
    untold.read(told(2, 10, 2, off=7200))
    untold.read(told(3, 20, 2, off=7200))
    assert untold.hold(at(5), at(30), 30.0), "by the clock of before"
    assert untold.hold(at(7205), at(30), 30.0), "by the clock of after"
    assert untold.hold(at(25), at(30), 30.0), "by the one that is right again"
    assert not untold.hold(at(3600), at(30), 30.0)
    assert not untold.hold(at(35), at(30), 30.0)


def test_after_the_machine_was_started_anew_only_the_wall_clock_knows() -> None:
    untold = Untold()
    untold.read(Line("command", 1, at(0), 5000.0, 1))
    assert untold.hold(at(100), at(120), 3.0)
    assert not untold.hold(at(121), at(120), 3.0)


def test_without_a_journal_only_what_was_asked_just_before_the_start_is_held_back() -> None:
    assert Untold().hold(at(-1), at(0), 0.0)
    assert not Untold().hold(at(-7200), at(0), 0.0)


def test_ids_that_are_not_remembered_any_more_are_held_back() -> None:
    untold = Untold()
    for n in range(1, KEEP + 12):
        untold.read(told(n, n, 1))
    assert untold.hold(at(11), at(90_000), 90_000.0)
    assert not untold.hold(at(12), at(90_000), 90_000.0)
