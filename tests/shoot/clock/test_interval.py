"""Does a clock's lead come out as it is, and within what is said of it?

Outside: worked rows of the formula of RFC 5905 (offset and delay of four time stamps; from memory), typed in; and a
simulation that knows the truth.
"""

import random

import pytest

from stagectl.shoot.clock.interval import DRIFT, TELL_S, Between, Lead, proven
from stagectl.shoot.clock.part import ANSWERS

RFC = [
    # t1 sent, t2 received there, t3 answered there, t4 received here, offset, delay; computed by hand from the formula
    (10.000, 10.130, 10.131, 10.011, 0.125, 0.010),
    (100.000, 100.005, 100.006, 100.051, -0.020, 0.050),
    (5.0, 5.2, 5.2, 5.4, 0.0, 0.4),
]


@pytest.mark.parametrize("row", RFC)
def test_a_clock_without_frames_gives_the_offset_and_half_the_delay_of_rfc_5905(row: tuple[float, ...]) -> None:
    t1, t2, t3, t4, offset, delay = row
    assert ((t2 - t1) + (t3 - t4)) / 2 == pytest.approx(offset)
    assert (t4 - t1) - (t3 - t2) == pytest.approx(delay)
    found = proven(t3, t2, t1, t4)  # it showed t2 when the question came, t3 when the answer left
    assert found.middle == pytest.approx(offset)
    assert found.give == pytest.approx(delay / 2)


@pytest.mark.parametrize(
    ("label", "asked", "read", "offset", "give"),
    [(250, 9.990, 10.010, 0.5, 0.75), (248, 10.010, 10.030, -2.0, 0.75), (253, 10.0, 10.2, 1.0, 3.0)],
)
def test_one_answer_names_a_whole_frame_and_half_the_way(
    label: int, asked: float, read: float, offset: float, give: float
) -> None:
    """Outside: by hand at 25, frame 0 at 0 s: k + 1/2 - 25 (t_a + t_b)/2, give or take 25 (t_b - t_a)/2 + 1/2."""
    found = proven(label / 25, (label + 1) / 25, asked, read)
    assert (found.middle * 25, found.give * 25) == (pytest.approx(offset), pytest.approx(give))


def asked(chance: random.Random, rate: float, answers: int, jitter_s: float, lead_s: float) -> Lead:
    lead, at = Lead(), chance.uniform(100, 101)
    for _ in range(answers):
        there, back = (0.0002 + chance.expovariate(1 / jitter_s) for _ in range(2))
        label = (at + there + lead_s) * rate // 1
        lead.add(proven(label / rate, (label + 1) / rate, at, at + there + back), at + there + back)
        at += 0.0431 + chance.random() / rate
    return lead


@pytest.mark.parametrize(
    ("rate", "answers", "jitter_s", "p99_s"),
    [
        (25, 32, 0.002, 0.006),  # the first bar that this project set itself
        (25, 64, 0.002, 0.003),
        (50, ANSWERS, 0.005, 0.002),  # a tenth of a frame at 50, by one sampling
        (30000 / 1001, 64, 0.002, 0.003),
    ],
)
def test_simulated_clocks_are_found_within_what_is_said_of_them(
    rate: float, answers: int, jitter_s: float, p99_s: float
) -> None:
    chance = random.Random(1588)
    errors = []
    for _ in range(400):
        truth = chance.uniform(-0.5, 0.5)
        found = asked(chance, rate, answers, jitter_s, truth).now(105)
        assert found.low <= truth <= found.high
        errors.append(abs(found.middle - truth))
    assert sorted(errors)[395] < p99_s


def test_a_way_that_is_longer_in_one_direction_makes_it_wide_and_not_wrong() -> None:
    chance, lead, at = random.Random(3), Lead(), 100.0
    for _ in range(60):
        label = (at + 0.08 + 0.2) * 25 // 1
        lead.add(proven(label / 25, (label + 1) / 25, at, at + 0.1), at + 0.1)
        at += 0.05 + chance.random() * 0.04
    found = lead.now(at)
    assert found.low <= 0.2 <= found.high
    assert found.give > 0.04


def test_a_clock_that_jumps_is_noticed_and_counted_anew() -> None:
    chance = random.Random(5)
    lead = asked(chance, 25, 30, 0.002, 0.0)
    assert not lead.add(proven(4200 / 25, 4201 / 25, 110.0, 110.01), 110.01)
    assert (lead.jumps, lead.since, lead.count) == (1, 110.01, 1)


@pytest.mark.parametrize("ppm", [-40, 0, 25])
def test_a_clock_that_runs_free_shows_its_drift_and_a_locked_one_none(ppm: int) -> None:
    chance, lead, fixed = random.Random(ppm), Lead(), Lead()
    at = 0.0
    while at < 1200:
        for one, drift in ((lead, ppm * 1e-6), (fixed, 0.0)):
            there, back = chance.uniform(0.0002, 0.003), chance.uniform(0.0002, 0.003)
            label = (at + there) * (1 + drift) * 25 // 1
            one.add(proven(label / 25, (label + 1) / 25, at, at + there + back), at + there + back)
        at += 0.5 + chance.random() * 0.04
    found = lead.drift(fixed)
    assert found is not None
    assert found.low <= ppm * 1e-6 <= found.high
    assert abs(found.middle - ppm * 1e-6) < 5e-6
    assert (found.low > 0 or found.high < 0) == bool(ppm)


def test_nothing_is_said_of_a_drift_before_there_are_two_estimates_apart() -> None:
    assert Lead().drift() is None
    assert asked(random.Random(1), 25, 60, 0.002, 0.0).drift() is None
    assert TELL_S > 5


def test_an_old_answer_is_worth_less() -> None:
    lead = Lead()
    lead.add(Between(0.0, 0.04), 100.0)
    assert lead.now(200.0).give == pytest.approx(0.02 + 100 * DRIFT)
