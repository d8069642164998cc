"""Does the simulators' house clock count as SMPTE ST 12-1 does? Rows from memory of the standard."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl_simulators.house_clock import RATES, HouseClock, frame_of, frames_in, label_of, rate_named

SOURCE = "SMPTE ST 12-1, from memory; the same numbers as two public timecode libraries give"
ROWS = [
    # label, rate, frame number
    ("00:00:59:23", "23.976", 1439),
    ("23:59:59:23", "24", 2073599),
    ("13:37:42:07", "25", 1226557),
    ("23:59:59:24", "25", 2159999),
    ("23:59:59:29", "29.97", 2591999),
    ("00:00:59;29", "29.97 DF", 1799),
    ("00:01:00;02", "29.97 DF", 1800),
    ("00:10:00;00", "29.97 DF", 17982),
    ("00:10:00;01", "29.97 DF", 17983),
    ("23:59:59;29", "29.97 DF", 2589407),
    ("00:00:59;59", "59.94 DF", 3599),
    ("00:01:00;04", "59.94 DF", 3600),
    ("23:59:59;59", "59.94 DF", 5178815),
    ("01:00:00:00", "60", 216000),
]


@pytest.mark.parametrize(("label", "rate", "frame"), ROWS)
def test_a_label_and_its_frame_number_agree_both_ways(label: str, rate: str, frame: int) -> None:
    assert frame_of(label, rate_named(rate)) == frame, SOURCE
    assert label_of(frame, rate_named(rate)) == label, SOURCE


@pytest.mark.parametrize(
    ("label", "rate"),
    [
        ("00:01:00;01", "29.97 DF"),
        ("00:01:00;03", "59.94 DF"),
        ("00:00:00:25", "25"),
        ("24:00:00:00", "25"),
        ("x", "25"),
    ],
)
def test_a_label_that_does_not_exist_is_refused(label: str, rate: str) -> None:
    with pytest.raises(ValueError, match=r"does not exist|no timecode"):
        frame_of(label, rate_named(rate))


@given(st.integers(0, 6_000_000), st.sampled_from([*RATES, "29.97 DF", "59.94 DF"]))
def test_every_frame_has_one_label(frame: int, name: str) -> None:
    rate = rate_named(name)
    assert frame_of(label_of(frame, rate), rate) == frame % rate.day


def test_the_clock_runs_at_the_exact_rate_and_wraps_at_midnight() -> None:
    assert HouseClock(RATES["25"], "23:59:59:24").label(0.04) == "00:00:00:00"
    assert HouseClock(rate_named("29.97 DF"), "00:00:00;00").label(1800 * 1001 / 30000) == "00:01:00;02"
    assert frames_in(3603.6, RATES["29.97"]) == 108000, "a label hour of non-drop 29.97 lasts 3603.6 s"


def test_a_frame_is_named_by_its_start() -> None:
    clock = HouseClock()
    assert [clock.label(at) for at in (0.0, 0.0399, 0.04, 0.12)] == [
        "10:00:00:00",
        "10:00:00:00",
        "10:00:00:01",
        "10:00:00:03",
    ]
