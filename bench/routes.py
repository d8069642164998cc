"""How many of 1,000 routes asked together find a way, and in what time, beside the shortest free way for each in turn?

The plant: 40 routers of 288x288 in a grid of 5 by 8, 16 tie-lines each way between neighbours, 2,144 in all. Every
router has room for far more sources and destinations than are drawn. `alone`: every want has a source of its own;
`shared`: four destinations want each source. The baseline is a plain search of its own, not the solver's. A plan is
made in a thread: the processor's time is what it costs, the time on the wall what somebody waits on this machine.
"""

import gc
import random
import time
from collections import deque
from collections.abc import Sequence
from statistics import median
from typing import Final

from bench.rows import Row
from stagectl.shoot.routes.problem import Arc, Problem, Want
from stagectl.shoot.routes.solve import solve

HIGH: Final = 5
WIDE: Final = 8
TIES: Final = 16
WANTS: Final = 1000
LIMIT_S: Final = 2.0


def measure(*, seeds: Sequence[int]) -> list[Row]:
    """One row a figure, the worst of all seeds."""
    rows = []
    for name, sharing in (("alone", 1), ("shared", 4)):
        for load in (WANTS * 2 // 5, WANTS):
            rows.extend(_measured(name, sharing, load, seeds))
    return rows


def _measured(name: str, sharing: int, load: int, seeds: Sequence[int]) -> list[Row]:
    ratios, took, waited, served, plain_s = [], [], [], [], []
    for seed in seeds:
        problem = plant(seed, load, sharing)
        began = time.process_time()
        base = shortest_in_turn(problem)
        plain_s.append(time.process_time() - began)
        gc.collect()
        began, asked = time.process_time(), time.perf_counter()
        answer = solve(problem)
        took.append(time.process_time() - began)
        waited.append(time.perf_counter() - asked)
        served.append(answer.served)
        ratios.append(base / answer.served)
    detail = {"served": median(served), "of": load, "baseline_ms": median(plain_s) * 1e3, "worst_s": max(took)}
    return [
        Row(
            f"{load} routes, {name}: baseline's served / ours",
            max(ratios),
            1.0,
            0.95 if load == WANTS else None,
            "x",
            detail,
        ),
        Row(f"{load} routes, {name}: processor time / {LIMIT_S:g} s", max(took) / LIMIT_S, 1.0, 0.5, "x"),
        Row(f"{load} routes, {name}: time on the wall / {LIMIT_S:g} s", max(waited) / LIMIT_S, 1.0, 0.75, "x"),
    ]


def plant(seed: int, load: int, sharing: int) -> Problem:
    """The grid with wants drawn at random."""
    chance = random.Random(seed)
    routers = [f"r{number}" for number in range(HIGH * WIDE)]
    arcs = []
    for number, start in enumerate(routers):
        y, x = divmod(number, WIDE)
        for down, right in ((0, 1), (1, 0), (0, -1), (-1, 0)):
            if 0 <= y + down < HIGH and 0 <= x + right < WIDE:
                arcs.append(Arc(start, routers[(y + down) * WIDE + x + right], TIES))
    sources = [(f"s{number}", chance.choice(routers)) for number in range(load // sharing)]
    wants = []
    for number in range(load):
        source, start = sources[number % len(sources)]
        wants.append(Want(f"d{number}", source, start, chance.choice(routers)))
    return Problem(tuple(arcs), tuple(wants))


def shortest_in_turn(problem: Problem) -> int:
    """The baseline: how many wants the shortest free way for each, in the order asked, serves; a picture is shared."""
    free = [arc.room for arc in problem.arcs]
    leaving: dict[str, list[int]] = {}
    for number, arc in enumerate(problem.arcs):
        leaving.setdefault(arc.start, []).append(number)
    there: dict[str, dict[str, None]] = {}
    served = 0
    for want in problem.wants:
        tree = there.setdefault(want.source, {want.start: None})
        came: dict[str, int | None] = dict.fromkeys(tree)
        waiting = deque(tree)
        while waiting:
            router = waiting.popleft()
            if router == want.end:
                break
            for number in leaving[router]:
                onward = problem.arcs[number].end
                if onward not in came and free[number]:
                    came[onward] = number
                    waiting.append(onward)
        if want.end not in came:
            continue
        served += 1
        router = want.end
        while (taken := came[router]) is not None:
            free[taken] -= 1
            tree[router] = None
            router = problem.arcs[taken].start
    return served
