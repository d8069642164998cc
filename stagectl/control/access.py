"""Who may do what: one function that every door passes, and the locks that guard points."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, Protocol

from stagectl.model.conditions import NO, YES, Condition, Watch, compare
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.verbs import Ask, Set, Stay


class Role(StrEnum):
    """What a person may do, least first."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ENGINEER = "engineer"


FRESH_S: Final = 900.0  # so long after a login it opens what an engineer alone may change; own choice
PRIVATE: Final = "access"  # the kind of journal lines that not everybody reads
_RANK = {Role.VIEWER: 0, Role.OPERATOR: 1, Role.ENGINEER: 2}


@dataclass(slots=True, eq=False)
class Pass:
    """What a token lets its bearer do; shared by all who came in with it, so that its end reaches them at once.

    Attributes:
        verbs: the only words it grants (see `words_of`); None: all that the role may.
        devices: the only ids it may act on; None: all.
        sees: it may read the house.
        login: a person proved a password for it.
        ended: it was revoked or is over; nothing is let through any more.
        on_end: called once when it ends, such as to close a live feed.
    """

    verbs: frozenset[str] | None = None
    devices: frozenset[str] | None = None
    sees: bool = True
    login: bool = False
    ended: bool = False
    on_end: list[Callable[[], None]] = field(default_factory=list)

    def end(self) -> None:
        """Let nobody act with it any more. Safe to call twice."""
        self.ended = True
        told, self.on_end = self.on_end, []
        for tell in told:
            tell()


@dataclass(frozen=True, slots=True)
class Person:
    """Who asks: a name for journals, the role that name has here, and what it came in with.

    `shows` None: a house without accounts, where whoever sits at the machine may act. `fresh`: it proved a password
    a short while ago. `source`: where it asks from, such as "127.0.0.1 http", for the journal.
    """

    name: str
    role: Role
    shows: Pass | None = None
    fresh: bool = field(default=False, compare=False)
    source: str = field(default="", compare=False)

    @property
    def sees(self) -> bool:
        """May it read the house?"""
        return self.shows is None or (self.shows.sees and not self.shows.ended)


NOBODY: Final = Person("", Role.VIEWER, Pass(frozenset(), frozenset(), sees=False))  # came in with nothing


def may_read(person: Person, kind: str, who: str) -> bool:
    """May this person read this line of the journal?

    Who logged in, who was refused what and which tokens there are ("access") is an engineer's to know, and everybody
    knows what was said to themselves. In a house without accounts whoever sits at the machine reads all.
    """
    return kind != PRIVATE or person.shows is None or person.role is Role.ENGINEER or who == person.name


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


class Holding(Protocol):
    """Who holds the desk, as far as letting asks through goes."""

    def admit(self, person: Person, words: Collection[str], take: int | None = None) -> None:
        """Raises RefusedError, code "held": somebody else holds the desk."""

    def sure(self, person: Person, ask: Ask) -> None:
        """Raises RefusedError, code "confirm": it ends another's take, and that was not shown before."""


_ENDS: Final = {"source": "route", "shows": "route", "level": "level", "muted": "mute"}


def words_of(ask: Ask) -> tuple[str, ...]:
    """The words that grant an ask, its own verb last: ("route", "set") for a Set of a router's output."""
    verb = ask.verb
    if not isinstance(verb, Set):
        return (verb.spec.name,)
    if ask.target == "takes":
        return ("slate", "set")
    word = _ENDS.get(verb.point.name.rpartition(".")[2])
    if isinstance(verb, Stay):
        return (word, "stay") if word else ("stay",)
    return (word, "set") if word else ("set",)


def allowed(person: Person, words: Collection[str], target: str = "") -> None:
    """Let an act pass by role and token, or say why not. Every act of every door comes through here.

    Args:
        person: who asks.
        words: what grants it; one of them is enough.
        target: the device or part that is acted on; empty or "takes": none of its own.

    Raises:
        RefusedError: code "token" (it has ended) or "role".
    """
    shows = person.shows
    if shows is not None and shows.ended:
        raise RefusedError(f"The token of {person.name} has ended.", remedy="Log in again.", code="token")
    if person.role is Role.VIEWER:
        raise RefusedError(f"{person.name or 'Nobody'} may only watch.", remedy="Ask an operator.", code="role")
    if shows is None:
        return
    if shows.verbs is not None and shows.verbs.isdisjoint(words):
        may_do = ", ".join(sorted(shows.verbs)) or "nothing"
        raise RefusedError(
            f"{person.name} may not {next(iter(words))} here, only {may_do}.", remedy="Ask an engineer.", code="role"
        )
    if shows.devices is not None and target not in ("", "takes") and target not in shows.devices:
        raise RefusedError(f"{person.name} may not act on {target}.", remedy="Ask an engineer.", code="role")


def may(
    person: Person, ask: Ask, locks: Collection[Lock], limits: Collection[Limit] = (), desk: Holding | None = None
) -> None:
    """Let an ask pass, or say why not.

    Raises:
        RefusedError: code "token", "role", "held", "locked", "limit" or "confirm"; no byte was sent.
    """
    verb = ask.verb
    allowed(person, words_of(ask), ask.target)
    if Flags.ERASES in verb.flags():
        _erases(person, ask)
    if desk is not None and not ask.inlet.startswith("scene"):  # a scene was let through when it was started
        desk.admit(person, words_of(ask), getattr(verb, "take", None) if Flags.ENDS_TAKE in verb.flags() else None)
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
    if isinstance(verb, Set) and not isinstance(verb, Stay):  # where it has got to, it was let
        for limit in limits:
            leaf = next(limit.bound.leaves())
            if (
                limit.device == ask.target
                and leaf.spec.name == verb.point.name
                and compare(leaf, verb.value) is not YES
            ):
                raise RefusedError(f"The site keeps {limit.device} {leaf.say()}.", code="limit")
    if desk is not None:
        desk.sure(person, ask)


def proved(person: Person) -> None:
    """Let an engineer's act pass who proved the password a short while ago. Raises RefusedError, code "fresh"."""
    if not person.fresh:
        raise RefusedError(
            f"This asks for a password proved within {FRESH_S / 60:.0f} minutes; this login is older.",
            remedy=f"Log in again: stagectl login {person.name}",
            code="fresh",
        )


def _erases(person: Person, ask: Ask) -> None:
    """Erasing asks for an engineer who proved it with a password. Raises RefusedError."""
    if person.role is not Role.ENGINEER:
        raise RefusedError("Only an engineer may erase a medium.", remedy="Ask an engineer.", code="role")
    if person.shows is None or not person.shows.login:
        raise RefusedError(
            "Only an engineer who has logged in may erase a medium.",
            remedy="Make an account: stagectl people add. Then: stagectl login",
            code="role",
        )
    if ask.inlet.startswith("scene"):
        raise RefusedError("A scene never erases a medium.", code="role")
    proved(person)
