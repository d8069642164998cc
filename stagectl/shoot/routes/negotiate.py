"""How do many pictures share scarce tie-lines better than first come, first served? By negotiating over prices.

All wants are routed at once, also over bundles that are full; what is overfull grows dearer from pass to pass, so that
whoever has another way takes it. Own writing after the idea of negotiated congestion known from the routing of
programmable chips (from memory). Bounded by passes; sources keep their trees, so that a tie-line carries a picture
once however many destinations want it.
"""

from typing import Final

from stagectl.shoot.routes.problem import Answer, Problem, Spot
from stagectl.shoot.routes.search import Ledger, Plant, by_length

PASSES: Final = 24  # own choice: measured, the last of 25 changed nothing any more
WORK: Final = 5_000  # routed wants over all passes, under half a second of one core: with 12,000 no more were served
_MISSING: Final = 0.3  # how much an overfull bundle grows dearer for ever, by each cable that is missing
_PRESSURE: Final = 1.5  # how much dearer what is overfull now becomes from pass to pass


def negotiated(problem: Problem) -> Answer:
    """Route all wants against prices that grow on overfull bundles; what does not fit in the end is tried once more."""
    trial = _Trial(problem)
    passes = max(2, min(PASSES, WORK // max(1, len(problem.wants))))
    moving = list(trial.sources)
    for count in range(passes):
        trial.pressure = 0.5 * _PRESSURE**count
        for source in moving:
            trial.route(source)
        over = trial.overfull()
        if not over:
            break
        moving = trial.using(over)
    return trial.settled()


class _Trial:
    """One negotiation: which arcs each source uses, and what they cost by now."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._plant = Plant(problem)
        self._use = [0] * len(problem.arcs)
        self._past = [0.0] * len(problem.arcs)
        self._lengths = {number: place for place, number in enumerate(by_length(problem))}
        self.pressure = 0.5
        self.sources: dict[str, list[int]] = {}
        for number in sorted(range(len(problem.wants)), key=self._lengths.__getitem__):
            self.sources.setdefault(problem.wants[number].source, []).append(number)
        self._held: dict[str, dict[int, None]] = {}
        self._ways: dict[int, tuple[Spot, tuple[int, ...]]] = {}

    def route(self, source: str) -> None:
        """Take a source's whole tree up and lay it anew."""
        for arc in self._held.pop(source, ()):
            self._use[arc] -= 1
        held: dict[int, None] = {}
        numbers = self.sources[source]
        first = self._problem.wants[numbers[0]]
        tree = dict.fromkeys(((first.start, first.form), *self._problem.present.get(source, ())))
        for number in numbers:
            want = self._problem.wants[number]
            found = self._plant.cheapest(want, tree, self._price)
            self._ways.pop(number, None)
            if found is None:
                continue
            self._ways[number] = found
            form = found[0][1]
            for arc in found[1]:
                held[arc] = None
                self._use[arc] += 1
                form = self._problem.arcs[arc].behind(form, want.destination) or ""
                tree[self._problem.arcs[arc].end, form] = None
        self._held[source] = held

    def _price(self, number: int) -> float | None:
        arc = self._problem.arcs[number]
        if arc.room <= 0:
            return None
        over = self._use[number] + 1 - arc.room
        return (arc.cost + self._past[number]) * (1 + (over * self.pressure if over > 0 else 0))

    def overfull(self) -> dict[int, None]:
        """Arcs with more pictures than cables; they grow dearer for good."""
        found: dict[int, None] = {}
        for number, arc in enumerate(self._problem.arcs):
            if self._use[number] > arc.room:
                self._past[number] += _MISSING * (self._use[number] - arc.room)
                found[number] = None
        return found

    def using(self, arcs: dict[int, None]) -> list[str]:
        """Sources whose trees use one of these arcs."""
        return [source for source, held in self._held.items() if any(arc in arcs for arc in held)]

    def settled(self) -> Answer:
        """Short ways first, each kept if it still has room; the rest gets what is left."""
        ledger = Ledger(self._problem)
        left: list[int] = []
        for number in sorted(self._ways, key=lambda number: (len(self._ways[number][1]), self._lengths[number])):
            want = self._problem.wants[number]
            start, way = self._ways[number]
            if start in ledger.trees[want.source] and all(ledger.room[arc] > 0 for arc in way):
                ledger.take(number, start, way)
            else:
                left.append(number)
        known = set(self._ways)
        for number in (*left, *(one for one in self._lengths if one not in known)):
            ledger.serve(number)
        return ledger.answer("negotiated")
