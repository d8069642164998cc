"""When does something hold: yes, no or not known, over points and with time?

One evaluator for verdicts, line-up, set-ups, alarms and scenes, so that they share one set of edge cases. A
condition is plain data; `judge` looks once, a `Watch` follows it and keeps the little state that time needs.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, ClassVar, Final

from stagectl.model.points import NEVER, PointSpec, Poked, Quality, Reading, Settling

if TYPE_CHECKING:
    from stagectl.model.board import Board
    from stagectl.model.world import Clock, Handle


class Truth(StrEnum):
    """Unknown covers stale, never read, and only asked."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


YES: Final = Truth.YES
NO: Final = Truth.NO
UNKNOWN: Final = Truth.UNKNOWN
_MOVES: Final = ("advances", "stands", "changed")  # claims about what a value was and becomes
_FOREVER: Final = -NEVER


class Condition:
    """Base; frozen, comparable, without state. `device` None in a leaf means "the ask's target"."""

    __slots__ = ()

    def leaves(self) -> "Iterator[Leaf]":
        raise AssertionError("made by subclasses")

    def on(self, device: str) -> "Condition":
        """The same with every open target filled in."""
        raise AssertionError("made by subclasses")

    def say(self) -> str:
        """One clause: "transport is recording and timecode advances"."""
        raise AssertionError("made by subclasses")

    def lasting(self, seconds: float) -> "Condition":
        """Yes only once it has held for `seconds`."""
        return Lasts(self, seconds)


@dataclass(frozen=True, slots=True)
class Leaf(Condition):
    """One claim about one point. `says` is one of SAYS."""

    spec: PointSpec[Any]
    says: str
    values: tuple[Any, ...] = ()
    device: str | None = None

    def leaves(self) -> "Iterator[Leaf]":
        yield self

    def on(self, device: str) -> "Leaf":
        return self if self.device is not None else Leaf(self.spec, self.says, self.values, device)

    def say(self) -> str:
        where = self.spec.name.replace(".", " ")
        who = f"{self.device} " if self.device else ""
        return f"{who}{where} {self.says} {', '.join(self.spec.say(value) for value in self.values)}".rstrip()


SAYS: Final = ("is", "is not", "is one of", "at least", "at most", "advances", "stands", "changed", "is known")


@dataclass(frozen=True, slots=True)
class All(Condition):
    """Every part; of no parts: yes."""

    parts: tuple[Condition, ...] = ()

    def leaves(self) -> Iterator[Leaf]:
        for part in self.parts:
            yield from part.leaves()

    def on(self, device: str) -> "All":
        return All(tuple(part.on(device) for part in self.parts))

    def say(self) -> str:
        return " and ".join(part.say() for part in self.parts)


@dataclass(frozen=True, slots=True)
class AnyOf(Condition):
    """At least one part."""

    parts: tuple[Condition, ...]

    def leaves(self) -> Iterator[Leaf]:
        for part in self.parts:
            yield from part.leaves()

    def on(self, device: str) -> "AnyOf":
        return AnyOf(tuple(part.on(device) for part in self.parts))

    def say(self) -> str:
        return " or ".join(part.say() for part in self.parts)


@dataclass(frozen=True, slots=True)
class Not(Condition):
    """The opposite; unknown stays unknown."""

    part: Condition

    def leaves(self) -> Iterator[Leaf]:
        yield from self.part.leaves()

    def on(self, device: str) -> "Not":
        return Not(self.part.on(device))

    def say(self) -> str:
        return f"not ({self.part.say()})"


@dataclass(frozen=True, slots=True)
class Lasts(Condition):
    """Yes once `part` has been yes without a break for `seconds`; not known before, no when it is no."""

    part: Condition
    seconds: float

    def leaves(self) -> Iterator[Leaf]:
        yield from self.part.leaves()

    def on(self, device: str) -> "Lasts":
        return Lasts(self.part.on(device), self.seconds)

    def say(self) -> str:
        return f"{self.part.say()} for {self.seconds:g} s"


ALWAYS: Final = All()


def every(*parts: Condition) -> Condition:
    """All of `parts`."""
    return parts[0] if len(parts) == 1 else All(parts)


def some(*parts: Condition) -> Condition:
    """Any of `parts`."""
    return parts[0] if len(parts) == 1 else AnyOf(parts)


def number_of(value: Any) -> float | None:
    """A number to compare; the word "off" is below any level."""
    if isinstance(value, bool):
        return None
    if isinstance(value, (int, float)):
        return value
    return NEVER if value == "off" else None


def same(spec: PointSpec[Any], seen: Any, wanted: Any) -> bool:
    """Is `seen` the value `wanted`, within the point's tolerance? A word is never near a number."""
    if spec.tolerance and not isinstance(seen, str) and not isinstance(wanted, str):
        return bool(abs(seen - wanted) <= spec.tolerance + 1e-9)  # -12.3 is within 0.3 of -12.0, as people count
    return bool(seen == wanted)


def compare(leaf: Leaf, value: Any) -> Truth:
    """Judge a claim that needs no time against one good value."""
    spec, says, values = leaf.spec, leaf.says, leaf.values
    if says == "is":
        return YES if same(spec, value, values[0]) else NO
    if says == "is not":
        return NO if same(spec, value, values[0]) else YES
    if says == "is one of":
        return YES if any(same(spec, value, one) for one in values) else NO
    if says == "is known":
        return YES
    if says in ("at least", "at most"):
        seen, bound = number_of(value), number_of(values[0])
        if seen is None or bound is None:
            return UNKNOWN
        return YES if (seen >= bound if says == "at least" else seen <= bound) else NO
    return UNKNOWN  # claims about time need a watch


def both(truths: Iterable[Truth]) -> Truth:
    """And: no beats unknown beats yes."""
    seen = YES
    for truth in truths:
        if truth is NO:
            return NO
        if truth is UNKNOWN:
            seen = UNKNOWN
    return seen


def judge(board: "Board", condition: Condition, device: str = "", *, since: float = NEVER) -> Truth:
    """Look once, without waiting; a claim about time is unknown."""
    match condition:
        case Leaf():
            reading = board.reading(condition.device or device, condition.spec)
            if reading.quality is not Quality.GOOD or reading.asked_at <= since:
                return UNKNOWN
            return compare(condition, reading.value)
        case All():
            return both(judge(board, part, device, since=since) for part in condition.parts)
        case AnyOf():
            return _either(judge(board, part, device, since=since) for part in condition.parts)
        case Not():
            return _opposite(judge(board, condition.part, device, since=since))
        case Lasts():
            return UNKNOWN if (truth := judge(board, condition.part, device, since=since)) is YES else truth
    raise TypeError(f"no such condition: {condition!r}")


def _either(truths: Iterable[Truth]) -> Truth:
    seen = NO
    for truth in truths:
        if truth is YES:
            return YES
        if truth is UNKNOWN:
            seen = UNKNOWN
    return seen


def _opposite(truth: Truth) -> Truth:
    return UNKNOWN if truth is UNKNOWN else (NO if truth is YES else YES)


class _Seen:
    """One leaf being followed, of a value as it is."""

    __slots__ = ("advances", "leaf", "reading", "rev", "told", "truth")
    moves: ClassVar[bool] = False

    def __init__(self, leaf: Leaf, reading: Reading[Any]) -> None:
        self.leaf = leaf
        self.advances = leaf.says == "advances"
        self.reading = reading
        self.rev = -1  # of the reading when `told` was compared
        self.told = UNKNOWN
        self.truth = UNKNOWN

    def begin(self, since: float) -> None:
        reading = self.reading
        self.truth = UNKNOWN
        if reading.quality is Quality.GOOD and reading.asked_at > since:
            self.truth = compare(self.leaf, reading.value)

    def resume(self, since: float) -> None:
        """Begin where it was left alone for a while."""
        self.begin(since)

    def heard(self, since: float) -> None:
        """Judge anew after a put. A reading that was asked for before `since` is no evidence."""
        reading = self.reading
        if reading.quality is not Quality.GOOD:
            self.truth = UNKNOWN
        elif reading.asked_at > since:
            if reading.rev != self.rev:  # most puts bring the value that stands
                self.rev = reading.rev
                self.told = compare(self.leaf, reading.value)
            self.truth = self.told


class _Moving(_Seen):
    """One leaf being followed, of a value as it was and becomes."""

    __slots__ = ("base", "changes", "last_change")
    moves: ClassVar[bool] = True

    def begin(self, since: float) -> None:
        reading = self.reading
        self.base: Any = reading.value if reading.quality in (Quality.GOOD, Quality.STALE) else None
        self.changes = 0
        self.last_change = NEVER
        self.truth = UNKNOWN
        if reading.quality is Quality.GOOD and reading.asked_at > since:
            self.truth = NO if self.leaf.says == "changed" else compare(self.leaf, reading.value)

    def heard(self, since: float) -> None:
        reading = self.reading
        if reading.quality is not Quality.GOOD:
            self.truth = UNKNOWN
        elif reading.asked_at <= since:
            return
        elif self.leaf.says == "changed":
            if self.base is None:
                self.base = reading.value
            self.truth = YES if reading.value != self.base else NO
        else:
            self._moved(reading, self.leaf.says)

    def resume(self, since: float) -> None:
        """The board knows when it changed last: it stands since then, or it moves."""
        self.begin(since)
        self.heard(since)
        if self.leaf.says == "stands" and self.truth is UNKNOWN and self.reading.quality is Quality.GOOD:
            self.truth = NO

    def _moved(self, reading: Reading[Any], says: str) -> None:
        if self.base is not None and reading.value != self.base:
            self.changes += 1
            self.last_change = reading.read_at
            if says == "stands":
                self.truth = NO
            elif self.changes >= 2:
                self.truth = YES
        elif self.base is None:
            self.last_change = reading.read_at
        elif reading.asked_at - max(self.last_change, reading.changed_at) > self.leaf.spec.moves_s:
            # asked later than the value may stand while it runs, and it was still the same
            self.truth = YES if says == "stands" else NO
            self.changes = 0
        self.base = reading.value

    def begin_anew(self) -> None:
        """What moved before is no evidence any more."""
        self.changes = 0
        if self.truth is YES:
            self.truth = UNKNOWN


class Watch(Poked, Settling):
    """A condition being followed. Tells its truth at `attach` and whenever it changes, until `detach`."""

    __slots__ = (
        *("_board", "_clock", "_due", "_flat", "_gate", "_lazy", "_on", "_seen", "_shut", "_tell", "_timer"),
        *("_marks", "_together", "_truth", "_yes_since", "condition", "since"),
    )

    def __init__(
        self,
        board: "Board",
        clock: "Clock",
        condition: Condition,
        tell: Callable[[Truth], None],
        device: str,
        *,
        lazy: bool = False,
    ) -> None:
        self._board = board
        self._clock = clock
        self._lazy = lazy
        self._marks = False  # a put only marks it: all it claims follows from the reading as it then is
        self.condition = condition  # shared by all devices of a kind: a copy each would weigh more than the watch
        self._tell = tell
        found = {id(leaf): leaf for leaf in condition.leaves()}
        self._seen = tuple(
            (_Moving if leaf.says in _MOVES else _Seen)(leaf, board.reading(leaf.device or device, leaf.spec))
            for leaf in found.values()
        )
        self._marks = lazy and all(seen.leaf.says not in ("advances", "changed") for seen in self._seen)
        parts = self.condition.parts if isinstance(self.condition, All) else (self.condition,)
        self._flat = all(isinstance(part, Leaf) for part in parts)  # the usual effect: all of a few leaves
        self._together = self._flat and len(parts) > 1 and any(seen.leaf.says == "advances" for seen in self._seen)
        # of a lazy one whose claims must all hold: while this one does not, nothing hangs on the others
        self._gate = self._first_plain(parts) if self._marks and isinstance(self.condition, All) else None
        self._shut = True  # the gate does not hold, and the other leaves are not followed
        self._yes_since: dict[int, float] | None = None  # made when a part must last
        self._timer: Handle | None = None
        self._due = _FOREVER  # when the next part that must last will have lasted
        self._on = False
        self.since = NEVER
        self._truth = UNKNOWN

    def _first_plain(self, parts: Sequence[Condition]) -> _Seen | None:
        return next((seen for seen in self._seen if not seen.moves and any(seen.leaf is part for part in parts)), None)

    @property
    def truth(self) -> Truth:
        """What it shows now; a lazy one judges first what has turned."""
        if self._lazy and (not self._marks or any(self._board.deferred(seen.reading) for seen in self._seen)):
            self.settle()
        return self._truth

    def attach(self, since: float = NEVER) -> None:
        """Begin; only readings asked for after `since` count. Tells at once."""
        self.since = since
        self._on = self._shut = True
        self._yes_since = None
        for seen in self._seen:
            seen.begin(since)
            if self._gate is None or seen is self._gate:
                self._follow(seen)
        self._follow_rest()
        self._truth = self._look()
        self._tell(self._truth)

    def detach(self) -> None:
        """End; safe to call twice."""
        self._on = False
        for seen in self._seen:
            self._leave(seen)
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _follow(self, seen: _Seen) -> None:
        """Be told of this leaf's reading."""
        reading, told = seen.reading, self._board.later if self._marks else self
        if self._marks:
            if self not in reading.lazies:
                reading.lazies = (*reading.lazies, self)
        elif self in reading.watches or self in reading.turns:
            return
        # a value that stands can only be news to who waits for evidence, or for movement
        if self.since > NEVER or seen.moves:
            if told not in reading.watches:
                reading.watches = (*reading.watches, told)
        elif told not in reading.turns:
            reading.turns = (*reading.turns, told)

    def _leave(self, seen: _Seen) -> None:
        reading, told = seen.reading, self._board.later if self._marks else self
        if self._marks:
            if self in reading.lazies:
                reading.lazies = tuple([watch for watch in reading.lazies if watch is not self])
            if reading.lazies:
                return
        if told in reading.watches:
            reading.watches = tuple([watch for watch in reading.watches if watch is not told])
        if told in reading.turns:
            reading.turns = tuple([watch for watch in reading.turns if watch is not told])

    def _follow_rest(self) -> None:
        """While its gate is shut nothing hangs on the other leaves: a timecode at rest is told many times a second."""
        gate = self._gate
        shut = gate is not None and gate.truth is NO
        if gate is None or shut is self._shut:
            return
        self._shut = shut
        for seen in self._seen:
            if seen.reading is gate.reading:
                continue
            if shut:
                self._leave(seen)
            else:
                seen.resume(self.since)
                self._follow(seen)

    def poke(self, reading: Reading[Any]) -> None:
        if not self._on:
            return  # another watch of the same point, told before us, ended this one
        turned = False
        for seen in self._seen:
            if seen.reading is reading:
                before = seen.truth
                seen.heard(self.since)
                turned = turned or seen.truth is not before
        if self._together:
            for seen in self._seen:
                if seen.truth is NO and not seen.advances:
                    self._begin_anew()
                    break
        if turned and self._lazy:
            self._board.soon(self.settle)
        elif turned:  # what must last comes back by its timer
            self.settle()

    def _heard_all(self) -> bool:
        """Has any leaf turned, or is there a part that must last?"""
        turned = self._due != _FOREVER
        for seen in self._seen:
            before = seen.truth
            seen.heard(self.since)
            turned = turned or seen.truth is not before
        return turned

    def _begin_anew(self) -> None:
        """While a part is no, nothing counts as advancing: the timecode of a flapping deck moves now and then."""
        for seen in self._seen:
            if isinstance(seen, _Moving) and seen.leaf.says == "advances":
                seen.begin_anew()

    def missing(self) -> list[str]:
        """What is not seen yet, one clause each: "transport is stopped, wanted recording"."""
        told: list[str] = []
        for seen in self._seen:
            leaf = seen.leaf
            if seen.truth is not YES:
                where = leaf.spec.name.replace(".", " ")
                shows = f"{where} is {leaf.spec.say(seen.reading.value) or 'empty'}"
                if seen.truth is UNKNOWN:
                    told.append(f"{where} not seen")
                elif leaf.says == "is":
                    told.append(shows)
                else:
                    told.append(f"{shows}, not as wanted: {leaf.say()}")
        return told

    @property
    def blind(self) -> bool:
        """No leaf of it can ever be reported by its box."""
        return bool(self._seen) and all(seen.reading.blind for seen in self._seen)

    def settle(self) -> None:
        """Judge anew, and tell if that is another truth."""
        if not self._on:
            return
        if self._marks:
            turned = self._heard_all()
            self._follow_rest()
            if not turned:
                return
        truth = self._look()
        if truth is not self._truth:
            self._truth = truth
            self._tell(truth)

    def _look(self) -> Truth:
        """Judge the whole, and be back when the first part that must last will have lasted."""
        if self._flat:
            truth = YES  # `both`, written out: this is asked for each word of a box that rolls
            for seen in self._seen:
                if seen.truth is NO:
                    return NO
                if seen.truth is UNKNOWN:
                    truth = UNKNOWN
            return truth
        self._due = _FOREVER
        truth = self._judge(self.condition)
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._due != _FOREVER:
            self._timer = self._clock.later(self._due, self.settle)
        return truth

    def _judge(self, condition: Condition) -> Truth:
        """Judge every part, also where the first decides: what must last is followed without a break."""
        match condition:
            case Leaf():
                # by identity: hashing a leaf at every put would cost more than looking through the few there are
                for seen in self._seen:
                    if seen.leaf is condition:
                        return seen.truth
            case All():
                return both([self._judge(part) for part in condition.parts])
            case AnyOf():
                return _either([self._judge(part) for part in condition.parts])
            case Not():
                return _opposite(self._judge(condition.part))
            case Lasts():
                return self._lasts(condition)
        raise TypeError(f"no such condition: {condition!r}")

    def _lasts(self, condition: Lasts) -> Truth:
        truth, now = self._judge(condition.part), self._clock.now()
        if self._yes_since is None:
            self._yes_since = {}
        if truth is not YES:
            self._yes_since.pop(id(condition), None)
            return truth
        due = self._yes_since.setdefault(id(condition), now) + condition.seconds
        if now >= due:
            return YES
        self._due = min(self._due, due)
        return UNKNOWN
