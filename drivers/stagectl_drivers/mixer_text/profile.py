"""How does this make of mixer name, count and scale its parameters? One profile a make; the codec is the same for all.

Source: README.md beside this file, "Values" and "Sixteen strips". The wire counts from zero and speaks of hundredths
of a dB and of "on"; points count from one and speak of dB and of "muted": the change happens here.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

from stagectl.model.capabilities.mixer import (
    BUS_LEVEL,
    BUS_MUTED,
    BUS_NAME,
    SEND_LEVEL,
    STRIP_LEVEL,
    STRIP_METER,
    STRIP_MUTED,
    STRIP_NAME,
    STRIP_PAN,
)
from stagectl.model.points import Level, PointSpec
from stagectl_drivers.mixer_text.codec import clean

Wire = int | str


@dataclass(frozen=True, slots=True)
class Scale:
    """Levels in hundredths of a dB. Between `off` and `lowest` the wire has a gap."""

    lowest: int = -13800
    highest: int = 1000
    off: int = -32768

    def read(self, wire: Wire) -> Level:
        """DB of a wire value, or "off". Raises ValueError: no number, or below `off`."""
        if isinstance(wire, str) or wire < self.off:
            raise ValueError(wire)
        return "off" if wire == self.off else wire / 100

    def write(self, level: Level) -> int:
        """Wire value of a level, clamped; halves go away from zero, what lies below the lowest step is off."""
        if isinstance(level, str):
            return self.off
        hundredths = Decimal(str(level)) * 100
        if hundredths < self.lowest - Decimal("0.5"):
            return self.off
        return min(max(_rounded(hundredths), self.lowest), self.highest)


PAN_SIDE: Final = 63  # wire value at either side


def read_pan(wire: Wire) -> float:
    """-1 (left) to 1. Raises ValueError: beyond the sides."""
    if isinstance(wire, str) or abs(wire) > PAN_SIDE:
        raise ValueError(wire)
    return wire / PAN_SIDE


def write_pan(pan: float) -> int:
    return _rounded(Decimal(str(pan)) * PAN_SIDE)


MUTED_OF_ON: Final[Mapping[Wire, bool]] = {1: False, 0: True}  # the wire says whether it is on


def write_muted(muted: bool) -> int:
    return 0 if muted else 1


def read_name(wire: Wire) -> str:
    return str(wire)  # a name of digits may come without quotes


def _rounded(number: Decimal) -> int:
    return int(number.quantize(Decimal(1), ROUND_HALF_UP))


@dataclass(frozen=True, slots=True)
class Parameter:
    """One path of the wire and the point it is. The point's first index is x, its second y, each less one."""

    path: str
    point: PointSpec[Any]
    read: Callable[[Any], Any]
    write: Callable[[Any], Wire] | None = None  # None: read only


@dataclass(frozen=True, slots=True)
class Address:
    """One parameter of one strip, send or bus: where it stands on the wire and on the board."""

    parameter: Parameter
    x: int
    y: int
    point: PointSpec[Any]  # with its indexes filled in


@dataclass(frozen=True, slots=True)
class Refusal:
    """What a word of refusal means, and what a person can do."""

    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Profile:
    """One make of mixer."""

    name: str
    strips: int
    buses: int
    parameters: tuple[Parameter, ...]
    refusals: Mapping[str, Refusal]
    banks: tuple[str, ...] = ("A", "B")  # of memories
    memories: int = 100  # in each bank
    longest_name: int = 64  # characters; what a mixer cuts off is seen in its echo
    encoding: str = "utf-8"
    identity: tuple[str, str] = ("productname", "version")

    def addresses(self, strips: int, buses: int) -> tuple[Address, ...]:
        """Every parameter of a mixer of that size, in the order of the table."""
        counts = {"strip": strips, "bus": buses}
        found: list[Address] = []
        for parameter in self.parameters:
            spec = parameter.point
            first = range(counts[spec.name.partition(".")[0]])
            second = range(buses) if "{bus}" in spec.name and "{strip}" in spec.name else None
            for x in first:
                if second is None:
                    found.append(Address(parameter, x, 0, spec.at(x + 1)))
                else:
                    found += [Address(parameter, x, y, spec.at(x + 1, y + 1)) for y in second]
        return tuple(found)


_SCALE: Final = Scale()

SIXTEEN_STRIPS: Final = Profile(
    "sixteen strips",
    strips=16,
    buses=8,
    parameters=(
        Parameter("DEV:Strip/Fader/Level", STRIP_LEVEL, _SCALE.read, _SCALE.write),
        Parameter("DEV:Strip/Fader/On", STRIP_MUTED, MUTED_OF_ON.__getitem__, write_muted),
        Parameter("DEV:Mix/Fader/Level", BUS_LEVEL, _SCALE.read, _SCALE.write),
        Parameter("DEV:Mix/Fader/On", BUS_MUTED, MUTED_OF_ON.__getitem__, write_muted),
        Parameter("DEV:Strip/Label/Name", STRIP_NAME, read_name, clean),
        Parameter("DEV:Mix/Label/Name", BUS_NAME, read_name, clean),
        Parameter("DEV:Strip/Pan/Position", STRIP_PAN, read_pan, write_pan),
        Parameter("DEV:Strip/ToMix/Level", SEND_LEVEL, _SCALE.read, _SCALE.write),
        Parameter("DEV:Meter/Strip", STRIP_METER, _SCALE.read),
    ),
    refusals={
        "UnknownAddress": Refusal(
            "the mixer has no such parameter", "Choose the profile that fits it in the site file."
        ),
        "InvalidArgument": Refusal(
            "the mixer has no such strip, bus or memory, or can't take that value",
            "Compare its counts with the site file.",
        ),
        "UnknownCommand": Refusal("the mixer does not know that command", "Choose the profile that fits it."),
        "AccessDenied": Refusal("the mixer does not let us do that", "Allow remote control at its panel."),
        "Busy": Refusal("the mixer is busy", "Ask again in a moment."),
    },
)
PROFILES: Final = {profile.name: profile for profile in (SIXTEEN_STRIPS,)}
