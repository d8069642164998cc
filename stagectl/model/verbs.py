"""What can be asked: acts with the effect they must show, and the verdict that ends each.

`Set` serves every settable point of every kind of box; other verbs exist only for acts that set nothing. Each is
a frozen dataclass whose fields are its arguments; drivers `match` on it.
"""

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any, ClassVar, Generic, TypeVar, cast

from stagectl.model.conditions import ALWAYS, Condition
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags, PointSpec

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class VerbSpec:
    """What is promised of one verb.

    Attributes:
        name: as people ask for it, one lower-case word.
        deadline_s: after this the command is judged by what was seen.
        hold_s: how long the effect must be seen without a break.
        done: past tense for sentences: "rolled", "cut".
        answers: its effect is told in its own answer and can't be looked at, such as the token of a first step.
        overtakes: names of verbs that give way to it while they are on their way; all others refuse it.
    """

    name: str
    deadline_s: float
    done: str
    hold_s: float = 0
    flags: Flags = Flags.NONE
    answers: bool = False
    overtakes: tuple[str, ...] = ()


class Verb:
    """Base of all acts. Subclasses are frozen, slotted dataclasses."""

    __slots__ = ()
    spec: ClassVar[VerbSpec]

    def effect(self) -> Condition:
        """What the points must show for the act to be verified."""
        raise AssertionError("made by subclasses")

    def needs(self) -> Condition:
        """What must hold before a byte is sent; refused on no and on unknown (verbs flagged FIRST: on no only)."""
        return ALWAYS

    def moot(self) -> Condition:
        """Yes: nothing is sent, we only look. By default: the effect is there already."""
        return self.effect()

    def touches(self) -> tuple[str, ...]:
        """Point names the act may change, or "*": what locks, conflicts, undo and audit speak of."""
        return tuple(leaf.spec.name for leaf in self.effect().leaves())

    def deadline_s(self) -> float:
        """Seconds until it is judged; a verb may know better from its arguments."""
        return self.spec.deadline_s

    def hold_s(self) -> float:
        """Seconds the effect must last."""
        return self.spec.hold_s

    def flags(self) -> Flags:
        """What it does to the room."""
        return self.spec.flags

    def say(self) -> str:
        """The act in words, for journals and plans: "roll", "set output 3 source to 7"."""
        told = [f"{name} {value}" for name, value in self.arguments().items() if value not in ("", None)]
        return " ".join([self.spec.name, *told])

    def arguments(self) -> dict[str, Any]:
        """Field values by name, as JSON can hold them."""
        return {one.name: getattr(self, one.name) for one in fields(cast("Any", self))}


@dataclass(frozen=True, slots=True)
class Set(Verb, Generic[T]):
    """Bring a settable point to a value. The value is checked by `checked`, not here."""

    spec: ClassVar[VerbSpec] = VerbSpec("set", 1, "set")
    point: PointSpec[T]
    value: T

    def effect(self) -> Condition:
        return self.point.is_(self.value)

    def needs(self) -> Condition:
        return self.point.needs or ALWAYS

    def deadline_s(self) -> float:
        return self.point.deadline_s

    def hold_s(self) -> float:
        return self.point.hold_s

    def flags(self) -> Flags:
        return self.point.flags & ~Flags.ACT

    def say(self) -> str:
        return f"set {self.point.name.replace('.', ' ')} to {self.point.say(self.value)}"

    def arguments(self) -> dict[str, Any]:
        return {"point": self.point.name, "value": self.value}


@dataclass(frozen=True, slots=True)
class Stay(Set[T]):
    """Stop a rise: the point stays at what it has got to.

    Doors make it with None for a value. The command path puts in what the rise has reached, and from then on it is a
    `Set` to that, at once.
    """

    spec: ClassVar[VerbSpec] = VerbSpec("stay", 1, "stopped")

    def touches(self) -> tuple[str, ...]:
        return (self.point.name,)

    def flags(self) -> Flags:
        return Flags.NONE  # it makes nothing louder

    def say(self) -> str:
        told = f"stop {self.point.name.replace('.', ' ')}"
        return told if self.value is None else f"{told} at {self.point.say(self.value)}"

    def arguments(self) -> dict[str, Any]:
        return {"point": self.point.name}


def checked(point: PointSpec[T], value: object) -> Set[T]:
    """A Set that is in range. Raises RefusedError: not settable, wrong type or out of range."""
    if not point.settable:
        raise RefusedError(f"{point.name.replace('.', ' ')} can only be read.", code="read-only")
    return Set(point, point.check(value))


class Ended(StrEnum):
    """How a command ended; exactly one, and final."""

    VERIFIED = "verified"  # the effect was seen in readings asked for after the send
    SENT = "sent"  # all points of the effect are declared blind
    UNCONFIRMED = "unconfirmed"  # the deadline passed without proof
    FAILED = "failed"  # refused, or the opposite seen


WORST_FIRST = (Ended.FAILED, Ended.UNCONFIRMED, Ended.SENT, Ended.VERIFIED)


@dataclass(slots=True)  # nobody changes one; frozen, its making would cost three times as much
class Verdict:
    """The end of one command.

    Attributes:
        why: one clause without full stop; empty when verified.
        missing: what was not seen, clause by clause.
        after_s: from send (or refusal: from asking) to verdict.
        remedy: what a person can do, one sentence.
        code: short word for programs: "refused", "needs", "no-link", "seen-otherwise", "device", ...
        refused: no byte was sent.
        moot: it was so already, nothing was sent.
    """

    ended: Ended
    why: str = ""
    missing: tuple[str, ...] = ()
    after_s: float = 0
    remedy: str = ""
    code: str = ""
    refused: bool = False
    moot: bool = False


@dataclass(slots=True)
class Ask:
    """One verb for one device, with who asks and through which door.

    Not frozen: a roll is kept armed before anybody pressed, and gets its asker at go.

    Attributes:
        take: the take it starts or ends.
        stage: it goes out when all of its group with a lower stage have their verdict.
        after: (device, point) of lower stages that must have ended well, or it does not go out at all.
        cannot: why it is refused, found when it was planned among others; None: nothing was found.
        confirm: the word that who asks was shown with what this ends; empty: none was said.
    """

    id: str
    who: str
    inlet: str
    target: str
    verb: Verb
    take: int | None = None
    stage: int = 0
    after: tuple[tuple[str, str], ...] = ()
    cannot: RefusedError | None = None
    confirm: str = ""
