"""Which frame does a timecode label name, and how far apart are two of them?

Everything is counted in whole frames and exact fractions: 29.97 is 30000/1001 and never a decimal. Frame numbers count
from 00:00:00:00 and are taken modulo the label day, since labels start again at midnight.

Sources: SMPTE ST 12-1 for labels and the drop rule (from memory); formulas and rates checked against the rows of
tests/vectors/timecode.py and against two foreign libraries in tests/model/test_timecode.py.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import Final

_DROP_PER_MINUTE: Final = MappingProxyType({(30000, 1001): 2, (60000, 1001): 4})
"""Labels dropped a minute, by exact rate. ST 12-1 knows no drop-frame at 23.976, 24, 25, 48 or 50; at true 30 it is
not used for sync (common practice), so it does not exist here either."""


@dataclass(frozen=True, slots=True)
class Rate:
    """How labels count and how long a frame lasts. Two rates that differ only in `drop` run equally fast.

    Attributes:
        frames, seconds: exact speed as a pair of integers: `frames` frames last `seconds` seconds.
        nominal: labels a second, 30 at 29.97; what the frames part of a label counts up to.
        drop: drop-frame: labels 0 and 1 (0 to 3 at 59.94) are left out each minute but every tenth. No picture is lost.

    Raises:
        ValueError: a count below one, a nominal count that is not the speed rounded, or drop-frame where there is none.
    """

    frames: int
    seconds: int
    nominal: int
    drop: bool = False

    def __post_init__(self) -> None:
        if self.frames < 1 or self.seconds < 1:
            raise ValueError(
                f"A rate of {self.frames} frames in {self.seconds} seconds does not run. Give counts above 0."
            )
        if self.nominal != round(Fraction(self.frames, self.seconds)):
            raise ValueError(
                f"A rate of {self.frames}/{self.seconds} does not count {self.nominal} labels a second. "
                f"Say {round(Fraction(self.frames, self.seconds))}."
            )
        if self.drop and (self.frames, self.seconds) not in _DROP_PER_MINUTE:
            raise ValueError(
                f"There is no drop-frame at {self.frames}/{self.seconds} frames a second. Only 29.97 and 59.94 have it."
            )

    @property
    def dropped_per_minute(self) -> int:
        """Labels left out at the start of each minute but every tenth; 0 without drop-frame."""
        return _DROP_PER_MINUTE[self.frames, self.seconds] if self.drop else 0

    def with_drop(self, drop: bool) -> "Rate":
        """Return this speed with or without drop-frame: formats say the speed, only labels say the count.

        Raises:
            ValueError: there is no drop-frame at this speed.
        """
        return self if drop is self.drop else Rate(self.frames, self.seconds, self.nominal, drop)

    def __str__(self) -> str:
        return next((name for name, rate in RATES.items() if rate == self), f"{self.frames}/{self.seconds}")


RATES: Final = MappingProxyType(
    {
        # name: exact speed, labels a second; in the order of the sheet
        "23.976": Rate(24000, 1001, 24),
        "24": Rate(24, 1, 24),
        "25": Rate(25, 1, 25),
        "29.97": Rate(30000, 1001, 30),
        "29.97 df": Rate(30000, 1001, 30, drop=True),
        "30": Rate(30, 1, 30),
        "47.952": Rate(48000, 1001, 48),
        "48": Rate(48, 1, 48),
        "50": Rate(50, 1, 50),
        "59.94": Rate(60000, 1001, 60),
        "59.94 df": Rate(60000, 1001, 60, drop=True),
        "60": Rate(60, 1, 60),
    }
)
"""Every rate by the name people say."""

_LABEL: Final = re.compile(r"([0-9]{2})[:;.]([0-9]{2})[:;.]([0-9]{2})([:;.])([0-9]{2})")


@dataclass(frozen=True, slots=True)
class Label:
    """Hours, minutes, seconds and frames as shown. Whether it exists depends on the rate: see `frame_number`.

    Attributes:
        hours: 0 to 23.
        minutes, seconds: 0 to 59.
        frames: 0 to 59; the rate narrows it.
        drop: written with a semicolon. Boxes are not always right about it: `with_drop` overrules them.

    Raises:
        ValueError: a part is outside its range.
    """

    hours: int
    minutes: int
    seconds: int
    frames: int
    drop: bool = False

    def __post_init__(self) -> None:
        if 0 <= self.hours < 24 and 0 <= self.minutes < 60 and 0 <= self.seconds < 60 and 0 <= self.frames < 60:
            return
        for part, value, high in (
            ("hours", self.hours, 23),
            ("minutes", self.minutes, 59),
            ("seconds", self.seconds, 59),
            ("frames", self.frames, 59),
        ):
            if not 0 <= value <= high:
                raise ValueError(f"Timecode {self} has {value} {part}. They go from 0 to {high}.")

    @classmethod
    def parse(cls, text: str) -> "Label":
        """Read `hh:mm:ss:ff`, drop-frame with `;` or `.` before the frames; those may stand between all parts too.

        Raises:
            ValueError: anything else, such as the dashes of a deck without signal.
        """
        match = _LABEL.fullmatch(text.strip())
        if match is None:
            raise ValueError(f"{text[:40]!r} is no timecode. Write it like 10:00:00:00, drop-frame like 10:00:00;00.")
        hours, minutes, seconds, mark, frames = match.groups()
        return cls(int(hours), int(minutes), int(seconds), int(frames), drop=mark != ":")

    def with_drop(self, drop: bool) -> "Label":
        """Return the same digits with the other mark, where a box is known to write the wrong one."""
        return self if drop is self.drop else Label(self.hours, self.minutes, self.seconds, self.frames, drop)

    def __str__(self) -> str:
        mark = ";" if self.drop else ":"
        return f"{self.hours:02}:{self.minutes:02}:{self.seconds:02}{mark}{self.frames:02}"


def label_day(rate: Rate) -> int:
    """Return how many labels a day has: 2 160 000 at 25, 2 589 408 at 29.97 drop-frame.

    A drop-frame label day lasts 86 399.9136 s, so a free-running generator gains 86.4 ms a real day; without
    drop-frame, 29.97 loses 86.4 s.
    """
    return 86_400 * rate.nominal - rate.dropped_per_minute * (24 * 60 - 24 * 6)


def frame_number(label: Label, rate: Rate) -> int:
    """Count frames from 00:00:00:00 to `label`, dropped labels left out.

    Returns: 0 up to one less than the label day.

    Raises:
        ValueError: the label does not exist at this rate, such as 00:01:00;00 drop-frame, or its mark says the other
            way of counting than the rate: two such recorders drift apart by two labels a minute.

    Source: SMPTE ST 12-1, drop rule.
    """
    if label.drop != rate.drop:
        found, wanted = ("", "not ") if label.drop else ("not ", "")
        raise ValueError(
            f"Timecode {label} is {found}drop-frame, but {rate} is {wanted}drop-frame. Compare like with like."
        )
    if label.frames >= rate.nominal:
        raise ValueError(f"Timecode {label} does not exist at {rate}. Frames go from 0 to {rate.nominal - 1}.")
    dropped = rate.dropped_per_minute
    if label.minutes % 10 and not label.seconds and label.frames < dropped:
        raise ValueError(f"Timecode {label} is left out in drop-frame. The minute starts with frame {dropped:02}.")
    minutes = 60 * label.hours + label.minutes
    count = rate.nominal * (60 * minutes + label.seconds) + label.frames
    return count - dropped * (minutes - minutes // 10)


def label_at(number: int, rate: Rate) -> Label:
    """Return the label of frame `number`; numbers below zero or past the day count into the days around.

    Source: SMPTE ST 12-1, drop rule.
    """
    dropped = rate.dropped_per_minute
    count = number % label_day(rate)
    if dropped:
        full_minute = 60 * rate.nominal  # the first of ten minutes drops nothing
        tens, rest = divmod(count, 10 * full_minute - 9 * dropped)
        count += 9 * dropped * tens
        if rest >= full_minute:
            # count the minutes 1 to 9 of these ten, each one shorter than the first
            count += dropped * ((rest - dropped) // (full_minute - dropped))
    whole_seconds, frames = divmod(count, rate.nominal)
    minutes, seconds_part = divmod(whole_seconds, 60)
    return Label(minutes // 60, minutes % 60, seconds_part, frames, rate.drop)


def span_frames(first: Label, last: Label, rate: Rate) -> int:
    """Return how many frames `last` is after `first`, below zero if before.

    Labels repeat each day, so the nearest candidate counts: 00:00:00:00 is one frame after 23:59:59:24 at 25. Exactly
    half a day apart reads as later.

    Raises:
        ValueError: a label does not exist at this rate.
    """
    return _nearest(frame_number(last, rate) - frame_number(first, rate), label_day(rate))


def seconds(frames: int, rate: Rate) -> Fraction:
    """Return how long `frames` frames last, in exact seconds."""
    return Fraction(frames * rate.seconds, rate.frames)


@dataclass(frozen=True, slots=True)
class CommonRange:
    """What several recordings of one take share, by their labels.

    Attributes:
        start: the first label that all of them hold; where `frames` is 0, the latest start.
        frames: how many frames from there all of them hold; 0 if they don't overlap.
        spread_frames: from the earliest start to the latest.
        leads: for each recording, in the order given, its frames before `start`: where its part of the range begins.
    """

    start: Label
    frames: int
    spread_frames: int
    leads: tuple[int, ...]


def common_range(recordings: Sequence[tuple[Label, int]], rate: Rate) -> CommonRange:
    """Return the overlap of recordings given as (first label, frames), all at one rate.

    Recorders on one timecode line up exactly however many seconds apart they started, so nothing but labels counts:
    not the order of starts, not the moment a start was noticed. Starts are taken nearest to the first recording's, so
    a take across midnight is one take.

    Raises:
        ValueError: no recording, a length below zero, or a label that does not exist at this rate.
    """
    if not recordings:
        raise ValueError("A take without recordings has no common range. Give at least one.")
    if short := [label for label, frames in recordings if frames < 0]:
        raise ValueError(f"The recording from {short[0]} has a length below 0 frames. Give its length in frames.")
    first = recordings[0][0]
    origin = frame_number(first, rate)
    starts = [span_frames(first, label, rate) for label, _ in recordings]
    ends = [start + frames for start, (_, frames) in zip(starts, recordings, strict=True)]
    latest = max(starts)
    return CommonRange(
        start=label_at(origin + latest, rate),
        frames=max(0, min(ends) - latest),
        spread_frames=latest - min(starts),
        leads=tuple(latest - start for start in starts),
    )


_SPEEDS: Final = MappingProxyType(
    {
        # digits after p in a format word: name in RATES. Interlaced words count fields: two fields are one frame.
        "23976": "23.976",
        "2398": "23.976",
        "24": "24",
        "25": "25",
        "2997": "29.97",
        "30": "30",
        "47952": "47.952",
        "48": "48",
        "50": "50",
        "5994": "59.94",
        "60": "60",
    }
)
_FIELD_SPEEDS: Final = MappingProxyType({"50": "25", "5994": "29.97", "60": "30"})
_STANDARD_DEFINITION: Final = MappingProxyType({"PAL": "25", "NTSC": "29.97"})
_FORMAT: Final = re.compile(r"[0-9]{1,4}K?(?:DCI)?([pi])([0-9]{2,5})", re.IGNORECASE)


@lru_cache(maxsize=256)  # a house has a handful of formats, and each look at a take asks for each lane's
def rate_of_format(word: str) -> Rate | None:
    """Return the frame rate of a format word such as `1080p25` or `1080i5994`; None if the word names none.

    The result is without drop-frame: a format does not say it. Use `with_drop` with the mark of the box's labels.

    Source: format words of disk recorders, from memory of public documentation.
    """
    if name := _STANDARD_DEFINITION.get(word.upper()):
        return RATES[name]
    match = _FORMAT.fullmatch(word)
    if match is None:
        return None
    scan, digits = match.groups()
    speed = (_FIELD_SPEEDS if scan in "iI" else _SPEEDS).get(digits)
    return RATES[speed] if speed else None


def _nearest(difference: int, day: int) -> int:
    """Fold a difference of frame numbers into (-day/2, day/2]."""
    folded = difference % day
    return folded - day if 2 * folded > day else folded
