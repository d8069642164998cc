"""What differs from a set-up, and in which order will it be put right? Nothing is sent.

The asks of an apply are those of its plan: what people are shown is what is done.
"""

from collections.abc import Callable, Container, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from stagectl.control.access import Person
from stagectl.model.capabilities.recorder import TRANSPORT, Transport
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.conditions import NO, UNKNOWN, YES, Condition, Leaf, Truth, every, same
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ask, Set
from stagectl.shoot.order import SPAN, Stage, staged, together
from stagectl.shoot.paths import Paths
from stagectl.shoot.routes.words import Route
from stagectl.shoot.setups.setup import Pair, Setup, Wanted
from stagectl.shoot.setups.ways import NO_WAY, picture_of, solved
from stagectl.shoot.wording import reason

if TYPE_CHECKING:
    from stagectl.shoot.house import House

Chosen = Callable[[Pair], bool]


@dataclass(slots=True)
class Row:
    """One wanted value.

    Attributes:
        truth: yes: it is so. Unknown: not read, stale, or a box that can't report.
        value: seen last; None: never.
        asks: what would bring it about; empty: it is so, or it can't be set from here.
        refused, remedy: why it would be left alone now; empty: it would not.
    """

    wanted: Wanted
    truth: Truth
    value: Any
    quality: Quality
    asks: list[Ask] = field(default_factory=list)
    refused: str = ""
    remedy: str = ""

    @property
    def verb(self) -> Set[Any]:
        """What puts it right."""
        return Set(self.wanted.spec, self.wanted.value)

    @property
    def by_hand(self) -> bool:
        """It is not as wanted, and can't be set from here."""
        return self.truth is not YES and not self.wanted.spec.settable

    @property
    def stage(self) -> int:
        """The number of its first stage; beyond all others, if nothing is asked."""
        return min((ask.stage for ask in self.asks), default=len(Stage) * SPAN)

    @property
    def phase(self) -> Stage | None:
        """What it goes out with; None: nothing is asked."""
        return Stage(self.stage // SPAN) if self.asks else None


@dataclass(slots=True)
class Plan:
    """A set-up beside what is so. `rows`: in the order in which they are put right; what is right already is last."""

    setup: Setup
    rows: list[Row]

    def of(self, truth: Truth) -> list[Row]:
        """The rows that are so, differ, or can't be told."""
        return [row for row in self.rows if row.truth is truth]

    @property
    def to_do(self) -> list[Row]:
        """What an apply asks for, also where it would be refused."""
        return [row for row in self.rows if row.asks]

    def asks(self, parts: Container[str]) -> list[Ask]:
        """What an apply asks for, as one group in stages."""
        return together([ask for row in self.to_do for ask in row.asks], parts)


def plan(
    house: "House", setup: Setup, ask: Ask, *, chosen: Chosen = lambda pair: True, person: Person | None = None
) -> Plan:
    """Compare, and find what would put the difference right.

    Args:
        house: what is so.
        setup: what is wanted.
        ask: whose id, asker and door the asks get.
        chosen: which of the wants are meant.
        person: also say what would be refused to this person now.

    Raises:
        RefusedError: the set-up wants two things of one point, code "contradicts".
    """
    rows = [seen(house, wanted) for pair, wanted in setup.wants.items() if chosen(pair)]
    planner = Planner(house, ask)
    to_do = [row for row in rows if row.truth is not YES and row.wanted.spec.settable]
    for row, asks in zip(to_do, planner.all_of([(row.wanted.device, row.verb) for row in to_do]), strict=True):
        row.asks = asks
    if person is not None:
        _foresee(house, rows, person)
    rows.sort(key=lambda row: (row.truth is YES, row.stage))
    return Plan(setup, rows)


def seen(house: "House", wanted: Wanted) -> Row:
    """A wanted value beside what is read now."""
    reading = house.board.reading(wanted.device, wanted.spec)
    if reading.quality is not Quality.GOOD:
        return Row(wanted, UNKNOWN, reading.value, reading.quality)
    return Row(wanted, YES if same(wanted.spec, reading.value, wanted.value) else NO, reading.value, reading.quality)


class Planner:
    """Makes asks that may go out together: ways one after another, nothing asked of one point twice."""

    def __init__(self, house: "House", ask: Ask) -> None:
        self._house = house
        self._ask = ask
        places = house.site.pictures.all_destinations()
        self._recorders = {
            port: name for name, ports in places.items() if name in house.takes.recorders for port in ports.values()
        }
        self._wanted: dict[Pair, tuple[Any, str]] = {}

    def all_of(self, sets: Sequence[tuple[str, Set[Any]]]) -> list[list[Ask]]:
        """What brings about each of these, of a device or part each.

        Raises:
            RefusedError: two things are wanted of one point, code "contradicts".
        """
        found: list[list[Ask]] = [[] for _ in sets]
        pictures: list[tuple[int, Route]] = []
        for place, (device, verb) in enumerate(sets):
            if (picture := picture_of(self._house, device, verb)) is not None:
                pictures.append((place, picture))
            else:
                found[place] = self.asks(device, verb)
        before = dict(self._wanted)
        with self._trial():
            for place, _ in pictures:
                found[place] = self.asks(*sets[place])
        lost = [found[place] for place, _ in pictures if _finds_no_way(found[place])]
        if not lost:
            return found
        ways = solved(self._house, self._ask, [picture for _, picture in pictures])
        if ways is None or sum(map(_finds_no_way, ways)) >= len(lost):
            return found
        self._wanted = before
        for (place, _), asks in zip(pictures, ways, strict=True):
            device, verb = sets[place]
            found[place] = self._placed(asks, f"{device} {verb.point.name.replace('.', ' ')}")
        return found

    @contextmanager
    def _trial(self) -> Iterator[None]:
        """Inside, a way that was planned is taken for the next one. Await nothing inside."""
        paths = self._house.parts.get("paths")
        if not isinstance(paths, Paths):
            yield
            return
        with paths.trial():
            yield

    def asks(self, device: str, verb: Set[Any]) -> list[Ask]:
        """What brings one point to a value, with its stages; what can't be done now is an ask that will be refused.

        Raises:
            RefusedError: two things are wanted of one point, code "contradicts".
        """
        house, ask = self._house, self._ask
        own = Ask(ask.id, ask.who, ask.inlet, device, verb, confirm=ask.confirm)
        try:
            spread = house.spread(own)
        except RefusedError as refused:
            return [replace(own, stage=Stage.BOXES * SPAN, cannot=refused)]
        for one in spread:
            if one.target == "paths":
                house.parts["paths"].act(one.verb)
        return self._placed(spread, f"{device} {verb.point.name.replace('.', ' ')}")

    def _placed(self, asks: Sequence[Ask], say: str) -> list[Ask]:
        """The same in their stages, if nothing else is wanted of their points. Raises RefusedError."""
        for one in asks:
            self._once(one, say)
        return staged([self._spare(one) for one in asks], self._house.parts, self._house.board)

    def _once(self, ask: Ask, say: str) -> None:
        if not isinstance(ask.verb, Set):
            return
        value, other = self._wanted.setdefault((ask.target, ask.verb.point.name), (ask.verb.value, say))
        if value != ask.verb.value:
            point = f"{ask.target} {ask.verb.point.name.replace('.', ' ')}"
            raise RefusedError(
                f"{other} and {say} want different things of {point}.",
                remedy="Take one of them out.",
                code="contradicts",
            )

    def _spare(self, ask: Ask) -> Ask:
        """A recorder that rolls keeps its picture: asked again when it is to go out, for a roll may come in between."""
        verb = ask.verb
        if not isinstance(verb, Set) or verb.point.template != OUTPUT_SOURCE.name:
            return ask
        recorder = self._recorders.get((ask.target, int(verb.point.name.split(".")[1])))
        if recorder is None:
            return ask
        rests: Condition = Leaf(TRANSPORT, "is not", (Transport.RECORDING,), recorder)
        needs = rests if verb.point.needs is None else every(verb.point.needs, rests)
        return replace(ask, verb=Set(replace(verb.point, needs=needs), verb.value))


def _finds_no_way(asks: Sequence[Ask]) -> bool:
    return asks[0].cannot is not None and asks[0].cannot.code == NO_WAY


def _foresee(house: "House", rows: Sequence[Row], person: Person) -> None:
    """Say of each row what would be refused now; if sound can't come down, of all that comes after it."""
    silent = ""
    for row in rows:
        for ask in row.asks:
            refused = ask.cannot or house.commands.foresee(person, ask)
            if refused is not None:
                told = {"why": str(refused), "code": refused.code, "remedy": refused.remedy}
                row.refused, row.remedy = reason(verb=ask.verb.spec.name, **told)
                break
        if row.refused and row.asks and row.phase is Stage.DOWN:
            silent = silent or row.wanted.say
    for row in rows:
        if silent and row.asks and not row.refused and row.phase is not Stage.DOWN:
            row.refused = f"{silent} has to come first and can't"
            row.remedy = "Put that right first, or apply a part: --only"
