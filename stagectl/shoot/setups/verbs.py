"""What can be known and asked of set-ups, as of a box."""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final

from stagectl.model.capabilities.base import Capability
from stagectl.model.conditions import Condition
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Verb, VerbSpec


class State(StrEnum):
    """How the house stands to the set-up it is held in."""

    NONE = "none"  # none was applied
    APPLYING = "applying"
    HOLDS = "holds"
    DIFFERS = "differs"
    UNSURE = "unsure"  # nothing is seen to differ, and not all is seen


HELD: Final[PointSpec[str]] = PointSpec("held", str)  # name of the set-up applied last; empty: none
STATE: Final[PointSpec[State]] = PointSpec("state", State)
DIFFERS: Final[PointSpec[int]] = PointSpec("differs", int)  # watched values that are not as wanted
UNKNOWN: Final[PointSpec[int]] = PointSpec("unknown", int)  # watched values that can't be told
DRIFT: Final[PointSpec[str]] = PointSpec("drift", str)  # the newest change away from what is wanted, in a sentence


@dataclass(frozen=True, slots=True)
class Apply(Verb):
    """Bring the house into a set-up: what differs, in stages. `only`: "paths, iso, mixer strip 5"; empty: all of it."""

    spec: ClassVar[VerbSpec] = VerbSpec("apply", 2, "applied")
    setup: str
    only: str = ""

    def effect(self) -> Condition:
        return HELD.is_(self.setup)

    def say(self) -> str:
        return f"apply {self.setup}{f', only {self.only}' if self.only else ''}"


@dataclass(frozen=True, slots=True)
class Undo(Verb):
    """Put back what the last apply changed, where it is still ours. `to` is found: the set-up held before."""

    spec: ClassVar[VerbSpec] = VerbSpec("undo", 2, "undone")
    to: str = ""

    def effect(self) -> Condition:
        return HELD.is_(self.to)

    def say(self) -> str:
        return "undo the last set-up"


SETUPS: Final = Capability("setups", 1, (HELD, STATE, DIFFERS, UNKNOWN, DRIFT), (Apply, Undo))
