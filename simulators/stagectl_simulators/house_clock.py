"""What timecode is it in the house? One clock for all decks, counted in whole frames at an exact rate.

Arithmetic after SMPTE ST 12-1 (from memory): labels 00 to 23 hours; drop-frame leaves out the first two labels (four at
59.94) of every minute that is not a multiple of ten. A frame is named by its start, so its number is the floor of time
times rate. Rates are integer pairs; nothing is computed with 29.97 as a decimal.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

LABEL: Final = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;])([0-9]{2})")


@dataclass(frozen=True, slots=True)
class Rate:
    """A frame rate: `num / den` frames per second, `base` labels in a label second, `drop` labels dropped a minute."""

    num: int
    den: int = 1
    drop: int = 0

    @property
    def base(self) -> int:
        """Labels in one label second: 30 for 30000/1001."""
        return -(-self.num // self.den)

    @property
    def day(self) -> int:
        """Frames in 24 hours of labels."""
        return 86400 * self.base - 1296 * self.drop  # 1440 minutes less the 144 that keep their labels

    def dropping(self) -> Rate:
        """The same rate with drop-frame labels.

        Raises: ValueError: no drop-frame exists at this rate.
        """
        if (self.base, self.den) not in {(30, 1001), (60, 1001)}:
            raise ValueError(f"Drop-frame exists at 29.97 and 59.94 only, not at {self.num}/{self.den}.")
        return Rate(self.num, self.den, self.base // 15)


RATES: Final = {
    # spoken name: exact rate, non-drop
    "23.976": Rate(24000, 1001),
    "24": Rate(24),
    "25": Rate(25),
    "29.97": Rate(30000, 1001),
    "30": Rate(30),
    "47.952": Rate(48000, 1001),
    "48": Rate(48),
    "50": Rate(50),
    "59.94": Rate(60000, 1001),
    "60": Rate(60),
}


def rate_named(name: str) -> Rate:
    """Read a spoken rate such as "25", "29.97" or "29.97 DF".

    Raises: ValueError: no such rate; the sentence lists them.
    """
    spoken, _, drop = name.partition(" ")
    if spoken not in RATES or drop not in {"", "DF", "NDF"}:
        raise ValueError(
            f"There is no frame rate {name!r}. Known rates: {', '.join(RATES)}, and DF at 29.97 and 59.94."
        )
    return RATES[spoken].dropping() if drop == "DF" else RATES[spoken]


def label_of(frame: int, rate: Rate) -> str:
    """Write a frame number, taken modulo the label day, as `hh:mm:ss:ff`, or `hh:mm:ss;ff` in drop-frame."""
    number, base, drop = frame % rate.day, rate.base, rate.drop
    if drop:
        tens, rest = divmod(number, 600 * base - 9 * drop)
        number += 9 * drop * tens
        if rest >= 60 * base:
            number += drop * ((rest - drop) // (60 * base - drop))
    seconds, frames = divmod(number, base)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour:02}:{minute:02}:{second:02}{';' if drop else ':'}{frames:02}"


def frame_of(label: str, rate: Rate) -> int:
    """Read `hh:mm:ss:ff` (or `;` before the frames) as the frame number counted from 00:00:00:00.

    Raises: ValueError: not a label, or one that does not exist at this rate, such as 00:01:00;00 in drop-frame.
    """
    match = LABEL.fullmatch(label)
    if match is None:
        raise ValueError(f"{label!r} is no timecode. Write hh:mm:ss:ff.")
    hour, minute, second, frames = (int(match[group]) for group in (1, 2, 3, 5))
    dropped = bool(rate.drop) and minute % 10 != 0 and second == 0 and frames < rate.drop
    if hour > 23 or minute > 59 or second > 59 or frames >= rate.base or dropped:
        raise ValueError(f"The label {label!r} does not exist at {rate.num}/{rate.den} frames per second.")
    minutes = 60 * hour + minute
    return rate.base * (60 * minutes + second) + frames - rate.drop * (minutes - minutes // 10)


def frames_in(now_s: float, rate: Rate) -> int:
    """Whole frames in a time: the floor, after rounding to the nanosecond so that 0.04 s is one frame at 25."""
    return round(now_s * 1e9) * rate.num // (rate.den * 10**9)


class HouseClock:
    """The house timecode as a function of time: at 0 s it reads `start`, and it runs at `rate` for ever."""

    def __init__(self, rate: Rate = RATES["25"], start: str = "10:00:00:00") -> None:
        """Raises ValueError if `start` is no label at `rate`."""
        self.rate = rate
        self._start = frame_of(start, rate)

    def frame(self, now_s: float) -> int:
        """Frames since 00:00:00:00 of the first label day, not wrapped at midnight."""
        return self._start + frames_in(now_s, self.rate)

    def label(self, now_s: float) -> str:
        """The label of the frame that is running."""
        return label_of(self.frame(now_s), self.rate)

    def time_of_day_s(self) -> int:
        """What a clock on the wall reads at 0 s, by the start's own hours, minutes and seconds."""
        hours, minutes, seconds = (int(each) for each in label_of(self._start, self.rate)[:8].split(":"))
        return 3600 * hours + 60 * minutes + seconds

    def start_at(self, rate: Rate) -> int:
        """The frame with which a clock of another rate starts, to read the same time of day as this one at 0 s."""
        return self._start * self.rate.den * rate.num // (self.rate.num * rate.den)
