"""Hear the next reading of a point, and no more."""

from collections.abc import Callable
from typing import Any

from stagectl.model.points import Poked, Quality, Reading


class Once(Poked):
    """Waits for one answer; `tell` hears of the first good one that is read after now."""

    __slots__ = ("_read_at", "_tell")

    def __init__(self, reading: Reading[Any], tell: Callable[[Reading[Any]], None]) -> None:
        self._read_at = reading.read_at
        self._tell = tell
        reading.watches = (*reading.watches, self)

    def poke(self, reading: Reading[Any]) -> None:
        if reading.quality is Quality.GOOD and reading.read_at > self._read_at:
            reading.watches = tuple(one for one in reading.watches if one is not self)
            self._tell(reading)
