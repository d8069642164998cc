"""What would bring many sources to their destinations, all together? Planned from what is seen now, and shown first.

Routes that run and are not asked anew are never moved. A tie-line that a destination lets go is free for the others of
the same press, but only if that destination itself is served: else it keeps what it shows. Solving is handed to a
thread; what is planned is a set of routes that name their tie-lines, which `paths` carries out, or refuses if one of
them was taken meanwhile.
"""

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from stagectl.control.access import Limit, Lock, Person, may
from stagectl.model.board import Board
from stagectl.model.capabilities.router import OUTPUT_LOCK, OUTPUT_SOURCE
from stagectl.model.capabilities.router import Lock as Held
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ask, checked
from stagectl.model.world import Offload
from stagectl.shoot.paths import Paths
from stagectl.shoot.routes.exact import STEPS
from stagectl.shoot.routes.noway import said
from stagectl.shoot.routes.problem import Arc, Problem, Spot, Want
from stagectl.shoot.routes.solve import in_the_way, solve
from stagectl.shoot.routes.words import Route, written
from stagectl.shoot.wiring import Hop, Port, Tie
from stagectl.site import place

STEPS_NOW: Final = 2_000  # choices tried on the loop: some ten milliseconds
ROUNDS: Final = 4  # solved anew while who was not served still needs what it holds; own choice, two are usual


@dataclass(slots=True)
class Row:
    """One destination of a plan, at one level.

    Attributes:
        level: empty where the site has none beside video.
        hops: crosspoints from the source on; empty: it gets none.
        delay: frames lost on the way.
        stands: every crosspoint of it stands so already.
        why, remedy: of what gets no way.
    """

    destination: str
    source: str
    hops: tuple[Hop, ...] = ()
    delay: int = 0
    stands: bool = False
    why: str = ""
    remedy: str = ""
    level: str = ""

    @property
    def place(self) -> str:
        """The destination as it is called at this level."""
        return place(self.destination, self.level)

    def route(self) -> Route:
        """As it is asked for."""
        over = tuple((hop.router, hop.output) for hop in self.hops[:-1])
        return Route(self.destination, self.source, over, self.level)


@dataclass(frozen=True, slots=True)
class Plan:
    """What was found.

    Attributes:
        exact: nothing serves more, or as many over less.
        method: which search found it.
        freed: tie-lines that are free afterwards and were not before.
        notes: what stays where it is, because the source does not have it; a sentence each.
        rev: the board's revision it was planned from.
    """

    rows: tuple[Row, ...]
    exact: bool
    method: str
    freed: tuple[str, ...]
    notes: tuple[str, ...]
    rev: int

    @property
    def served(self) -> int:
        """How many get their picture."""
        return sum(bool(row.hops) for row in self.rows)

    def say(self) -> str:
        """The whole in a sentence."""
        new = sum(bool(row.hops) and not row.stands for row in self.rows)
        best = (
            "" if self.served == len(self.rows) else " No plan serves more." if self.exact else " Perhaps not the most."
        )
        return f"{self.served} of {len(self.rows)} find a way, {new} of them new.{best}"

    def plain(self) -> dict[str, Any]:
        """As JSON; `routes` is what to ask of `paths`."""
        return {
            "say": self.say(),
            "served": self.served,
            "of": len(self.rows),
            "exact": self.exact,
            "method": self.method,
            "freed": list(self.freed),
            "notes": list(self.notes),
            "rev": self.rev,
            "routes": written(row.route() for row in self.rows if row.hops),
            "rows": [
                {
                    "destination": row.destination,
                    "source": row.source,
                    "level": row.level,
                    "way": [f"{hop.router} input {hop.input} > {hop.router} output {hop.output}" for hop in row.hops],
                    "delay": row.delay,
                    "stands": row.stands,
                    "why": row.why,
                    "remedy": row.remedy,
                }
                for row in self.rows
            ],
        }


class Guards:
    """What may be in a person's way, as it stands now."""

    def __init__(self, person: Person, locks: Sequence[Lock], limits: Sequence[Limit]) -> None:
        self._person = person
        self._locks = locks
        self._limits = limits
        # looked up for every tie-line of a plant: only what a lock names, and each router once, is judged whole
        self._locked = {pair for lock in locks if lock.holds for pair in lock.points}
        self._routers: dict[str, RefusedError | None] = {}

    def refuse(self, router: str, output: int) -> RefusedError | None:
        """Why this person may not switch an output; None: they may."""
        if (router, OUTPUT_SOURCE.at(output).name) in self._locked or (router, "*") in self._locked:
            return self._judged(router, output, self._locks)
        if router not in self._routers:
            self._routers[router] = self._judged(router, output, ())
        return self._routers[router]

    def _judged(self, router: str, output: int, locks: Sequence[Lock]) -> RefusedError | None:
        try:
            may(self._person, Ask("", "", "", router, checked(OUTPUT_SOURCE.at(output), 1)), locks, self._limits)
        except RefusedError as refused:
            return refused
        return None


class Planner:
    """Plans routes; one for a house."""

    def __init__(self, board: Board, paths: Paths, offload: Offload) -> None:
        self._board = board
        self._paths = paths
        self._offload = offload

    async def plan(self, routes: Sequence[Route], guards: Guards) -> Plan:
        """Find ways for all of these together.

        Raises:
            RefusedError: a name that is none.
        """
        survey = _Survey(self._board, self._paths, guards, routes)
        plan: Plan = await self._offload.run("routes", _solved, survey, STEPS)
        return plan

    def plan_now(self, routes: Sequence[Route], guards: Guards) -> Plan:
        """As `plan`, without leaving the loop: for a few routes, where nothing may change in between."""
        return _solved(_Survey(self._board, self._paths, guards, routes), STEPS_NOW)


def _solved(survey: "_Survey", steps: int) -> Plan:
    """Solve, and again around what those need that were not served."""
    rounds = _rounds(survey)
    problem = next(rounds)
    while True:
        answer = solve(problem, steps)
        try:
            problem = rounds.send(answer)
        except StopIteration:
            return survey.plan(answer, _blocking(problem, answer))


def _rounds(survey: "_Survey") -> Generator[Problem, Any, None]:
    """Problems to be solved one after another, each sent its answer: until who is not served needs nothing it holds."""
    keeping: dict[str, None] = {row.place: None for row in survey.rows if row.why}
    for count in range(ROUNDS):
        problem = survey.problem(keeping if count < ROUNDS - 1 else None)
        answer = yield problem
        lost = [want.destination for want, way in zip(problem.wants, answer.ways, strict=True) if way is None]
        if all(name in keeping for name in lost):
            return
        keeping.update(dict.fromkeys(lost))


def _blocking(problem: Problem, answer: Any) -> dict[int, list[int]]:
    return {number: in_the_way(problem, answer, number) for number, way in enumerate(answer.ways) if way is None}


class _Survey:
    """The house at one moment, as a problem for the solver; and its answer as crosspoints.

    What is seen is copied on the loop when it is made; all that follows may be computed in a thread.
    """

    def __init__(self, board: Board, paths: Paths, guards: Guards, routes: Sequence[Route]) -> None:
        self._rev = board.rev
        self._wiring = paths.wiring
        self._noway = paths.noway
        outputs = self._wiring.outputs()
        self._standing = {port: paths.standing(port) for port in outputs}
        self._expected = {port: paths.expected(port) for port in outputs}
        self._refused = {port: _refused(board, guards, port) for port in outputs}
        self.rows: list[Row] = []
        self._ports: dict[str, tuple[Port, Port]] = {}
        self._levels = paths.levels
        for route in paths.levels.spread(routes):
            output, start = paths.levels.ends(route)
            row = Row(route.destination, self._wiring.name(start), level=route.level)
            self._ports[row.place] = output, start
            refused = self._refused[output]
            if refused is not None:
                row.why, row.remedy = str(refused), refused.remedy
            self.rows.append(row)
        self._notes = paths.levels.kept(routes)
        self._wanted = [row for row in self.rows if not row.why]
        self._bundles: list[list[Tie]] = []  # the tie-lines of each arc
        self._holders: dict[Port, tuple[str, ...]] = {}
        self._problem: Problem | None = None
        self._free: dict[int, list[Tie]] = {}
        self._where: dict[tuple[str, Spot], Port] = {}

    def problem(self, keeping: Mapping[str, None] | None) -> Problem:
        """What is free, what is there, what is wanted. `keeping`: destinations that keep what they show; None: all."""
        letting_go = [row.place for row in self._wanted if keeping is not None and row.place not in keeping]
        standing, expected = self._standing.get, self._expected.get
        self._holders = self._wiring.held(standing, but=letting_go) | self._wiring.held(expected, but=letting_go)
        kinds: dict[tuple[Any, ...], list[Tie]] = {}
        for tie in self._wiring.ties:
            key = (tie.from_router, tie.to_router, 1 + tie.delay, tie.takes, tie.gives, tie.kept_for)
            kinds.setdefault(key, []).append(tie)
        arcs = []
        self._free, self._bundles = {}, list(kinds.values())
        for number, ((start, end, cost, takes, gives, kept), ties) in enumerate(kinds.items()):
            self._free[number] = [tie for tie in ties if self._may_take(tie)]
            arcs.append(Arc(start, end, len(self._free[number]), cost, frozenset(takes), gives, frozenset(kept)))
        wants = tuple(self._want(row) for row in self._wanted)
        self._where = {(want.source, (want.start, want.form)): self._ports[want.destination][1] for want in wants}
        self._problem = Problem(tuple(arcs), wants, self._present({want.source: want.form for want in wants}))
        return self._problem

    def _may_take(self, tie: Tie) -> bool:
        near = (tie.from_router, tie.output)
        return near not in self._holders and self._refused[near] is None

    def _want(self, row: Row) -> Want:
        output, start = self._ports[row.place]
        bound = self._levels.bound(row.place, row.source)
        source = self._levels.source_at(start)
        return Want(row.place, source, start[0], output[0], bound.form, frozenset(bound.takes))

    def _present(self, forms: Mapping[str, str]) -> dict[str, tuple[Spot, ...]]:
        """Where pictures arrive over tie-lines that others hold and that stay."""
        found: dict[str, dict[Spot, None]] = {}
        for near in self._holders:
            way = self._wiring.trace(near, self._expected.get)
            source = self._levels.source_at(way.start) if way.start is not None else ""
            if source not in forms:
                continue
            form = forms[source]
            for hop in way.hops:
                tie = self._wiring.tie((hop.router, hop.output))
                form = (tie.gives if tie is not None else "") or form
            last = self._wiring.tie(near)
            assert last is not None
            if last.kept_for:
                continue  # whom it is kept for may give it another picture at any time
            spot = (last.to_router, form)
            found.setdefault(source, {})[spot] = None
            self._where.setdefault((source, spot), (last.to_router, last.input))
        return {source: tuple(spots) for source, spots in found.items()}

    def plan(self, answer: Any, blocking: Mapping[int, Sequence[int]]) -> Plan:
        """The solver's answer as crosspoints and sentences."""
        problem = self._problem
        assert problem is not None
        for number in answer.order:
            self._lay(problem, self._wanted[number], problem.wants[number], answer.starts[number], answer.ways[number])
        users: dict[int, dict[str, None]] = {}
        for row, way in zip(self._wanted, answer.ways, strict=True):
            for arc in way or ():
                users.setdefault(arc, {})[row.place] = None
        for number, arcs in blocking.items():
            row = self._wanted[number]
            row.why, row.remedy = self._why(row, arcs, users)
        return Plan(tuple(self.rows), answer.exact, answer.method, self._freed(), self._notes, self._rev)

    def _lay(self, problem: Problem, row: Row, want: Want, spot: Spot, way: Sequence[int]) -> None:
        """Choose cables for one way: those that carry this picture already, then those that carry nothing else."""
        hops = []
        for number in way:
            arc, at = problem.arcs[number], self._where[want.source, spot]
            cables = self._free[number]
            tie = min(cables, key=lambda tie: self._expected.get((tie.from_router, tie.output)) != at[1])
            cables.remove(tie)
            hops.append(Hop(tie.from_router, tie.output, at[1]))
            row.delay += tie.delay
            spot = (arc.end, arc.behind(spot[1], want.destination) or "")
            self._where[want.source, spot] = (tie.to_router, tie.input)
        at = self._where[want.source, spot]
        output = self._ports[want.destination][0]
        row.hops = (*self._leading(want, at, hops), Hop(*output, at[1]))
        row.stands = all(self._standing.get((hop.router, hop.output)) == hop.input for hop in row.hops)

    def _leading(self, want: Want, at: Port, hops: list[Hop]) -> tuple[Hop, ...]:
        """The hops of this way with those it shares before them, back to the source."""
        laid = {(hop.router, hop.output): hop for row in self.rows for hop in row.hops[:-1]}
        laid |= {(hop.router, hop.output): hop for hop in hops}
        found: list[Hop] = []
        start = self._ports[want.destination][1]
        while at != start:
            tie = self._wiring.feeder(at)
            assert tie is not None
            near = (tie.from_router, tie.output)
            hop = laid.get(near) or Hop(*near, self._expected.get(near) or 0)
            found.append(hop)
            at = (hop.router, hop.input)
        return tuple(reversed(found))

    def _why(self, row: Row, arcs: Iterable[int], users: Mapping[int, Mapping[str, None]]) -> tuple[str, str]:
        told: list[str] = []
        held: list[Tie] = []
        holders: dict[Port, tuple[str, ...]] = {}
        for number in arcs:
            for tie in self._bundles[number]:
                near = (tie.from_router, tie.output)
                if near in self._holders:
                    names = self._holders[near]  # that it holds one itself keeps nothing from it
                    holders[near] = tuple(name for name in names if name != row.place) or names
                    told.append(self._noway.held(tie, holders, self._standing.get))
                    held.append(tie)
                elif refused := self._refused[near]:
                    told.append(f"{said(tie)} can't be had: {refused}")
            if users.get(number):
                told.append(f"this plan gives the way there to {' and '.join(users[number])}")
        if not told:
            return (
                f"No tie-line that may be used leads from {row.source} to {row.place}.",
                "Patch one, and write it in the site file.",
            )
        return (
            f"No tie-line is left to bring {row.source} to {row.place}: {', '.join(told)}.",
            self._noway.remedy(held, holders),
        )

    def _freed(self) -> tuple[str, ...]:
        before = self._wiring.held(self._standing.get)
        planned = {(hop.router, hop.output): hop.input for row in self.rows for hop in row.hops}
        after = self._wiring.held({**self._standing, **planned}.get)
        return tuple(f"{router} {output}" for router, output in before if (router, output) not in after)


def _refused(board: Board, guards: Guards, output: Port) -> RefusedError | None:
    """Why an output can't be switched: it is guarded here, or locked at the router by another panel."""
    reading = board.get(output[0], OUTPUT_LOCK.at(output[1]))
    if reading.quality is Quality.GOOD and reading.value is Held.THEIRS:
        say = f"{output[0]} output {output[1]} is locked at the router by another panel."
        return RefusedError(say, remedy="Unlock it there.", code="locked")
    return guards.refuse(*output)
