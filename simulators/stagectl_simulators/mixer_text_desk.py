"""What do the mixer's parameters and memories hold? State by place, without a wire.

Memories are own construction: A 1 is the mixer as built; A n opens strips 1 to n at 0 dB and closes the others.
"""

from dataclasses import dataclass

from stagectl_simulators.mixer_text_meters import strip_meter
from stagectl_simulators.mixer_text_profile import (
    BUS_LEVEL,
    BUS_NAME,
    BUS_ON,
    MINUS_INFINITY,
    SEND_LEVEL,
    STRIP_LEVEL,
    STRIP_METER,
    STRIP_NAME,
    STRIP_ON,
    STRIP_PAN,
    MixerSize,
    Parameter,
    Value,
    table,
)


@dataclass(frozen=True, slots=True)
class Place:
    """One parameter of one strip or bus. `x` and `y` are zero-based, as on the wire, and in range."""

    parameter: Parameter
    x: int
    y: int

    def echo(self, value: Value) -> str:
        """Write place and value as an answer echoes them, with the value as the mixer's screen shows it."""
        kind = self.parameter.kind
        return f'{self.parameter.path} {self.x} {self.y} {kind.wire(value)} "{kind.shown(value)}"'

    def says(self, value: Value) -> str:
        return f"{self.parameter.says(self.x, self.y)} is {self.parameter.kind.shown(value)}"


class Desk:
    """The state of a mixer."""

    def __init__(self, size: MixerSize) -> None:
        self.size = size
        self.table = table(size)
        self.memory = 1  # the one recalled last, as its key is named
        self._values: dict[tuple[str, int, int], Value] = {
            (row.path, x, y): row.start(x, y)
            for row in self.table.values()
            for x in range(row.x_count)
            for y in range(row.y_count)
        }

    def place(self, path: str, x: int, y: int = 0) -> Place:
        return Place(self.table[path], x, y)

    def value(self, place: Place, now_s: float) -> Value:
        """Return what a place holds now; a meter is the only one that moves by itself."""
        if place.parameter.path == STRIP_METER:
            fader, on = self._values[STRIP_LEVEL, place.x, 0], self._values[STRIP_ON, place.x, 0]
            return strip_meter(place.x, int(fader), bool(on), now_s)
        return self._values[place.parameter.path, place.x, place.y]

    def put(self, place: Place, value: Value) -> bool:
        """Set a place. Returns whether that changed it."""
        key = (place.parameter.path, place.x, place.y)
        was, self._values[key] = self._values[key], value
        return was != value

    def recall(self, memory: int) -> list[Place]:
        """Call up a memory, from 1. Returns the places it changed, in the table's order."""
        self.memory = memory
        return [
            place
            for row in self.table.values()
            if row.is_in_memories
            for x in range(row.x_count)
            for y in range(row.y_count)
            if self.put(place := Place(row, x, y), _stored(row, x, y, memory))
        ]

    def truth(self, now_s: float) -> dict[str, object]:
        def level(path: str, x: int, y: int = 0) -> float | None:
            value = int(self.value(Place(self.table[path], x, y), now_s))
            return None if value == MINUS_INFINITY else value / 100

        values = self._values
        return {
            "strips": [
                {
                    "name": values[STRIP_NAME, x, 0],
                    "level_db": level(STRIP_LEVEL, x),
                    "on": bool(values[STRIP_ON, x, 0]),
                    "pan": values[STRIP_PAN, x, 0],
                    "sends_db": [level(SEND_LEVEL, x, y) for y in range(self.size.buses)],
                    "meter_db": level(STRIP_METER, x),
                }
                for x in range(self.size.strips)
            ],
            "buses": [
                {
                    "name": values[BUS_NAME, x, 0],
                    "level_db": level(BUS_LEVEL, x),
                    "on": bool(values[BUS_ON, x, 0]),
                }
                for x in range(self.size.buses)
            ],
        }


def _stored(row: Parameter, x: int, y: int, memory: int) -> Value:
    if memory > 1 and row.path == STRIP_LEVEL:
        return 0 if x < memory else -2000
    if memory > 1 and row.path == STRIP_ON:
        return 1 if x < memory else 0
    return row.start(x, y)
