"""Which picture does each destination show, and how does another one get there?

A house part, named "paths". What a destination shows is computed by following crosspoints back through tie-lines; a
Set of it expands to one Set for each crosspoint of the shortest way.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, ClassVar, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.conditions import Condition, every
from stagectl.model.errors import RefusedError
from stagectl.model.points import Ear, PointSpec, Quality, Reading
from stagectl.model.verbs import Ask, Set, Verb, VerbSpec, checked
from stagectl.shoot.routes.levels import Levels
from stagectl.shoot.routes.noway import NoWay
from stagectl.shoot.routes.words import Route, read_routes, written
from stagectl.shoot.wiring import Hop, NoWayError, Port, Way
from stagectl.site import VIDEO, Site, place

PLANNED_S: Final = (
    6.0  # a way that was asked for is kept free this long, until its crosspoints are seen: four stages; own choice
)

SHOWS: Final[PointSpec[str]] = PointSpec("{destination}.shows", str, settable=True, deadline_s=2)
WAY: Final[PointSpec[str]] = PointSpec("{destination}.way", str)
AT_LEVEL: Final[PointSpec[str]] = PointSpec("{destination}.{level}.shows", str, settable=True, deadline_s=2)
LEVEL_WAY: Final[PointSpec[str]] = PointSpec("{destination}.{level}.way", str)
BREAK_AWAY: Final[PointSpec[bool]] = PointSpec("{destination}.break_away", bool)  # picture and sound of two sources
TIES_FREE: Final[PointSpec[int]] = PointSpec("ties.free", int)  # tie-lines that feed no destination


@dataclass(frozen=True, slots=True)
class RouteAll(Verb):
    """Bring many sources to their destinations in one salvo: "program = wide, director = hands at sound".

    One that names no level is made at all that its source and its destination have.
    """

    spec: ClassVar[VerbSpec] = VerbSpec("route", 3, "routed")
    routes: str

    def effect(self) -> Condition:
        return every(*(shows(route.place).is_(route.source) for route in read_routes(self.routes)))

    def say(self) -> str:
        return f"route {', '.join(written(replace(route, over=None) for route in read_routes(self.routes)))}"


PATHS: Final = Capability("paths", 1, (SHOWS, WAY, AT_LEVEL, LEVEL_WAY, BREAK_AWAY, TIES_FREE), (RouteAll,))


def shows(place: str) -> PointSpec[str]:
    """The point that says what a place shows: "program.shows", or of "program sound" "program.sound.shows"."""
    name, _, level = place.partition(" ")
    return AT_LEVEL.at(name, level) if level else SHOWS.at(name)


def _way(place: str) -> PointSpec[str]:
    name, _, level = place.partition(" ")
    return LEVEL_WAY.at(name, level) if level else WAY.at(name)


def meant(verb: Set[Any]) -> Route:
    """The route at one level that a Set of what a place shows comes to."""
    name, *level, _ = verb.point.name.split(".")
    return Route(name, str(verb.value), level=level[0] if level else VIDEO)


ANEW: Final = "Plan anew: stagectl route plan"

_WORST_LAST: Final = (Quality.GOOD, Quality.ASKED, Quality.STALE, Quality.UNKNOWN)


class Paths:
    """Who shows what, computed; and the way there, solved."""

    name = "paths"

    def __init__(self, board: Board, site: Site) -> None:
        self.levels = Levels(site.pictures)
        self.wiring = self.levels.wiring
        self.noway = NoWay(self.wiring, site)
        destinations = self.wiring.destinations
        self.capability = Capability(
            PATHS.kind,
            PATHS.version,
            (
                *(spec(place) for place in destinations for spec in (shows, _way)),
                *(BREAK_AWAY.at(name) for name in self.levels.married),
                TIES_FREE,
            ),
            PATHS.verbs,
        )
        self._board = board
        self._at = {output: name for name, output in self.wiring.destinations.items()}
        self._readings: dict[Port, Reading[int]] = {}
        self._planned: dict[Port, tuple[int, float]] = {}
        self._ways: dict[str, Way] = {}
        self._dirty: dict[Port, None] = {}
        self._soon = False
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        for router, output in self.wiring.outputs():
            reading = board.reading(router, OUTPUT_SOURCE.at(output))
            reading.watches = (*reading.watches, Ear(partial(self._heard_of, (router, output))))
            self._readings[router, output] = reading
        self._show(destinations)

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """The ask itself, judged by what the destination then shows, and a Set for every crosspoint of the way.

        Right ones too: they are looked at, so that the computed point is young when it is judged. The ask stands
        first, so that each of these looks is younger than it.
        """
        verb = ask.verb
        if isinstance(verb, RouteAll):
            routes, ways = self._salvo(verb)
            return self._staged(ask, RouteAll(", ".join(written(routes))), ways)
        if not isinstance(verb, Set):
            raise RefusedError(f"paths can't {verb.spec.name}.", remedy="Set what a destination shows.", code="verb")
        route = meant(verb)
        source, hops = self._solve(route)
        return self._staged(ask, Set(shows(route.place), source), [hops])

    def _staged(self, ask: Ask, itself: Verb, ways: Sequence[Sequence[Hop]]) -> list[Ask]:
        """The part's own ask, then a Set for every crosspoint: what leads to a destination is made before it switches.

        So a picture that is seen is never broken by one that is still on its way, and a destination whose way could
        not be made keeps what it shows. A tie-line that others of the press still look through is changed when they
        have left it.
        """
        feeds = self.wiring.held(self.standing)
        ends = {self._ends_at(hops): hops[-1] for hops in ways}
        asks: dict[Port, Ask] = {}
        for hops in ways:
            *leading, end = hops
            own, waits, after = self._ends_at(hops), False, []
            for hop in leading:
                port = (hop.router, hop.output)
                named = OUTPUT_SOURCE.at(hop.output).name
                others = [name for name in feeds.get(port, ()) if name != own and name in ends]
                late = bool(others) and self.standing(port) != hop.input
                left = tuple((ends[name].router, OUTPUT_SOURCE.at(ends[name].output).name) for name in others)
                one = replace(ask, target=hop.router, verb=_crosspoint(hop))
                asks.setdefault(port, replace(one, stage=ask.stage + 2, after=(*ask.after, *left)) if late else one)
                waits = waits or late
                after.append((hop.router, named))
            stage = ask.stage + (3 if waits else 1 if any(len(way) > 1 for way in ways) else 0)
            asks[end.router, end.output] = replace(
                ask, target=end.router, verb=_crosspoint(end), stage=stage, after=(*ask.after, *after)
            )
        last = max(one.stage for one in asks.values())
        return [replace(ask, verb=itself, stage=last), *asks.values()]

    def _ends_at(self, hops: Sequence[Hop]) -> str:
        """The destination a way leads to."""
        return self._at[hops[-1].router, hops[-1].output]

    def act(self, verb: Verb) -> None:
        """Keep the way free until it is seen: the next ask must not plan with the same tie-line."""
        if isinstance(verb, RouteAll):
            self._salvo(verb, keep=True)
        elif isinstance(verb, Set):
            self._keep(self._solve(meant(verb))[1])

    def _keep(self, hops: Iterable[Hop]) -> None:
        until = self._board.clock.now() + PLANNED_S
        for hop in hops:
            self._planned[hop.router, hop.output] = (hop.input, until)

    def _salvo(self, verb: RouteAll, *, keep: bool = False) -> tuple[list[Route], list[tuple[Hop, ...]]]:
        """The ways of many routes, each minding those before it. Raises RefusedError."""
        routes = self.levels.spread(read_routes(verb.routes))
        leaving = [route.place for route in routes]
        before = dict(self._planned)
        found: list[Route] = []
        ways: list[tuple[Hop, ...]] = []
        taken: dict[Port, Hop] = {}
        try:
            for route in routes:
                hops, source = self._way(route, leaving)
                for hop in hops:
                    _see_one(taken.setdefault((hop.router, hop.output), hop), hop)
                self._keep(hops)
                ways.append(hops)
                found.append(replace(route, source=source))
        except RefusedError:
            self._planned = before
            raise
        if not keep:
            self._planned = before
        return found, ways

    def _way(self, route: Route, leaving: Sequence[str]) -> tuple[tuple[Hop, ...], str]:
        """The crosspoints of one of many routes, and what its source is called."""
        if route.over is not None:
            return self._over(route, route.over, leaving)
        source, hops = self._solve(route)
        return hops, source

    @contextmanager
    def trial(self) -> Iterator[None]:
        """Inside, `act` counts for what is expanded next; afterwards nothing of it is kept. Await nothing inside."""
        planned = dict(self._planned)
        try:
            yield
        finally:
            self._planned = planned

    def shown(self, destination: str) -> Way:
        """What a destination shows, and its way; from the last values known."""
        return self.wiring.trace(self.wiring.destinations[destination], self.standing)

    def _over(self, route: Route, over: Sequence[Port], leaving: Sequence[str]) -> tuple[tuple[Hop, ...], str]:
        """A way whose tie-lines were chosen beforehand, if they still serve. Raises RefusedError.

        What the other destinations of the same press hold now they are about to leave.
        """
        output, start = self.levels.ends(route)
        held = self._held(leaving)
        hops, at = [], start
        for near in over:
            tie = self.wiring.tie(near)
            if tie is None or near[0] != at[0]:
                said = f"No tie-line leaves {near[0]} {near[1]} on the way from {route.source} to {route.destination}."
                raise RefusedError(said, remedy=ANEW, code="no-way")
            if near in held and self.expected(near) != at[1]:
                said = f"{near[0]} {near[1]} is held by {' and '.join(held[near])} by now."
                raise RefusedError(said, remedy=ANEW, code="no-way")
            hops.append(Hop(*near, at[1]))
            at = (tie.to_router, tie.input)
        if at[0] != output[0]:
            raise RefusedError(f"{route.say()} does not reach {route.destination}.", remedy=ANEW, code="no-way")
        return (*hops, Hop(*output, at[1])), self.wiring.name(start)

    def _held(self, but: Sequence[str]) -> dict[Port, tuple[str, ...]]:
        # a tie-line that is being left is not free before it is seen to be left
        return self.wiring.held(self.standing, but=but) | self.wiring.held(self.expected, but=but)

    def _solve(self, route: Route) -> tuple[str, tuple[Hop, ...]]:
        """What the source is called, and the way. Raises RefusedError."""
        output, start = self.levels.ends(route)
        held = self._held((route.place,))
        called = self.wiring.name(start)
        bound = self.levels.bound(route.place, called)
        try:
            return called, self.wiring.plan(start, output, self.expected, held, bound)
        except NoWayError as none:
            raise self.noway.refusal(bound, called, none, held, self.standing) from None

    # -- from points ----------------------------------------------------------------------------------------------

    def _heard_of(self, port: Port, _: Reading[Any]) -> None:
        """A crosspoint was read: what hangs on it is computed at the end of this turn of the loop."""
        self._dirty[port] = None
        if not self._soon:
            self._soon = True
            self._board.clock.later(self._board.clock.now(), self._flush)

    def _flush(self) -> None:
        self._soon = False
        dirty, self._dirty = self._dirty, {}
        self._show([name for name, way in self._ways.items() if any(port in dirty for port in way.read)])

    def _show(self, names: Collection[str]) -> None:
        for name in names:
            way = self._ways[name] = self.shown(name)
            quality, asked_at = self._worst(way.read)
            self._put(shows(name).name, way.source or None, way.say(), quality, asked_at)
            self._put(_way(name).name, way.say(), way.say(), quality, asked_at)
        held = self.wiring.held(self.standing)
        free = sum((tie.from_router, tie.output) not in held for tie in self.wiring.ties)
        self._show_apart(names)
        quality, asked_at = self._worst(tuple(self._readings))
        self._put(TIES_FREE.name, free, free, quality, asked_at)

    def _show_apart(self, places: Iterable[str]) -> None:
        """Of destinations with several levels: is its sound another source's than its picture?"""
        names = dict.fromkeys(one.partition(" ")[0] for one in places)
        for name in (one for one in names if one in self.levels.married):
            ways = [self._ways.get(place(name, level)) for level in self.levels.of(name)]
            known = [way for way in ways if way is not None and way.source]
            quality, asked_at = self._worst(tuple(port for way in known for port in way.read))
            apart = len({way.source for way in known}) > 1 if len(known) == len(ways) else None
            self._put(BREAK_AWAY.at(name).name, apart, apart, quality, asked_at)

    def _put(self, name: str, value: object, raw: object, quality: Quality, asked_at: float) -> None:
        """`raw` tells one way from another: by a new way the same picture is only as young as that way's readings."""
        if quality is not Quality.GOOD or value is None:
            self._writer.compute(name, value, quality=quality, asked_at=asked_at)
            return
        self._writer.asked_at, self._writer.read_at = asked_at, self._board.clock.now()
        self._writer.put(name, raw, lambda _: value)

    def _worst(self, ports: Sequence[Port]) -> tuple[Quality, float]:
        """The worst quality and the oldest question of these crosspoints; good and now, of none."""
        readings = [self._readings[port] for port in ports]
        quality = max((reading.quality for reading in readings), key=_WORST_LAST.index, default=Quality.GOOD)
        return quality, min((reading.asked_at for reading in readings), default=self._board.clock.now())

    def standing(self, port: Port) -> int | None:
        """The input that was last seen on an output, however old."""
        return self._readings[port].value

    def expected(self, port: Port) -> int | None:
        """The input that was just asked for on an output, else the one last seen."""
        planned = self._planned.get(port)
        if planned is not None:
            if self._board.clock.now() < planned[1]:
                return planned[0]
            del self._planned[port]
        return self.standing(port)


def _see_one(taken: Hop, hop: Hop) -> None:
    """Raises RefusedError: one output is wanted for two pictures."""
    if taken != hop:
        said = f"{hop.router} output {hop.output} is wanted for two pictures."
        raise RefusedError(said, remedy=ANEW, code="no-way")


def _crosspoint(hop: Hop) -> Set[int]:
    return checked(OUTPUT_SOURCE.at(hop.output), hop.input)
