"""Is the fall of a medium measured as it is, though what a box says of it lags, steps and lies?

Outside: vectors computed with a reference implementation of its own (Theil and Sen, Kendall's interval), typed in; true
fall 24 089 600 bytes a second from 200 GB, 25 readings 5 s apart. Ordinary least squares stands beside it in one row.
"""

import random
from collections.abc import Callable

import pytest

from stagectl.shoot.media.fall import Confidence, Readings, measured

TRUE = 24_089_600.0
MIB = 1 << 20


def readings(change: Callable[[int, float], float] = lambda number, free: free) -> list[tuple[float, float]]:
    return [(5.0 * number, change(number, 200e9 - TRUE * 5 * number)) for number in range(25)]


def step(size: int) -> Callable[[int, float], float]:
    return lambda number, free: free // size * size


def refreshed(number: int, _: float) -> float:
    return 200e9 - TRUE * (5 * number // 30 * 30)


def low_once(number: int, free: float) -> float:
    return free // MIB * MIB - (8e9 if number == 7 else 0)


def high_at_last(number: int, free: float) -> float:
    return (free + (30e9 if number == 24 else 0)) // MIB * MIB


def halved(number: int, _: float) -> float:
    return 200e9 - TRUE * (5 * number if number <= 12 else 60 + (5 * number - 60) / 2)


ROWS = [
    # what, change, slope, low, high, seconds left at the end
    ("exact", lambda number, free: free, 24_089_600, 24_089_600, 24_089_600, 8182),
    ("steps of 1 MiB", step(MIB), 24_090_464, 24_087_289, 24_093_946, 8182),
    ("steps of 256 MiB", step(256 * MIB), 24_403_223, 23_488_102, 25_430_727, 8074),
    ("refreshed every 30 s", refreshed, 23_455_663, 20_648_229, 24_089_600, 8403),
    ("the eighth reading low by 8 GB", low_once, 24_089_286, 24_087_289, 24_093_946, 8182),
    ("the last one high by 30 GB", high_at_last, 24_090_464, 24_087_289, 24_093_946, 8182),
    ("half the rate from the middle on", halved, 18_067_200, 16_059_733, 20_074_667, 10_950),
]


@pytest.mark.parametrize(
    ("change", "slope", "low", "high", "left"), [row[1:] for row in ROWS], ids=[r[0] for r in ROWS]
)
def test_the_slope_and_its_interval_are_those_of_the_reference(
    change: Callable[[int, float], float], slope: int, low: int, high: int, left: int
) -> None:
    found = measured(readings(change), 120.0)
    assert found is not None
    assert [round(found.per_s), round(found.low), round(found.high)] == [slope, low, high]
    assert round(found.free / found.per_s) == pytest.approx(
        left, rel=0.002
    )  # the reference took the last value where it was sound


def test_how_far_it_is_believed() -> None:
    sure, unsure = measured(readings(), 120.0), measured(readings(halved), 120.0)
    assert sure is not None
    assert unsure is not None
    assert (sure.confidence, unsure.confidence) == (Confidence.GOOD, Confidence.ROUGH)
    few = measured(readings()[:8], 35.0)
    assert few is not None
    assert few.confidence is Confidence.NONE
    minutes = measured(readings(lambda number, free: 60.0 * ((8000 - 5 * number) // 60)), 120.0)
    assert minutes is not None
    assert minutes.confidence is Confidence.NONE  # three values in two minutes tell no slope
    assert measured([(0.0, 1.0), (5.0, 1.0)], 5.0) is None


def test_one_bad_reading_never_makes_it_longer_by_more_than_a_hundredth() -> None:
    chance = random.Random(11)
    clean = measured(readings(step(MIB)), 120.0)
    assert clean is not None
    for _ in range(200):
        where, wrong = chance.randrange(25), chance.uniform(-50e9, 50e9)
        found = measured(readings(lambda n, free: free // MIB * MIB + (wrong if n == where else 0)), 120.0)  # noqa: B023 - used in its own turn
        assert found is not None
        assert found.free / found.per_s <= clean.free / clean.per_s * 1.01


def test_another_medium_another_take_or_room_that_comes_begins_anew() -> None:
    kept = Readings()
    for at, free in readings()[:10]:
        kept.add(at, free, "take 1")
    kept.add(50.0, 200e9 - TRUE * 50, "take 2")
    assert kept.fall(50.0) is None
    for at, free in readings()[11:16]:
        kept.add(at, free, "take 2")
    assert kept.fall(80.0) is not None
    kept.add(85.0, 250e9, "take 2")
    assert kept.fall(85.0) is None


def test_readings_that_come_too_often_are_thinned() -> None:
    kept = Readings()
    for number in range(120):
        kept.add(float(number), 200e9 - TRUE * number, "take")
    found = kept.fall(119.0)
    assert found is not None
    assert round(found.per_s) == 24_089_600


def test_room_that_does_not_fall_is_counted() -> None:
    kept = Readings()
    for number in range(14):
        kept.add(5.0 * number, 100e9, "take")
    assert kept.still_s == 65.0
