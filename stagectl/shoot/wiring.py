"""Which way does a picture take through routers and tie-lines, and which way could it take?

Pure: what stands on the crosspoints is handed in. Outputs and inputs count from one.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Final, Protocol

Port = tuple[str, int]
"""A router and one of its inputs or outputs."""

Crosspoints = Callable[[Port], int | None]
"""The input that stands on an output; None: not known."""

LOOP: Final = "a loop"  # shown where a picture only chases itself


class Tie(Protocol):
    """A cable from an output of one router to an input of another."""

    @property
    def from_router(self) -> str: ...

    @property
    def output(self) -> int: ...

    @property
    def to_router(self) -> str: ...

    @property
    def input(self) -> int: ...

    @property
    def delay(self) -> int:
        """Frames."""

    @property
    def takes(self) -> tuple[str, ...]:
        """Formats that pass; empty: all."""

    @property
    def gives(self) -> str:
        """The format behind it; empty: as it came."""

    @property
    def kept_for(self) -> tuple[str, ...]:
        """Destinations it is kept for; empty: all."""

    @property
    def called(self) -> str:
        """A processor's name; empty: a mere cable."""


@dataclass(frozen=True, slots=True)
class Hop:
    """One crosspoint of a way."""

    router: str
    output: int
    input: int


@dataclass(frozen=True, slots=True)
class Way:
    """What feeds an output.

    Attributes:
        source: the name of the picture, or "hall input 7" where the site names none; empty: not known.
        start: the input where it enters the house; None: not known, or a loop.
        hops: from the source to the output; those next to the output only, where the rest is not known.
        read: the outputs whose crosspoints tell this, from the output back to the source.
    """

    source: str
    start: Port | None
    hops: tuple[Hop, ...]
    read: tuple[Port, ...]

    def say(self) -> str:
        """The way in words: "stage-left, hall input 1 > hall output 15 > gallery input 1 > gallery output 2"."""
        steps = [f"{hop.router} input {hop.input} > {hop.router} output {hop.output}" for hop in self.hops]
        start = f"{self.start[0]} input {self.start[1]}" if self.start is not None else ""
        named = [self.source] if self.source != start else []
        return ", ".join([*named, " > ".join(steps)]) if self.source else "not known"


@dataclass(frozen=True, slots=True)
class Bound:
    """Where a way shall lead to, beside its output.

    Attributes:
        destination: its name, for tie-lines that are kept for some.
        form: the source's format; empty: not known, and then every tie-line takes it.
        takes: formats that serve the destination; empty: all.
    """

    destination: str = ""
    form: str = ""
    takes: tuple[str, ...] = ()


ANYWHERE: Final = Bound()


class NoWayError(Exception):
    """No way leads there now.

    Attributes:
        held: tie-lines that could, but are in use, in the order of the search.
        kept: tie-lines that could, but are kept for others.
        unfit: ways there are, but none that this format passes.
    """

    def __init__(self, held: Sequence[Tie], kept: Sequence[Tie] = (), *, unfit: bool = False) -> None:
        super().__init__("no way")
        self.held = tuple(held)
        self.kept = tuple(kept)
        self.unfit = unfit


class Wiring:
    """The cables of a house.

    Args:
        sources: place -> (router, input); at another level than video a place is called "wide sound".
        destinations: place -> (router, output).
        ties: cables between routers; where two ways are equally short, the earlier cable is taken.
    """

    def __init__(self, sources: Mapping[str, Port], destinations: Mapping[str, Port], ties: Sequence[Tie] = ()) -> None:
        self.sources = sources
        self.destinations = destinations
        self.ties = ties
        self._named = {port: place.partition(" ")[0] for place, port in tuple(sources.items())[::-1]}
        self._fed = {(tie.to_router, tie.input): tie for tie in ties}
        self._by_near = {_near(tie): tie for tie in ties}
        self._into: dict[str, list[Tie]] = {}
        for tie in ties:
            self._into.setdefault(tie.to_router, []).append(tie)
        routers = (router for router, _ in (*sources.values(), *destinations.values()))
        self._routers = dict.fromkeys((*routers, *(end for tie in ties for end in (tie.from_router, tie.to_router))))

    def outputs(self) -> list[Port]:
        """Every output whose crosspoint tells something: destinations and the near ends of tie-lines."""
        return list(dict.fromkeys((*self.destinations.values(), *(_near(tie) for tie in self.ties))))

    def name(self, port: Port) -> str:
        """What an input is called: the source's name, else "hall input 7"."""
        return self._named.get(port) or f"{port[0]} input {port[1]}"

    def source(self, word: str) -> Port | None:
        """The input of a source, by its name or as "hall input 7"; None: there is none."""
        if word in self.sources:
            return self.sources[word]
        router, _, rest = word.partition(" input ")
        if router in self._routers and rest.isascii() and rest.isdigit() and 0 < len(rest) < 6 and int(rest):
            port = (router, int(rest))
            return None if port in self._fed else port
        return None

    def tie(self, near: Port) -> Tie | None:
        """The tie-line that leaves an output; None: none does."""
        return self._by_near.get(near)

    def feeder(self, port: Port) -> Tie | None:
        """The tie-line that comes in at an input; None: none does."""
        return self._fed.get(port)

    def trace(self, output: Port, now: Crosspoints) -> Way:
        """Follow the crosspoints back from an output to what feeds it."""
        hops: list[Hop] = []
        read: dict[Port, None] = {}
        port = output
        while port not in read:
            read[port] = None
            number = now(port)
            if number is None:
                return Way("", None, tuple(reversed(hops)), tuple(read))
            start = (port[0], number)
            hops.append(Hop(*port, number))
            tie = self._fed.get(start)
            if tie is None or start in self._named:
                return Way(self.name(start), start, tuple(reversed(hops)), tuple(read))
            port = _near(tie)
        return Way(LOOP, None, tuple(reversed(hops)), tuple(read))

    def held(self, now: Crosspoints, *, but: Collection[str] = ()) -> dict[Port, tuple[str, ...]]:
        """Which destinations, `but` left out, use each tie-line, by its near end.

        Where a crosspoint is not known, whatever might feed that output counts as used.
        """
        found: dict[Port, dict[str, None]] = {}
        for name, output in self.destinations.items():
            if name not in but:
                for near in self._behind(output, now):
                    found.setdefault(near, {})[name] = None
        return {near: tuple(names) for near, names in found.items()}

    def _behind(self, output: Port, now: Crosspoints) -> list[Port]:
        """Near ends of the tie-lines that feed an output, or may."""
        seen: dict[Port, None] = {}
        waiting = [output]
        while waiting:
            port = waiting.pop()
            number = now(port)
            ties = self._into.get(port[0], []) if number is None else [self._fed.get((port[0], number))]
            for tie in ties:
                if tie is not None and _near(tie) not in seen:
                    seen[_near(tie)] = None
                    waiting.append(_near(tie))
        return list(seen)

    def plan(
        self,
        start: Port,
        output: Port,
        now: Crosspoints,
        held: Mapping[Port, tuple[str, ...]],
        bound: Bound = ANYWHERE,
    ) -> tuple[Hop, ...]:
        """The cheapest way from an input to an output, from the source on.

        A tie-line that another destination uses is taken only if it carries this very picture, and then nothing
        before it is changed. Each tie-line costs one, each frame of its delay one more; among equals comes first what
        carries this picture already (a tie-line saved), then what stands, then the file's order. The search goes
        back from the output and carries along which formats would serve there (None: all).

        Raises:
            NoWayError: no tie-line leads there, or those that do are held, kept for others, or don't take the format.
        """
        first: _Step = (output, (), False, frozenset(bound.takes) or None)
        heap: list[tuple[int, int, _Step]] = [(0, 0, first)]
        pushed = 0
        done: dict[tuple[Port, frozenset[str] | None], None] = {}
        blocked: dict[Port, Tie] = {}
        kept: dict[Port, Tie] = {}
        unfit = False
        while heap:
            cost, _, (port, after, shared, serve) = heappop(heap)
            if (port, serve) in done:
                continue
            done[port, serve] = None
            router, stands = port[0], now(port)
            if router == start[0] and (not shared or stands == start[1]):
                if serve is None or not bound.form or bound.form in serve:
                    return (Hop(*port, start[1]), *after)
                unfit = True
            ties = self._into.get(router, [])
            carries = {_near(tie): self.trace(_near(tie), now).start == start for tie in ties}
            for tie in sorted(ties, key=lambda tie: (not carries[_near(tie)], tie.input != stands)):
                near = _near(tie)
                if any((hop.router, hop.output) == near for hop in after) or (shared and tie.input != stands):
                    continue
                if near in held and not carries[near]:
                    blocked[near] = tie
                elif tie.kept_for and bound.destination not in tie.kept_for:
                    kept[near] = tie
                elif (before := _before(tie, serve)) == frozenset():
                    unfit = True
                else:
                    pushed += 1
                    step: _Step = (near, (Hop(*port, tie.input), *after), near in held, before)
                    heappush(heap, (cost + 1 + tie.delay, pushed, step))
        if blocked and bound != ANYWHERE:
            self.plan(start, output, now, {}, bound)  # raises, if it would not fit were they free
        raise NoWayError(tuple(blocked.values()), tuple(kept.values()), unfit=unfit)


_Step = tuple[Port, tuple[Hop, ...], bool, frozenset[str] | None]
"""An output on the way back: what comes after it, whether its picture is another's too, and what would serve there."""


def _before(tie: Tie, serve: frozenset[str] | None) -> frozenset[str] | None:
    """Formats that serve in front of a tie-line, if these serve behind it; None: all, empty: none."""
    takes = frozenset(tie.takes) or None
    if tie.gives:
        return takes if serve is None or tie.gives in serve else frozenset()
    if takes is None or serve is None:
        return serve if takes is None else takes
    return takes & serve


def _near(tie: Tie) -> Port:
    return tie.from_router, tie.output
