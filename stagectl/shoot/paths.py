"""Which picture does each destination show, and how does another one get there?

A house part, named "paths". What a destination shows is computed by following crosspoints back through tie-lines; a
Set of it expands to one Set for each crosspoint of the shortest way.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec, Poked, Quality, Reading
from stagectl.model.verbs import Ask, Set, Verb, checked
from stagectl.model.words import nearest
from stagectl.shoot.wiring import Bound, Hop, NoWayError, Port, Way, Wiring
from stagectl.site import Site

PLANNED_S: Final = 3.0  # a way that was asked for is kept free this long, until its crosspoints are seen; own choice

SHOWS: Final[PointSpec[str]] = PointSpec("{destination}.shows", str, settable=True, deadline_s=2)
WAY: Final[PointSpec[str]] = PointSpec("{destination}.way", str)
TIES_FREE: Final[PointSpec[int]] = PointSpec("ties.free", int)  # tie-lines that feed no destination

PATHS: Final = Capability("paths", 1, (SHOWS, WAY, TIES_FREE), ())

_WORST_LAST: Final = (Quality.GOOD, Quality.ASKED, Quality.STALE, Quality.UNKNOWN)


class _Ear(Poked):
    """Hears every reading of one crosspoint."""

    __slots__ = ("_paths", "_port")

    def __init__(self, paths: "Paths", port: Port) -> None:
        self._paths = paths
        self._port = port

    def poke(self, reading: Reading[Any]) -> None:
        self._paths.heard(self._port)


class Paths:
    """Who shows what, computed; and the way there, solved."""

    name = "paths"

    def __init__(self, board: Board, site: Site) -> None:
        self._pictures = site.pictures
        self.wiring = Wiring(site.pictures.sources, site.pictures.destinations, site.pictures.tie_lines)
        destinations = self.wiring.destinations
        self.capability = Capability(
            PATHS.kind,
            PATHS.version,
            (*(spec.at(name) for name in destinations for spec in (SHOWS, WAY)), TIES_FREE),
            (),
        )
        self._board = board
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
            reading.watches.append(_Ear(self, (router, output)))
            self._readings[router, output] = reading
        self._show(destinations)

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """The ask itself, judged by what the destination then shows, and a Set for every crosspoint of the way.

        Right ones too: they are looked at, so that the computed point is young when it is judged. The ask stands
        first, so that each of these looks is younger than it.
        """
        verb = ask.verb
        if not isinstance(verb, Set):
            raise RefusedError(f"paths can't {verb.spec.name}.", remedy="Set what a destination shows.", code="verb")
        name, source, hops = self._solve(verb)
        itself = replace(ask, verb=Set(SHOWS.at(name), self.wiring.name(source)))
        return [itself, *(replace(ask, target=hop.router, verb=_crosspoint(hop)) for hop in hops)]

    def act(self, verb: Verb) -> None:
        """Keep the way free until it is seen: the next ask must not plan with the same tie-line."""
        if isinstance(verb, Set):
            until = self._board.clock.now() + PLANNED_S
            for hop in self._solve(verb)[2]:
                self._planned[hop.router, hop.output] = (hop.input, until)

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
        return self.wiring.trace(self.wiring.destinations[destination], self._last)

    def _solve(self, verb: Set[Any]) -> tuple[str, Port, tuple[Hop, ...]]:
        """Destination, input and way. Raises RefusedError."""
        name = verb.point.name.removesuffix(".shows")
        output = self.wiring.destinations.get(name)
        if output is None:
            raise RefusedError(
                f'There is no destination "{name}".', remedy=nearest(name, self.wiring.destinations), code="point"
            )
        word = str(verb.value)
        source = self.wiring.source(word)
        if source is None:
            raise RefusedError(
                f'There is no picture source "{word}".', remedy=nearest(word, self.wiring.sources), code="value"
            )
        # a tie-line that is being left is not free before it is seen to be left
        held = self.wiring.held(self._last, but=name) | self.wiring.held(self._soon_to_be, but=name)
        called = self.wiring.name(source)
        bound = Bound(name, self._pictures.gives.get(called, ""), self._pictures.takes.get(name, ()))
        try:
            return name, source, self.wiring.plan(source, output, self._soon_to_be, held, bound)
        except NoWayError as none:
            raise self._refusal(bound, called, none, held) from None

    def _refusal(self, bound: Bound, source: str, none: NoWayError, held: dict[Port, tuple[str, ...]]) -> RefusedError:
        name = bound.destination
        if not none.held and not none.kept:
            if none.unfit:
                return RefusedError(
                    f"No way from {source} to {name} takes {bound.form or 'its format'}.",
                    remedy="Change the source's format, or lead it through a processor that takes it.",
                    code="no-way",
                )
            return RefusedError(
                f"No tie-line leads from {source} to {name}.",
                remedy="Patch one, and write it in the site file.",
                code="no-way",
            )
        told = []
        for tie in none.held:
            near = (tie.from_router, tie.output)
            carries = self.wiring.trace(near, self._last).source or "a picture that is not known"
            told.append(
                f"{tie.from_router} {tie.output} to {tie.to_router} {tie.input} is held by "
                f"{' and '.join(held[near])} ({carries})"
            )
        told.extend(
            f"{tie.from_router} {tie.output} to {tie.to_router} {tie.input} is kept for {' and '.join(tie.kept_for)}"
            for tie in none.kept
        )
        return RefusedError(
            f"No tie-line is free to bring {source} to {name}: {', '.join(told)}.",
            remedy="Give one of them another picture first.",
            code="no-way",
        )

    # -- from points ----------------------------------------------------------------------------------------------

    def heard(self, port: Port) -> None:
        """A crosspoint was read: what hangs on it is computed at the end of this turn of the loop."""
        self._dirty[port] = None
        if not self._soon:
            self._soon = True
            self._board.clock.later(self._board.clock.now(), self._flush)

    def _flush(self) -> None:
        self._soon = False
        dirty, self._dirty = self._dirty, {}
        self._show(name for name, way in self._ways.items() if any(port in dirty for port in way.read))

    def _show(self, names: Iterable[str]) -> None:
        for name in list(names):
            way = self._ways[name] = self.shown(name)
            quality, asked_at = self._worst(way.read)
            self._put(SHOWS.at(name).name, way.source or None, way.say(), quality, asked_at)
            self._put(WAY.at(name).name, way.say(), way.say(), quality, asked_at)
        held = self.wiring.held(self._last)
        free = sum((tie.from_router, tie.output) not in held for tie in self.wiring.ties)
        quality, asked_at = self._worst(tuple(self._readings))
        self._put(TIES_FREE.name, free, free, quality, asked_at)

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

    def _last(self, port: Port) -> int | None:
        """The input that was last seen on an output, however old."""
        return self._readings[port].value

    def _soon_to_be(self, port: Port) -> int | None:
        """The input that was just asked for on an output, else the one last seen."""
        planned = self._planned.get(port)
        if planned is not None:
            if self._board.clock.now() < planned[1]:
                return planned[0]
            del self._planned[port]
        return self._last(port)


def _crosspoint(hop: Hop) -> Set[int]:
    return checked(OUTPUT_SOURCE.at(hop.output), hop.input)
