"""What can be known: one observed value of one device, with its unit, its age and its doubt.

Text form of a point in sentences is "hall output 3 source", in URLs and topics "hall/output.3.source". Indexes
count from one, as people do. Units stand in the spec, never in the name.
"""

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from enum import Enum, Flag, StrEnum, auto
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Generic, Literal, TypeVar

from stagectl.model.errors import RefusedError

if TYPE_CHECKING:
    from stagectl.model.conditions import Condition

Value = bool | int | float | str
Level = float | Literal["off"]  # dB; minus infinity is the word "off", so that it is never averaged or divided
T = TypeVar("T")


class Quality(StrEnum):
    """How far a value may be believed."""

    GOOD = "good"
    STALE = "stale"  # older than its promise; the last value is kept
    UNKNOWN = "unknown"  # never read, or a code we don't know; the raw text is kept
    ASKED = "asked"  # what we sent to a box that can't be read back


class Unit(StrEnum):
    """The closed list of units of all kinds of box; ratios instead of percent."""

    NONE = ""
    S = "s"
    MS = "ms"
    DB = "dB"
    FRAMES = "frames"
    BYTES = "bytes"
    DEG = "deg"
    M = "m"
    RATIO = "ratio"
    HZ = "Hz"
    BYTES_PER_S = "bytes/s"


class Flags(Flag):
    """What a verb or a settable point does to the room, or asks of the command path."""

    NONE = 0
    FIRST = auto()  # right of way; the journal's sync is awaited after sending
    ENDS_TAKE = auto()  # must name the take it ends
    MOVES = auto()
    HEATS = auto()
    LOUD = auto()
    FLASHES = auto()
    ERASES = auto()  # engineer, two steps; never from a scene or an inlet
    QUIET = auto()  # no journal line each
    FAST = auto()  # point: no journal, no MQTT unless asked
    ACT = auto()  # point: a change of it is somebody's act, so it is said whose


@dataclass(frozen=True, slots=True)
class PointSpec(Generic[T]):
    """What is promised of one point of a kind of box; a typed key for the board.

    Attributes:
        name: "strip.{strip}.level", or "strip.5.level" once `at` has filled it.
        type: bool, int, float, str or a StrEnum.
        unit: of the value; value and unit travel together.
        low, high: refusal outside; a driver or the site's limits may only narrow.
        tolerance: "is" means within this, in the unit: boxes round.
        moves_s: a running value changes at least this often; 0: `advances` is not asked of it.
        words: further words the value may be, such as "off" of a level.
        needs: must be yes before a Set.
        deadline_s: how long a Set may take until it is judged.
        hold_s: how long the effect must be seen.
        ramp_per_s: greatest change upwards a second, in the unit; 0: none asked.
        template: the name before `at`; empty if it has no index.
    """

    name: str
    type: type[Any]
    unit: Unit = Unit.NONE
    low: float | None = None
    high: float | None = None
    tolerance: float = 0
    moves_s: float = 0
    words: tuple[str, ...] = ()
    settable: bool = False
    needs: "Condition | None" = None
    deadline_s: float = 1
    hold_s: float = 0
    ramp_per_s: float = 0
    flags: Flags = Flags.NONE
    template: str = ""

    def at(self, *index: int | str) -> "PointSpec[T]":
        """The point of one index: `LEVEL.at(5)` is "strip.5.level". Raises ValueError: wrong count of indexes."""
        return _filled(self, index)

    def __hash__(self) -> int:
        return hash(self.name)

    @property
    def words_of(self) -> tuple[str, ...]:
        """Every word the value may be; empty for numbers and free text."""
        if issubclass(self.type, Enum):
            return (*(str(member.value) for member in self.type), *self.words)
        return ("yes", "no") if self.type is bool else self.words

    def check(self, value: object) -> T:
        """Return `value` in the point's type, or refuse it.

        Raises:
            RefusedError: wrong type, word, or out of range; the sentence names what is allowed.
        """
        where = self.name.replace(".", " ")
        if isinstance(value, str) and value in self.words:
            return value  # type: ignore[return-value]
        if issubclass(self.type, Enum):
            try:
                return self.type(value)  # type: ignore[return-value]
            except ValueError:
                allowed = ", ".join(self.words_of)
                raise RefusedError(f'{where} can\'t be "{value}": it is one of {allowed}.', code="value") from None
        if self.type is bool:
            if isinstance(value, bool):
                return value  # type: ignore[return-value]
            raise RefusedError(f"{where} is yes or no, not {value!r}.", code="value")
        if self.type is str:
            if isinstance(value, str):
                if any(ord(char) < 32 or ord(char) == 127 for char in value):
                    raise RefusedError(f"{where} can't hold control characters or line ends.", code="value")
                return value  # type: ignore[return-value]
            raise RefusedError(f"{where} is text, not {value!r}.", code="value")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            also = f" or {' or '.join(self.words)}" if self.words else ""
            raise RefusedError(f"{where} is a number{also}, not {value!r}.", code="value")
        if self.type is int and value != int(value):
            raise RefusedError(f"{where} is a whole number, not {value!r}.", code="value")
        if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
            span = f"{_number(self.low)} to {_number(self.high)} {self.unit}".rstrip()
            raise RefusedError(f"{where} can't be {_number(value)}: it goes from {span}.", code="range")
        return self.type(value)  # type: ignore[no-any-return]

    def read(self, text: str) -> T:
        """Read a value as people write it: "yes", "-12 dB", "1080p25". Raises RefusedError like `check`."""
        bare = text.strip()
        if self.type is bool:
            if bare not in ("yes", "no"):
                raise RefusedError(f"{self.name.replace('.', ' ')} is yes or no, not {bare!r}.", code="value")
            return bare == "yes"  # type: ignore[return-value]
        if self.type in (int, float) and bare not in self.words:
            number, _, unit = bare.partition(" ")
            if unit and unit.strip() != self.unit:
                want = self.unit or "no unit"
                raise RefusedError(f"{self.name.replace('.', ' ')} is in {want}, not in {unit.strip()}.", code="unit")
            try:
                return self.check(float(number.replace("\u2212", "-")))
            except ValueError:
                return self.check(bare)
        return self.check(bare)

    def say(self, value: object) -> str:
        """Write a value as people read it, with its unit."""
        if value is None:
            return "not known"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, float) or (isinstance(value, int) and self.unit):
            unit = f" {self.unit}" if self.unit else ""
            return f"{_number(value)}{unit}"
        return str(value)

    # Python twins of the sentences; `stagectl.model.conditions` holds what they mean.
    def is_(self, value: T) -> "Condition":
        """The point is `value`, within its tolerance."""
        return _leaf(self, "is", (value,))

    def is_not(self, value: T) -> "Condition":
        """The point is something known, but not `value`."""
        return _leaf(self, "is not", (value,))

    def one_of(self, *values: T) -> "Condition":
        """The point is one of `values`."""
        return _leaf(self, "is one of", values)

    def at_least(self, value: float) -> "Condition":
        """The number is `value` or more."""
        return _leaf(self, "at least", (value,))

    def at_most(self, value: float) -> "Condition":
        """The number is `value` or less; "off" is less than any level."""
        return _leaf(self, "at most", (value,))

    def advances(self) -> "Condition":
        """The value changed in two looks, the last one just now."""
        return _leaf(self, "advances", ())

    def stands(self) -> "Condition":
        """The value was read again, later than `moves_s`, and had not changed."""
        return _leaf(self, "stands", ())

    def changed(self) -> "Condition":
        """The value differs from what it was when the watch began."""
        return _leaf(self, "changed", ())

    def known(self) -> "Condition":
        """The value is good."""
        return _leaf(self, "is known", ())


@lru_cache(maxsize=65536)  # a thousand boxes of one kind share their specs
def _filled(spec: PointSpec[Any], index: tuple[int | str, ...]) -> PointSpec[Any]:
    name = spec.name
    for one in index:
        head, _, rest = name.partition("{")
        _, end, tail = rest.partition("}")
        if not end:
            raise ValueError(f"{spec.name} takes {spec.name.count('{')} indexes, not {len(index)}.")
        name = f"{head}{one}{tail}"
    if "{" in name:
        raise ValueError(f"{spec.name} takes {spec.name.count('{')} indexes, not {len(index)}.")
    return replace(spec, name=name, template=spec.name)


def _leaf(spec: PointSpec[Any], says: str, values: tuple[Any, ...]) -> "Condition":
    from stagectl.model.conditions import Leaf  # noqa: PLC0415 - the two modules name each other; conditions is the outer one

    return Leaf(spec, says, values)


def _number(value: float | None) -> str:
    """People's form of a number: no needless ".0", a true minus sign is left to the page."""
    if value is None:
        return "any"
    text = f"{value:.3f}"
    return text.rstrip("0").rstrip(".")


NEVER: Final = -math.inf


@dataclass(slots=True, eq=False)
class Reading(Generic[T]):
    """What the board knows of one point now. Live: the board's own object; copy what you must keep.

    Attributes:
        raw: as the driver had it; kept when it can't be read.
        asked_at: when the question was sent that this answers; a notice counts from its arrival. Seconds of `Clock`.
        read_at: when it arrived. (asked_at, read_at) is the interval that holds the device's own moment.
        changed_at: when the value last became another one.
        changes: how often it has.
        rev: the board's revision at the last change of value or quality.
        by: whose act the last change was: "" not known or nobody's, "box" someone at the box, else a person's name.
        blind: the box can't report it, ever.
        age_s: it is stale after this; 0: kept by notices, as fresh as its link.
        signed: whose act a change was is asked and kept.
    """

    device: str
    spec: PointSpec[T]
    value: T | None = None
    quality: Quality = Quality.UNKNOWN
    raw: object = None
    asked_at: float = NEVER
    read_at: float = NEVER
    changed_at: float = NEVER
    changes: int = 0
    rev: int = 0
    by: str = ""
    declared: bool = False
    blind: bool = False
    age_s: float = 0
    signed: bool = False
    watches: "tuple[Poked, ...]" = ()  # told of every put; tuples, for most points have none, and a list each weighs
    turns: "tuple[Poked, ...]" = ()  # told when value or quality becomes another one; most points have none
    lazies: "tuple[Settling, ...]" = ()  # told later, all at once: see `Board.later`

    @property
    def name(self) -> str:
        return self.spec.name


class Poked:
    """Something that wants to know of every put to a point (conditions' watches)."""

    __slots__ = ()

    poke: Callable[[Reading[Any]], None]


class Ear(Poked):
    """Hands what it hears on to a function; one does for all the readings that a part listens to."""

    __slots__ = ("poke",)

    def __init__(self, tell: Callable[[Reading[Any]], None]) -> None:
        self.poke = tell


class Settling:
    """Something that judges anew some time after a put (conditions' lazy watches)."""

    __slots__ = ()

    def settle(self) -> None:
        raise AssertionError("made by subclasses")


Names = Collection[str]
Author = Callable[[Reading[Any]], str]
