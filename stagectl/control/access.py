"""Who may do what: one function that every door passes, and the locks that guard points."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

from stagectl.model.conditions import NO, YES, Condition, Watch, compare
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.verbs import Ask, Set


class Role(StrEnum):
    """What a person may do, least first."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ENGINEER = "engineer"


_RANK = {Role.VIEWER: 0, Role.OPERATOR: 1, Role.ENGINEER: 2}


@dataclass(frozen=True, slots=True)
class Person:
    """Who asks: a name for journals and the role that name has here."""

    name: str
    role: Role


@dataclass(slots=True)
class Lock:
    """Points that are guarded.

    Attributes:
        points: (device, point name); a verb that touches "*" of a device meets every lock of it.
        because: why, as a clause.
        by: who made it.
        watch: it guards while this is yes (or not known); None: always.
        may_lift: the least role that may pass it; None: nobody.
    """

    points: frozenset[tuple[str, str]]
    because: str
    by: str = "the site file"
    watch: Watch | None = None
    may_lift: Role | None = None

    @property
    def holds(self) -> bool:
        """Does it guard now?"""
        return self.watch is None or self.watch.truth is not NO


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound the site puts on a point: it may only narrow what the box allows."""

    device: str
    bound: Condition  # one leaf, "at most" or "at least"


def touched(ask: Ask) -> Sequence[tuple[str, str]]:
    """The (device, point) pairs an ask may change; ("iso-1", "*") for all of a box."""
    return [(ask.target, name) for name in ask.verb.touches()]


def may(person: Person, ask: Ask, locks: Collection[Lock], limits: Collection[Limit] = ()) -> None:
    """Let an ask pass, or say why not.

    Raises:
        RefusedError: code "role", "locked" or "limit"; no byte was sent.
    """
    verb = ask.verb
    if person.role is Role.VIEWER:
        raise RefusedError(f"{person.name} may only watch.", remedy="Ask an operator.", code="role")
    if Flags.ERASES in verb.flags():
        if person.role is not Role.ENGINEER:
            raise RefusedError("Only an engineer may erase a medium.", remedy="Ask an engineer.", code="role")
        if ask.inlet.startswith("scene"):
            raise RefusedError("A scene never erases a medium.", code="role")
    pairs = touched(ask) if locks else ()
    for lock in locks:
        if not lock.holds or (lock.may_lift is not None and _RANK[person.role] >= _RANK[lock.may_lift]):
            continue
        for device, name in pairs:
            if (device, name) in lock.points or (name == "*" and any(one == device for one, _ in lock.points)):
                who = f"{lock.may_lift.value} may lift it" if lock.may_lift else "nobody may lift it"
                raise RefusedError(
                    f"{device} {name.replace('.', ' ')} is protected by {lock.by}: {lock.because}; {who}.",
                    code="locked",
                )
    if isinstance(verb, Set):
        for limit in limits:
            leaf = next(limit.bound.leaves())
            if (
                limit.device == ask.target
                and leaf.spec.name == verb.point.name
                and compare(leaf, verb.value) is not YES
            ):
                raise RefusedError(f"The site keeps {limit.device} {leaf.say()}.", code="limit")
