"""Is a run due when the site file says so, once, and never while a take rolls? Source of all rows: own construction."""

from datetime import datetime, time, timedelta, timezone

import pytest

from stagectl.copyoff.schedule import Schedule

HERE = timezone(timedelta(hours=1))
NIGHT = datetime(2026, 11, 29, 2, 0, 10, tzinfo=HERE)


def due(
    schedule: Schedule, here: datetime, ago_min: float | None = None, *, number: int = 4, rolls: bool = False
) -> str:
    last = (number, here - timedelta(minutes=ago_min)) if ago_min is not None else None
    return schedule.due(here, last=last, rolls=rolls)


def test_a_time_of_day_is_due_once_a_day() -> None:
    schedule = Schedule(time(2, 0), None)
    assert due(schedule, NIGHT - timedelta(seconds=11)) == ""
    assert due(schedule, NIGHT) == "it is 02:00"
    assert due(schedule, NIGHT + timedelta(seconds=20)) == ""
    assert due(schedule, NIGHT + timedelta(days=1)) == "it is 02:00"


@pytest.mark.parametrize(("minutes", "said"), [(30, "it is 02:00"), (61, "")])
def test_a_daemon_that_was_down_at_the_time_begins_within_the_hour(minutes: float, said: str) -> None:
    assert due(Schedule(time(2, 0), None), NIGHT + timedelta(minutes=minutes)) == said


def test_after_the_last_take_it_is_due_once_and_anew_after_the_next() -> None:
    schedule = Schedule(None, 45 * 60)
    assert due(schedule, NIGHT, None) == ""
    assert due(schedule, NIGHT, 44) == ""
    assert due(schedule, NIGHT, 45) == "take 4 was the last"
    assert due(schedule, NIGHT, 46) == ""
    assert due(schedule, NIGHT, 46, number=5, rolls=True) == ""
    assert due(schedule, NIGHT, 46, number=5) == "take 5 was the last"


def test_a_take_of_last_week_makes_nothing_due_when_the_daemon_starts() -> None:
    assert due(Schedule(None, 45 * 60), NIGHT, 7 * 24 * 60) == ""


def test_without_a_word_in_the_site_file_nothing_is_due() -> None:
    assert due(Schedule(None, None), NIGHT, 45) == ""
