"""Which parameters does the mixer have, and how does each one clamp, step and show its value?

Source: mixer-text family, common practice. The paths and the step table are this simulator's own, written down in the
package's README, section "mixer-text".
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from stagectl_simulators.mixer_text_wire import Word

MINUS_INFINITY: Final = -32768  # hundredths of a decibel on the wire; never averaged, never divided by 100
LOWEST: Final = -13800
HIGHEST: Final = 1000

# Steps a fader rests on: (from this value up, size of a step), both in hundredths of a decibel. Own table, shaped as
# such tables are: fine around nought, coarse at the bottom. Every limit sits on a step of both its neighbours.
STEPS: Final = ((-2000, 5), (-4000, 10), (-6000, 50), (-9600, 100), (LOWEST, 300))

_INTEGER: Final = re.compile(r"-?[0-9]{1,9}")

Value = int | str


class RefusedRequestError(Exception):
    """A request the mixer refuses; the text is the error word of its answer."""


class UnfitValueError(RefusedRequestError):
    """A word of the wrong form, or out of range where no clamping helps."""

    def __init__(self) -> None:
        super().__init__("InvalidArgument")


class Kind(Protocol):
    """How one kind of value reads and shows."""

    def in_force(self, word: Word) -> tuple[Value, bool]:
        """Return the value the mixer makes of what was asked, and whether it differs from what was asked.

        Raises:
            UnfitValueError: not a value of this kind.
        """

    def wire(self, value: Value) -> str:
        """Write the value as a line carries it."""

    def shown(self, value: Value) -> str:
        """Write the value as the mixer's own screen shows it."""


def integer(word: Word) -> int:
    """Read a whole number.

    Raises:
        UnfitValueError: quoted, or no number of at most nine digits.
    """
    if word.is_quoted or not _INTEGER.fullmatch(word.text):
        raise UnfitValueError
    return int(word.text)


def stepped(level: int) -> int:
    """Return the step a fader comes to rest on, hundredths of a decibel.

    Below the lowest step is minus infinity; above the highest, the highest; between two steps the nearer one, halves
    away from nought.
    """
    if level < LOWEST:
        return MINUS_INFINITY
    level = min(level, HIGHEST)
    step = next(size for start, size in STEPS if level >= start)
    size = abs(level)
    return (size + step // 2) // step * step * (1 if level >= 0 else -1)


class Level:
    """A level in hundredths of a decibel, -32768 for minus infinity."""

    def in_force(self, word: Word) -> tuple[Value, bool]:
        asked = integer(word)
        level = stepped(asked)
        return level, level != asked

    def wire(self, value: Value) -> str:
        return str(value)

    def shown(self, value: Value) -> str:
        return "-INF" if value == MINUS_INFINITY else f"{int(value) / 100:.2f}"


class Switch:
    """On or off: 1 and 0. There is nothing to clamp: another number is refused."""

    def in_force(self, word: Word) -> tuple[Value, bool]:
        asked = integer(word)
        if asked not in (0, 1):
            raise UnfitValueError
        return asked, False

    def wire(self, value: Value) -> str:
        return str(value)

    def shown(self, value: Value) -> str:
        return "ON" if value else "OFF"


class Pan:
    """A place between left, -63, and right, 63."""

    def in_force(self, word: Word) -> tuple[Value, bool]:
        asked = integer(word)
        place = max(-63, min(63, asked))
        return place, place != asked

    def wire(self, value: Value) -> str:
        return str(value)

    def shown(self, value: Value) -> str:
        place = int(value)
        return f"L{-place}" if place < 0 else f"R{place}" if place else "C"


@dataclass(frozen=True, slots=True)
class Name:
    """A name between quotes. A longer one is cut at the limit, which counts letters."""

    limit: int

    def in_force(self, word: Word) -> tuple[Value, bool]:
        if not word.is_quoted:
            raise UnfitValueError
        kept = word.text[: self.limit]
        return kept, kept != word.text

    def wire(self, value: Value) -> str:
        return f'"{value}"'

    def shown(self, value: Value) -> str:
        return str(value)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One row of the table: a path with its two indexes, both zero-based on the wire."""

    path: str
    kind: Kind
    start: Callable[[int, int], Value]  # value of (x, y) when the mixer is switched on
    says: Callable[[int, int], str]  # the parameter in the record's words, counted from one
    x_count: int
    y_count: int = 1
    is_in_memories: bool = True  # a name is not: a recall would rename the musicians
    is_read_only: bool = False  # meters


@dataclass(frozen=True, slots=True)
class MixerSize:
    """How large the mixer is."""

    strips: int = 16
    buses: int = 8
    memories: int = 10
    name_limit: int = 32  # letters


STRIP_LEVEL: Final = "DEV:Strip/Fader/Level"
STRIP_ON: Final = "DEV:Strip/Fader/On"
STRIP_NAME: Final = "DEV:Strip/Label/Name"
STRIP_PAN: Final = "DEV:Strip/Pan/Position"
SEND_LEVEL: Final = "DEV:Strip/ToMix/Level"
BUS_LEVEL: Final = "DEV:Mix/Fader/Level"
BUS_ON: Final = "DEV:Mix/Fader/On"
BUS_NAME: Final = "DEV:Mix/Label/Name"
STRIP_METER: Final = "DEV:Meter/Strip"


def table(size: MixerSize) -> dict[str, Parameter]:
    """Return the mixer's parameters by path, in the order a recall reports them."""
    if size.strips < 1 or size.buses < 1 or size.memories < 1 or size.name_limit < 1:
        raise ValueError("A mixer has strips, buses, memories and names: give each size from 1 up.")
    level, switch, name = Level(), Switch(), Name(size.name_limit)
    strips, buses = size.strips, size.buses
    rows = (
        Parameter(STRIP_LEVEL, level, lambda _x, _y: -2000, lambda x, _y: f"strip {x + 1} level", strips),
        Parameter(STRIP_ON, switch, lambda _x, _y: 1, lambda x, _y: f"strip {x + 1}", strips),
        Parameter(
            STRIP_NAME,
            name,
            lambda x, _y: f"Strip {x + 1}"[: size.name_limit],
            lambda x, _y: f"strip {x + 1} name",
            strips,
            is_in_memories=False,
        ),
        Parameter(STRIP_PAN, Pan(), lambda _x, _y: 0, lambda x, _y: f"strip {x + 1} pan", strips),
        Parameter(
            SEND_LEVEL,
            level,
            lambda _x, _y: MINUS_INFINITY,
            lambda x, y: f"strip {x + 1} send to bus {y + 1}",
            strips,
            buses,
        ),
        Parameter(BUS_LEVEL, level, lambda _x, _y: 0, lambda x, _y: f"bus {x + 1} level", buses),
        Parameter(BUS_ON, switch, lambda _x, _y: 1, lambda x, _y: f"bus {x + 1}", buses),
        Parameter(
            BUS_NAME,
            name,
            lambda x, _y: f"Mix {x + 1}"[: size.name_limit],
            lambda x, _y: f"bus {x + 1} name",
            buses,
            is_in_memories=False,
        ),
        Parameter(
            STRIP_METER,
            level,
            lambda _x, _y: MINUS_INFINITY,
            lambda x, _y: f"strip {x + 1} meter",
            strips,
            is_in_memories=False,
            is_read_only=True,
        ),
    )
    return {row.path: row for row in rows}
