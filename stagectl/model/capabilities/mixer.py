"""What can be known and asked of an audio mixer."""

from dataclasses import dataclass
from typing import ClassVar, Final

from stagectl.model.capabilities.base import Capability
from stagectl.model.conditions import Condition
from stagectl.model.points import Flags, Level, PointSpec, Unit
from stagectl.model.verbs import Verb, VerbSpec


def _level(name: str) -> PointSpec[Level]:
    return PointSpec(
        name,
        float,
        Unit.DB,
        low=-138.0,
        high=10.0,
        tolerance=0.3,
        words=("off",),
        settable=True,
        ramp_per_s=6.0,
        flags=Flags.LOUD,
    )


STRIPS: Final[PointSpec[int]] = PointSpec("strips", int)
BUSES: Final[PointSpec[int]] = PointSpec("buses", int)
STRIP_LEVEL: Final = _level("strip.{strip}.level")
STRIP_MUTED: Final[PointSpec[bool]] = PointSpec("strip.{strip}.muted", bool, settable=True)
STRIP_NAME: Final[PointSpec[str]] = PointSpec("strip.{strip}.name", str, settable=True)
STRIP_PAN: Final[PointSpec[float]] = PointSpec(
    "strip.{strip}.pan", float, Unit.RATIO, low=-1, high=1, tolerance=0.01, settable=True
)
SEND_LEVEL: Final = _level("strip.{strip}.send.{bus}.level")
BUS_LEVEL: Final = _level("bus.{bus}.level")
BUS_MUTED: Final[PointSpec[bool]] = PointSpec("bus.{bus}.muted", bool, settable=True)
BUS_NAME: Final[PointSpec[str]] = PointSpec("bus.{bus}.name", str, settable=True)
MEMORY: Final[PointSpec[str]] = PointSpec("memory", str)
STRIP_METER: Final[PointSpec[Level]] = PointSpec(
    "strip.{strip}.meter", float, Unit.DB, words=("off",), flags=Flags.FAST
)


@dataclass(frozen=True, slots=True)
class Recall(Verb):
    """Call one of the mixer's own memories. It may change anything in the box."""

    spec: ClassVar[VerbSpec] = VerbSpec("recall", 5, "recalled", flags=Flags.LOUD)
    memory: str

    def effect(self) -> Condition:
        return MEMORY.is_(self.memory)

    def touches(self) -> tuple[str, ...]:
        return ("*",)


MIXER: Final = Capability(
    "mixer",
    1,
    (
        *(STRIPS, BUSES, STRIP_LEVEL, STRIP_MUTED, STRIP_NAME, STRIP_PAN, SEND_LEVEL),
        *(BUS_LEVEL, BUS_MUTED, BUS_NAME, MEMORY, STRIP_METER),
    ),
    (Recall,),
)
