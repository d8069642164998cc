"""Which is the cheapest way for one picture, given what is free? The step that every solver repeats."""

import heapq
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from stagectl.shoot.routes.problem import Answer, Problem, Spot, Want

Price = Callable[[int], float | None]
"""What an arc costs now, by its number; None: it can't be had."""

FREE: Final = 0.0


class Plant:
    """The arcs of a problem by the router they leave."""

    __slots__ = ("_leaving", "arcs")

    def __init__(self, problem: Problem) -> None:
        self.arcs = problem.arcs
        self._leaving: dict[str, list[int]] = {}
        for number, arc in enumerate(problem.arcs):
            self._leaving.setdefault(arc.start, []).append(number)

    def leaving(self, router: str) -> Sequence[int]:
        """Numbers of the arcs that leave a router, in the order of the plant."""
        return self._leaving.get(router, ())

    def cheapest(self, want: Want, tree: Iterable[Spot], price: Price) -> tuple[Spot, tuple[int, ...]] | None:
        """The cheapest way to a destination from where its picture is: start and arcs. None: there is none."""
        best: dict[Spot, float] = {}
        came: dict[Spot, tuple[Spot, int]] = {}
        heap: list[tuple[float, int, Spot]] = []
        for place, spot in enumerate(tree):
            best[spot] = FREE
            heap.append((FREE, place, spot))
        heapq.heapify(heap)
        tick = len(heap)
        arcs, leaving, destination = self.arcs, self._leaving, want.destination
        while heap:
            spent, _, spot = heapq.heappop(heap)
            if spent > best[spot]:
                continue
            if want.served_at(spot):
                return _traced(spot, came)
            router, form = spot
            for number in leaving.get(router, ()):
                arc = arcs[number]
                behind = arc.behind(form, destination)
                if behind is None:
                    continue
                cost = price(number)
                if cost is None:
                    continue
                onward, total = (arc.end, behind), spent + cost
                if total < best.get(onward, float("inf")):
                    best[onward] = total
                    came[onward] = (spot, number)
                    tick += 1
                    heapq.heappush(heap, (total, tick, onward))
        return None


def _traced(spot: Spot, came: dict[Spot, tuple[Spot, int]]) -> tuple[Spot, tuple[int, ...]]:
    way: list[int] = []
    while spot in came:
        spot, number = came[spot]
        way.append(number)
    return spot, tuple(reversed(way))


class Ledger:
    """What is taken so far: rooms left, and where each source's picture is. Grows want by want; `answer` sums up."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._plant = Plant(problem)
        self.room = [arc.room for arc in problem.arcs]
        self.trees: dict[str, dict[Spot, None]] = {}
        self._ways: list[tuple[int, ...] | None] = [None] * len(problem.wants)
        self._starts: list[Spot | None] = [None] * len(problem.wants)
        self._order: list[int] = []
        for want in problem.wants:
            spots = ((want.start, want.form), *problem.present.get(want.source, ()))
            self.trees.setdefault(want.source, dict.fromkeys(spots))

    def serve(self, number: int) -> bool:
        """Give a want the cheapest way that is free, for good. False: there is none."""
        want = self._problem.wants[number]
        found = self._plant.cheapest(want, self.trees[want.source], self._price)
        if found is None:
            return False
        self.take(number, *found)
        return True

    def _price(self, arc: int) -> float | None:
        return self._problem.arcs[arc].cost if self.room[arc] > 0 else None

    def take(self, number: int, start: Spot, way: tuple[int, ...]) -> None:
        """Write a way down that has room."""
        want = self._problem.wants[number]
        tree = self.trees[want.source]
        router, form = start
        for arc in way:
            self.room[arc] -= 1
            form = self._problem.arcs[arc].behind(form, want.destination) or ""
            router = self._problem.arcs[arc].end
            tree[router, form] = None
        self._ways[number], self._starts[number] = way, start
        self._order.append(number)

    def answer(self, method: str, *, exact: bool = False) -> Answer:
        """All that was served."""
        return Answer(tuple(self._ways), tuple(self._order), tuple(self._starts), exact, method)


def in_turn(problem: Problem) -> Answer:
    """Each want gets the cheapest way that is left, in the order asked."""
    return _greedy(problem, range(len(problem.wants)), "in turn")


def short_first(problem: Problem) -> Answer:
    """As `in_turn`, but who has the shortest way to go alone comes first: a long one takes the room of several."""
    return _greedy(problem, by_length(problem), "short first")


def _greedy(problem: Problem, order: Iterable[int], method: str) -> Answer:
    ledger = Ledger(problem)
    for number in order:
        ledger.serve(number)
    return ledger.answer(method)


def by_length(problem: Problem) -> list[int]:
    """Numbers of the wants by what each would cost alone; who has no way at all comes last."""
    plant = Plant(problem)
    alone: dict[Want, float] = {}

    def price(arc: int) -> float | None:
        return problem.arcs[arc].cost if problem.arcs[arc].room > 0 else None

    lengths: list[float] = []
    for want in problem.wants:
        # destinations matter only where something is kept for one, which a want's own name covers
        if want not in alone:
            found = plant.cheapest(want, ((want.start, want.form),), price)
            alone[want] = float("inf") if found is None else sum(problem.arcs[arc].cost for arc in found[1])
        lengths.append(alone[want])
    return sorted(range(len(lengths)), key=lengths.__getitem__)
