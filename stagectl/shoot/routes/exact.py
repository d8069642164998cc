"""Which answer is the best of all, where the question is small? Every choice is tried, within a budget of steps.

Best: most wants served; among those the least cost. Any set of ways can be written as each want in turn branching off
what its source has reached so far, so trying every simple way for every want, or none, leaves nothing out.
"""

from collections.abc import Iterator
from typing import Final

from stagectl.shoot.routes.problem import Answer, Problem, Spot, Want
from stagectl.shoot.routes.search import Ledger, Plant, by_length

STEPS: Final = 60_000  # about half a second of one core; a hall's two dozen cables need a few hundred
SMALL: Final = 12  # wants; more are not tried


def is_small(problem: Problem) -> bool:
    """Is it worth trying everything?"""
    return len(problem.wants) <= SMALL


def exact(problem: Problem, least: Answer, steps: int = STEPS) -> Answer:
    """The best answer, beginning from one that is known. If the budget ends before all was tried: not `exact`."""
    search = _Every(problem, least, steps)
    done = search.run()
    if search.chosen is None:
        return Answer(least.ways, least.order, least.starts, done, least.method)
    ledger = Ledger(problem)
    for number, start, way in search.chosen:
        ledger.take(number, start, way)
    return ledger.answer("exact", exact=done)


class _Every:
    """Tries every choice, want by want; stops where what is left can't beat the best known."""

    def __init__(self, problem: Problem, least: Answer, steps: int) -> None:
        self._problem = problem
        self._plant = Plant(problem)
        self._order = by_length(problem)
        self._served, self._cost = least.served, least.cost(problem)
        self._steps = steps
        self._room = [arc.room for arc in problem.arcs]
        self._trees = {source: dict(tree) for source, tree in Ledger(problem).trees.items()}
        self._now: list[tuple[int, Spot, tuple[int, ...]]] = []
        self.chosen: list[tuple[int, Spot, tuple[int, ...]]] | None = None

    def run(self) -> bool:
        """True: all was tried."""
        self._try(0, 0)
        return self._steps > 0

    def _try(self, place: int, cost: int) -> None:
        self._steps -= 1
        served, left = len(self._now), len(self._order) - place
        if self._steps <= 0 or (served + left, -cost) <= (self._served, -self._cost):
            return
        if not left:
            self._served, self._cost, self.chosen = served, cost, list(self._now)
            return
        number = self._order[place]
        want = self._problem.wants[number]
        ways = sorted(self._ways(want), key=lambda found: self._price(found[1]))
        for start, way in ways:
            added = self._lay(want, start, way)
            self._now.append((number, start, way))
            self._try(place + 1, cost + self._price(way))
            self._now.pop()
            self._lift(want, way, added)
        self._try(place + 1, cost)

    def _price(self, way: tuple[int, ...]) -> int:
        return sum(self._problem.arcs[arc].cost for arc in way)

    def _lay(self, want: Want, start: Spot, way: tuple[int, ...]) -> list[Spot]:
        tree, form, added = self._trees[want.source], start[1], []
        for number in way:
            arc = self._problem.arcs[number]
            self._room[number] -= 1
            form = arc.behind(form, want.destination) or ""
            if (arc.end, form) not in tree:
                tree[arc.end, form] = None
                added.append((arc.end, form))
        return added

    def _lift(self, want: Want, way: tuple[int, ...], added: list[Spot]) -> None:
        for number in way:
            self._room[number] += 1
        for spot in added:
            del self._trees[want.source][spot]

    def _ways(self, want: Want) -> Iterator[tuple[Spot, tuple[int, ...]]]:
        """Every way without a circle from what the source has reached to the destination."""
        tree = list(self._trees[want.source])
        if there := next((spot for spot in tree if want.served_at(spot)), None):
            yield there, ()  # nothing is gained by going round: a later want can branch off itself
            return
        for start in tree:
            yield from self._onward(want, start, start, (), dict.fromkeys(tree))

    def _onward(
        self, want: Want, start: Spot, spot: Spot, way: tuple[int, ...], been: dict[Spot, None]
    ) -> Iterator[tuple[Spot, tuple[int, ...]]]:
        self._steps -= 1
        if self._steps <= 0:
            return
        if want.served_at(spot):
            yield start, way
            return
        for number in self._plant.leaving(spot[0]):
            arc = self._problem.arcs[number]
            form = arc.behind(spot[1], want.destination)
            if self._room[number] <= 0 or form is None or (arc.end, form) in been:
                continue
            yield from self._onward(want, start, (arc.end, form), (*way, number), {**been, (arc.end, form): None})
