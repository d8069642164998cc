"""How is a point spelled in JSON, quickly? One text a reading, made once for all who see it."""

from datetime import UTC, datetime
from json.encoder import encode_basestring_ascii
from typing import Any, Final

from stagectl.model.points import NEVER, Quality, Reading
from stagectl.model.world import Clock

_NULL: Final = "null"
_GOOD: Final = Quality.GOOD
_PLAIN: Final = ("", "box")  # authors that need no escaping


class PointText:
    """Writes readings as {"device","name","unit","value","quality","at","by","rev"}.

    `at` is when the value became this one, RFC 3339 in UTC; null: never read.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._heads: dict[Reading[Any], str] = {}
        self._second = 0  # of wall time, whose text is kept: most changes of one tick share it
        self._second_text = ""
        self._offset = 0.0
        self.begin()

    def begin(self) -> None:
        """Look at both clocks, once for a whole batch."""
        self._offset = self._clock.wall().timestamp() - self._clock.now()

    def write(self, reading: Reading[Any]) -> str:
        """One point as a JSON object."""
        head = self._heads.get(reading)
        if head is None:
            head = self._heads[reading] = _head(reading)
        value, quality = reading.value, reading.quality
        if type(value) is str:
            told = encode_basestring_ascii(value)
        elif type(value) is float or type(value) is int:
            told = repr(value)
        else:
            told = _rare(value)
        doubt = "good" if quality is _GOOD else str(quality)
        by = f'"{reading.by}"' if reading.by in _PLAIN else encode_basestring_ascii(reading.by)
        at = self.stamp(reading.changed_at)
        return f'{head}{told},"quality":"{doubt}","at":{at},"by":{by},"rev":{reading.rev}}}'

    def stamp(self, changed_at: float) -> str:
        """A moment of the monotonic clock as JSON text."""
        if changed_at == NEVER:
            return _NULL
        second, thousandth = divmod(round((changed_at + self._offset) * 1000), 1000)
        if second != self._second:
            self._second = second
            self._second_text = datetime.fromtimestamp(second, UTC).strftime("%Y-%m-%dT%H:%M:%S.")
        return f'"{self._second_text}{thousandth:03d}Z"'


def _head(reading: Reading[Any]) -> str:
    """What never changes of a point."""
    spec = reading.spec
    names = (reading.device, spec.name, str(spec.unit))
    device, name, unit = map(encode_basestring_ascii, names)
    return f'{{"device":{device},"name":{name},"unit":{unit},"value":'


def _rare(value: Any) -> str:
    if value is None:
        return _NULL
    if isinstance(value, bool):
        return "true" if value else "false"
    return encode_basestring_ascii(str(value)) if isinstance(value, str) else repr(value)
