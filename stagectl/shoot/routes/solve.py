"""Which ways are the best for all that is asked together? Exact where it is small, bounded where it is large."""

from stagectl.shoot.routes.exact import STEPS, exact, is_small
from stagectl.shoot.routes.negotiate import negotiated
from stagectl.shoot.routes.problem import Answer, Problem
from stagectl.shoot.routes.search import Ledger, Plant, in_turn, short_first


def solve(problem: Problem, steps: int = STEPS) -> Answer:
    """The best of three searches, never worse than first come, first served; what is small is then tried in every way.

    `steps`: choices that are tried at most. With the usual ones it takes up to two seconds of one core: never on the
    loop.
    """
    found = [in_turn(problem), short_first(problem)]
    if any(answer.served < len(problem.wants) for answer in found):
        found.append(negotiated(problem))
    best = max(found, key=lambda answer: (answer.served, -answer.cost(problem)))
    return exact(problem, best, steps) if is_small(problem) else best


def in_the_way(problem: Problem, answer: Answer, number: int) -> list[int]:
    """The full arcs that keep a want from its picture: those at the edge of what it reaches, that lead on to it."""
    want = problem.wants[number]
    ledger = Ledger(problem)
    for served in answer.order:
        start, way = answer.starts[served], answer.ways[served]
        assert start is not None
        assert way is not None
        ledger.take(served, start, way)
    plant = Plant(problem)
    reached = dict.fromkeys(ledger.trees[want.source])
    waiting, full = list(reached), {}
    for spot in waiting:  # grows as it is walked
        for arc_number in plant.leaving(spot[0]):
            arc = problem.arcs[arc_number]
            behind = arc.behind(spot[1], want.destination)
            if behind is None:
                continue
            onward = (arc.end, behind)
            if ledger.room[arc_number] <= 0:
                full[arc_number] = onward
            elif onward not in reached:
                reached[onward] = None
                waiting.append(onward)
    return [
        arc_number
        for arc_number, onward in full.items()
        if onward not in reached and plant.cheapest(want, (onward,), lambda arc: 1.0) is not None
    ]
