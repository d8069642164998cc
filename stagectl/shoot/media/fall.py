"""How fast does a medium really fill? A slope that one bad reading does not move, and how far it is believed.

Free room as boxes report it lags, comes in steps and lies now and then. The slope is the median of all pairs (Theil and
Sen), its interval theirs by Kendall's count (90 %); ordinary least squares would follow one bad value anywhere.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median
from typing import Final

WINDOW: Final = 25  # readings, one every STEP_S: two minutes
STEP_S: Final = 5.0
ENOUGH: Final = 13  # readings for a good estimate...
VALUES: Final = 5  # ...and different values among them
GOOD: Final = 0.15  # width of the interval against the slope
ROUGH: Final = 0.5
RISE: Final = 0.01  # free room that grows by more is another medium, or something was erased
_NORMAL_90: Final = 1.645


class Confidence(StrEnum):
    """How far a measured fall is believed."""

    GOOD = "good"
    ROUGH = "rough"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Fall:
    """What was measured.

    Attributes:
        per_s: bytes that go each second; below 0: room comes.
        low, high: it lies between, nine times of ten.
        free: bytes left now, by all readings together and not by the last.
    """

    per_s: float
    low: float
    high: float
    free: float
    confidence: Confidence


def measured(readings: Sequence[tuple[float, float]], now: float) -> Fall | None:
    """The fall of (time, free bytes), oldest first; None: fewer than three readings."""
    count = len(readings)
    if count < 3:
        return None
    slopes = sorted(
        (one - other) / (after - at)
        for place, (at, one) in enumerate(readings)
        for after, other in readings[place + 1 :]
        if after > at
    )
    if not slopes:
        return None
    middle = median(slopes)
    spread = _NORMAL_90 * math.sqrt(count * (count - 1) * (2 * count + 5) / 18)
    first, last = int((len(slopes) - spread) / 2 - 1), int((len(slopes) + spread) / 2 + 1)
    low, high = slopes[max(0, first)], slopes[min(len(slopes) - 1, last)]
    free = median(value + middle * at for at, value in readings) - middle * now
    return Fall(middle, low, high, free, _confidence(readings, middle, high - low))


def _confidence(readings: Sequence[tuple[float, float]], middle: float, width: float) -> Confidence:
    if not middle or len(readings) < ENOUGH or len({value for _, value in readings}) < VALUES:
        return Confidence.NONE
    share = width / abs(middle)
    return Confidence.GOOD if share <= GOOD else Confidence.ROUGH if share <= ROUGH else Confidence.NONE


class Readings:
    """Free room of one medium while it records; begun anew when it is another one, or another take."""

    def __init__(self) -> None:
        self._kept: list[tuple[float, float]] = []  # the newest WINDOW
        self._of: object = None

    def add(self, at: float, free: float, of: object) -> None:
        """One more reading; `of` says what is recorded how on which medium: anything else begins anew."""
        if of != self._of or (self._kept and free > self._kept[-1][1] * (1 + RISE)):
            self._kept.clear()
            self._of = of
        if not self._kept or at - self._kept[-1][0] >= STEP_S * 0.8:
            self._kept.append((at, free))
            del self._kept[:-WINDOW]

    def clear(self) -> None:
        """It does not record now."""
        self._kept.clear()

    def fall(self, now: float) -> Fall | None:
        """What was measured so far."""
        return measured(tuple(self._kept), now)

    @property
    def still_s(self) -> float:
        """For how long the same value was read."""
        if not self._kept or self._kept[-1][1] != self._kept[0][1]:
            same = [at for at, free in self._kept if free == self._kept[-1][1]] if self._kept else []
            return self._kept[-1][0] - same[0] if same else 0.0
        return self._kept[-1][0] - self._kept[0][0]
