"""How is a point spelled in JSON, quickly? One text a reading, made once for all who see it."""

from datetime import datetime, timedelta
from json.encoder import encode_basestring_ascii
from typing import Any, Final

from stagectl.model.points import NEVER, Reading
from stagectl.model.world import Clock

_NULL: Final = "null"


class PointText:
    """Writes readings as {"device","name","value","quality","unit","at","by","rev"}.

    `at` is when the value became this one, RFC 3339 in UTC; null: never read.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._heads: dict[Reading[Any], str] = {}
        self._second = -1  # of wall time, whose text is kept: most changes of one tick share it
        self._second_text = ""
        self._wall = clock.wall()
        self._now = clock.now()

    @staticmethod
    def wall(clock: Clock, at: float) -> datetime:
        """Wall time of a moment on the monotonic clock."""
        return clock.wall() - timedelta(seconds=clock.now() - at)

    def begin(self) -> None:
        """Look at both clocks, once for a whole batch."""
        self._wall, self._now = self._clock.wall(), self._clock.now()

    def write(self, reading: Reading[Any]) -> str:
        """One point as a JSON object."""
        head = self._heads.get(reading)
        if head is None:
            spec = reading.spec
            head = (
                f'{{"device":{encode_basestring_ascii(reading.device)},"name":{encode_basestring_ascii(spec.name)},'
                f'"unit":{encode_basestring_ascii(str(spec.unit))},"value":'
            )
            self._heads[reading] = head
        by = f'"{reading.by}"' if reading.by in ("", "box") else encode_basestring_ascii(reading.by)
        return (
            f'{head}{_value(reading.value)},"quality":"{reading.quality.value}",'
            f'"at":{self._at(reading.changed_at)},"by":{by},"rev":{reading.rev}}}'
        )

    def _at(self, changed_at: float) -> str:
        if changed_at == NEVER:
            return _NULL
        wall = self._wall - timedelta(seconds=self._now - changed_at)
        second = wall.second + 60 * (wall.minute + 60 * (wall.hour + 24 * wall.toordinal()))
        if second != self._second:
            self._second, self._second_text = second, _second(wall)
        return f'"{self._second_text}{wall.microsecond // 1000:03d}Z"'


def _second(wall: datetime) -> str:
    return wall.strftime("%Y-%m-%dT%H:%M:%S.")


def _value(value: Any) -> str:
    if value is None:
        return _NULL
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return encode_basestring_ascii(value)
    return repr(value)
