"""What do the mixer's meters read at a given moment, and how does one line carry all of them?

Source: mixer-text family, common practice: two-digit hexadecimal bytes 00..7F index a table in decibels. The table and
the sound are own constructions.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from stagectl_simulators.mixer_text_profile import HIGHEST, LOWEST, MINUS_INFINITY

STREAM_LASTS_S: Final = 10.0  # without a renewal a stream ends by itself
SHORTEST_MS: Final = 50
LONGEST_MS: Final = 1000


def strip_meter(strip: int, fader: int, is_on: bool, now_s: float) -> int:
    """Return what a strip's meter reads after its fader, hundredths of a decibel.

    Every strip carries a sound that swells between -24 and -12 dB, each at its own pace, so that two strips never read
    alike for long and the same moment always reads the same.
    """
    if not is_on or fader == MINUS_INFINITY:
        return MINUS_INFINITY
    sound = -1800 + 600 * math.sin(2 * math.pi * now_s / (2.0 + 0.3 * strip))
    level = round(sound) + fader
    return MINUS_INFINITY if level < LOWEST else min(level, HIGHEST)


def table_index(level: int) -> int:
    """Return the place in the table: 00 is silence, 01 is -63 dB, 7F is 0 dB or more, half a decibel a place."""
    if level == MINUS_INFINITY or level < -6300:
        return 0
    return min(127, 127 + round(level / 50))


def meter_words(levels: Iterable[int]) -> str:
    return " ".join(f"{table_index(level):02X}" for level in levels)


@dataclass(slots=True)
class MeterStream:
    """One client's running stream of meter lines."""

    interval_s: float
    next_s: float
    ends_s: float

    def is_due(self, now_s: float) -> bool:
        """Tell whether a line is due, and set the time of the next. A late call owes one line, the newest."""
        if now_s < self.next_s or now_s >= self.ends_s:
            return False
        self.next_s = now_s + self.interval_s
        return True
