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
    epoch: int


def at(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


def journal() -> Untold:
    """Two lives: lines at 0 and 100 s, dead at an unknown time, again at 300 s, a hole from 400 to 500 s."""
    untold = Untold()
    for n, seconds, epoch in ((1, 0, 1), (2, 100, 1), (3, 300, 2), (4, 400, 2), (9, 500, 2), (10, 600, 2)):
        untold.read(Line("command", n, at(seconds), epoch))
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
    assert journal().hold(at(born), started=at(900)) is held


def test_our_own_clock_set_back_since_the_last_line_still_holds_back_what_was_just_asked() -> None:
    assert journal().hold(at(-7000), started=at(-6990))
    assert not journal().hold(at(-6980), started=at(-6990))


def test_without_a_journal_only_what_was_asked_just_before_the_start_is_held_back() -> None:
    assert Untold().hold(at(-1), started=at(0))
    assert not Untold().hold(at(-7200), started=at(0))


def test_ids_that_are_not_remembered_any_more_are_held_back() -> None:
    untold = Untold()
    for n in range(1, KEEP + 12):
        untold.read(Line("command", n, at(n), 1))
    assert untold.hold(at(11), started=at(90_000))
    assert not untold.hold(at(12), started=at(90_000))
