"""Do labels and frame numbers agree with the standard, with themselves and with two foreign libraries?"""

from fractions import Fraction
from typing import Any

import opentimelineio  # type: ignore[import-untyped]  # it carries no types
import pytest
import timecode.timecode as foreign_timecode
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.timecode import (
    RATES,
    Label,
    Rate,
    common_range,
    frame_number,
    label_at,
    label_day,
    rate_of_format,
    seconds,
    span_frames,
)
from tests.vectors.timecode import FORMATS, LABEL_DAYS, NO_SUCH_LABEL, NO_TIMECODE, NUMBERS, TEXTS

rates = st.sampled_from(sorted(RATES))
counts = st.integers(min_value=0, max_value=6_000_000)


@pytest.mark.parametrize(("text", "rate", "number"), NUMBERS)
def test_a_label_has_the_frame_number_of_the_sheet_in_both_directions(text: str, rate: str, number: int) -> None:
    assert frame_number(Label.parse(text), RATES[rate]) == number
    assert str(label_at(number, RATES[rate])) == text


@pytest.mark.parametrize(("rate", "day", "duration_ms"), LABEL_DAYS)
def test_each_rate_has_the_day_and_the_frame_duration_of_the_sheet(rate: str, day: int, duration_ms: str) -> None:
    assert label_day(RATES[rate]) == day
    assert f"{float(seconds(1000, RATES[rate])):.4f}" == duration_ms
    assert label_at(day, RATES[rate]) == label_at(0, RATES[rate])


def test_the_table_of_rates_is_the_one_of_the_sheet() -> None:
    assert list(RATES) == [row[0] for row in LABEL_DAYS]
    assert [str(rate) for rate in RATES.values()] == list(RATES)


@pytest.mark.parametrize(("text", "rate", "why"), NO_SUCH_LABEL)
def test_a_label_that_does_not_exist_at_a_rate_is_refused_with_the_reason(text: str, rate: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        frame_number(Label.parse(text), RATES[rate])


@pytest.mark.parametrize(("text", "written"), TEXTS)
def test_labels_are_read_as_boxes_and_people_write_them(text: str, written: str) -> None:
    assert str(Label.parse(text)) == written


@pytest.mark.parametrize("text", [row[0] for row in NO_TIMECODE], ids=[row[1] for row in NO_TIMECODE])
def test_what_is_no_timecode_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"(?i)timecode"):
        Label.parse(text)


@given(st.text(max_size=30))
def test_any_text_is_a_label_or_refused(text: str) -> None:
    try:
        label = Label.parse(text)
    except ValueError:
        return
    assert Label.parse(str(label)) == label


@pytest.mark.parametrize("rate", list(RATES.values()), ids=str)
def test_labels_and_numbers_agree_frame_by_frame_around_every_kind_of_minute(rate: Rate) -> None:
    # The first eleven minutes hold a first minute, nine short ones and the next ten; then comes midnight.
    minute = 60 * rate.nominal
    for start, length in ((0, 11 * minute), (label_day(rate) - 2 * minute, 3 * minute)):
        before = None
        for number in range(start, start + length, 1 if rate.nominal <= 30 else 7):
            label = label_at(number, rate)
            assert frame_number(label, rate) == number % label_day(rate)
            assert label != before
            before = label


@given(rates, counts)
def test_a_number_comes_back_from_its_label(name: str, number: int) -> None:
    rate = RATES[name]
    label = label_at(number, rate)
    assert label.drop == rate.drop
    assert frame_number(Label.parse(str(label)), rate) == number % label_day(rate)


@given(rates, counts, st.integers(min_value=-1_000_000, max_value=1_000_000))
def test_a_span_is_signed_and_finds_its_way_over_midnight(name: str, number: int, span: int) -> None:
    rate = RATES[name]
    assert span_frames(label_at(number, rate), label_at(number + span, rate), rate) == span


def test_midnight_is_one_frame_after_the_last_label() -> None:
    last, first = Label.parse("23:59:59:24"), Label.parse("00:00:00:00")
    assert span_frames(last, first, RATES["25"]) == 1
    assert span_frames(first, last, RATES["25"]) == -1


def test_exactly_half_a_day_reads_as_later() -> None:
    assert span_frames(Label.parse("06:00:00:00"), Label.parse("18:00:00:00"), RATES["25"]) == 1_080_000
    assert span_frames(Label.parse("18:00:00:00"), Label.parse("06:00:00:00"), RATES["25"]) == 1_080_000


def test_a_drop_frame_day_is_short_by_86_microseconds_a_second_and_a_plain_one_long() -> None:
    # Source: worked out by hand from 30000/1001: 86 399.9136 s and 86 486.4 s.
    assert seconds(label_day(RATES["29.97 df"]), RATES["29.97 df"]) == Fraction(863_999_136, 10_000)
    assert seconds(label_day(RATES["59.94 df"]), RATES["59.94 df"]) == Fraction(863_999_136, 10_000)
    assert seconds(label_day(RATES["29.97"]), RATES["29.97"]) == Fraction(864_864, 10)


def test_drop_frame_exists_only_where_the_standard_has_it() -> None:
    have = [name for name, rate in RATES.items() if _has_drop(rate)]
    assert have == ["29.97", "29.97 df", "59.94", "59.94 df"]
    assert RATES["29.97"].with_drop(True) is not RATES["29.97"]
    assert RATES["29.97"].with_drop(True) == RATES["29.97 df"]


def _has_drop(rate: Rate) -> bool:
    try:
        rate.with_drop(True)
    except ValueError as error:
        assert "no drop-frame" in str(error)  # noqa: PT017 - the sentence is part of the claim
        return False
    return True


@pytest.mark.parametrize(("frames", "seconds_", "nominal"), [(0, 1, 0), (25, 0, 25), (25, 1, 24), (2997, 100, 29)])
def test_a_rate_that_cannot_be_is_refused(frames: int, seconds_: int, nominal: int) -> None:
    with pytest.raises(ValueError, match="A rate of"):
        Rate(frames, seconds_, nominal)


def test_the_mark_of_a_box_that_writes_it_wrongly_can_be_overruled() -> None:
    label = Label.parse("10:00:00;00")
    assert frame_number(label.with_drop(False), RATES["25"]) == 900_000


@pytest.mark.parametrize(("word", "rate"), FORMATS)
def test_a_format_word_tells_the_frame_rate(word: str, rate: str | None) -> None:
    assert rate_of_format(word) == (None if rate is None else RATES[rate])


def test_a_format_word_and_the_mark_of_a_label_give_the_counting() -> None:
    speed = rate_of_format("1080i5994")
    assert speed is not None
    label = Label.parse("01:00:00;00")
    assert frame_number(label, speed.with_drop(label.drop)) == 107_892


def test_recorders_started_seconds_apart_still_line_up_to_the_frame_by_their_timecode() -> None:
    # Common practice: recorders on one timecode agree on every frame, whichever started first and however late.
    takes = [
        (Label.parse("10:00:05:00"), 25 * 60),  # rolled first by hand
        (Label.parse("10:00:02:10"), 25 * 70),
        (Label.parse("10:00:07:12"), 25 * 50),  # last to start, first to stop
    ]
    shared = common_range(takes, RATES["25"])
    assert str(shared.start) == "10:00:07:12"
    assert shared.frames == 25 * 50
    assert shared.spread_frames == 127
    assert shared.leads == (62, 127, 0)
    # The order in which they are listed, which is the order of starts as noticed, changes nothing.
    turned = common_range(takes[::-1], RATES["25"])
    assert (turned.start, turned.frames, turned.spread_frames) == (shared.start, shared.frames, shared.spread_frames)
    # Each recording's frame at its own lead carries the same label.
    assert {
        str(label_at(frame_number(start, RATES["25"]) + lead, RATES["25"]))
        for (start, _), lead in zip(takes, shared.leads, strict=True)
    } == {"10:00:07:12"}


def test_a_take_across_midnight_is_one_take() -> None:
    shared = common_range([(Label.parse("00:00:00;02"), 900), (Label.parse("23:59:59;28"), 900)], RATES["29.97 df"])
    assert str(shared.start) == "00:00:00;02"
    assert (shared.frames, shared.spread_frames, shared.leads) == (896, 4, (0, 4))


def test_recordings_that_never_ran_together_share_nothing() -> None:
    shared = common_range([(Label.parse("10:00:00:00"), 25), (Label.parse("10:00:02:00"), 25)], RATES["25"])
    assert (str(shared.start), shared.frames) == ("10:00:02:00", 0)


def test_one_recording_shares_all_of_itself() -> None:
    assert common_range([(Label.parse("10:00:00:00"), 25)], RATES["25"]).frames == 25


def test_a_common_range_wants_recordings_with_lengths() -> None:
    with pytest.raises(ValueError, match="without recordings"):
        common_range([], RATES["25"])
    with pytest.raises(ValueError, match="length below 0"):
        common_range([(Label.parse("10:00:00:00"), -1)], RATES["25"])


# Foreign libraries as oracles. Prime steps walk through the whole day without hitting the same second twice.
STEP = 5197


def _sample(rate: Rate) -> list[int]:
    day = label_day(rate)
    edges = [k + d for k in (0, 1800, 3600, 17_982, 35_964, 107_892, day) for d in range(-5, 6)]
    return sorted({number % day for number in [*range(0, day, STEP), *edges]})


@pytest.mark.parametrize("name", list(RATES))
def test_the_library_timecode_agrees(name: str) -> None:
    # PyPI timecode 1.5: its `frames` count from one, "29.97" means drop-frame unless told otherwise.
    rate = RATES[name]
    for number in _sample(rate):
        theirs: Any = foreign_timecode.Timecode(
            name.removesuffix(" df"), frames=number + 1, force_non_drop_frame=not rate.drop
        )
        assert str(theirs) == str(label_at(number, rate)), number
        read: Any = foreign_timecode.Timecode(
            name.removesuffix(" df"), str(label_at(number, rate)), force_non_drop_frame=not rate.drop
        )
        assert read.frame_number == number


@pytest.mark.parametrize("name", list(RATES))
def test_the_library_opentimelineio_agrees(name: str) -> None:
    # opentimelineio 0.18: wants the rate as an exact quotient and the drop flag always.
    rate = RATES[name]
    speed = rate.frames / rate.seconds
    # Its slip, measured: writing without drop-frame at 29.97, 47.952 and 59.94 wraps at the drop-frame day, so
    # the last 86.4 s of labels are wrong. ST 12-1 has `nominal` labels in each second, so we keep ours. Its reading is
    # right all day long.
    slips = rate.seconds == 1001 and not rate.drop
    for number in _sample(rate):
        label = label_at(number, rate)
        if not slips or number < label_day(rate) - 87 * rate.nominal:
            time = opentimelineio.opentime.RationalTime(number, speed)
            assert time.to_timecode(speed, drop_frame=rate.drop) == str(label), number
        assert opentimelineio.opentime.from_timecode(str(label), speed).value == number
