"""Which faults must change nothing? Two runs of one plan, with and without them, end every act alike."""

import random
from dataclasses import replace
from typing import Final

from tests.studio.loop import START_S
from tests.studio.plan import Fault, Op, Plan, make_plan
from tests.studio.rules.rule import Breach
from tests.studio.run import Result, run

ORDERED: Final = 19  # the rule whose twins do everything at the same times
SICK: Final = "iso-1"  # has all the faults of an isolation twin
# faults of a box that leave the house's takes as they are: the others' acts then mean the same in both runs
ISOLATED: Final = (
    *("refuse", "swallow", "cut_reply", "half_open", "latency", "jitter", "crumbs", "coalesce", "long_line"),
    *("garbage", "flap", "one_session", "swapped", "narrow", "notice_storm", "unknown_words", "echo_twice"),
)


def isolation(seed: int) -> tuple[Result, Result]:
    """One sick deck that nobody means, against the same run without: rule 12."""
    chance = random.Random(f"isolation:{seed}")
    plan = make_plan(seed)
    decks = max(3, plan.decks)
    well = [f"iso-{number}" for number in range(2, decks + 1)]
    ops: list[Op] = []
    at = 4.0
    for number in range(8):
        verb = ("roll", "cut")[number % 2]
        at += chance.uniform(2.5, 4.0)
        ops.append(Op(round(at, 3), "ines", verb, well[(number // 2) % len(well)], f"k{number:03}", take="seen"))
        ops.append(Op(round(at, 3), "ben", "set", "hall", f"k{100 + number:03}", arg=1 + number))
    faults = tuple(
        Fault(
            round(chance.uniform(2.0, at), 3), round(chance.uniform(0.5, 8.0), 3), kind, SICK, round(chance.random(), 3)
        )
        for kind in chance.sample(ISOLATED, 3)
    )
    sick = Plan(seed, "isolation", decks, round(at + 2.0, 1), tuple(ops), faults)
    return run(sick), run(replace(sick, faults=()))


def clocks(seed: int) -> tuple[Result, Result]:
    """A plan with steps of the wall clock, restarts and all, against the same one without: rule 19."""
    chance = random.Random(f"clocks:{seed}")
    plan = make_plan(seed, "slow-link" if seed % 2 else "general").without("wall_step")
    steps = tuple(
        Fault(round(chance.uniform(1.0, plan.length), 3), round(chance.uniform(0.5, 8.0), 3), "wall_step", "", x)
        for x in (0.2, 0.8, round(chance.random(), 3))
    )
    stepped = replace(plan, faults=tuple(sorted((*plan.faults, *steps), key=lambda one: one.t)))
    # the same end for both, so that nothing else differs
    length = max(plan.length, stepped.healed)
    return run(replace(stepped, length=length)), run(replace(plan, length=length))


def differences(rule: int, results: tuple[Result, Result]) -> list[Breach]:
    """What ended otherwise than in the twin."""
    one, other = results[0].verdicts, results[1].verdicts
    return [
        Breach(rule, 0.0, f"{key} for {device or 'all'} ended {one.get((key, device))}, its twin's {ended}")
        for (key, device), ended in other.items()
        if one.get((key, device)) != ended
    ] + (_order(rule, results) if rule == ORDERED else [])


def _order(rule: int, results: tuple[Result, Result]) -> list[Breach]:
    """Was something written down at another time, or in another order, than in the twin?"""
    one, other = (
        [
            (line.kind, line.data.get("what"), line.data.get("device"), f"{line.mono:.3f}")
            for line in result.run.journal.lines
        ]
        for result in results
    )
    return [
        Breach(rule, float(twin[3]) - START_S, f"the journal has {mine}, its twin's {twin}")
        for mine, twin in zip(one, other, strict=False)
        if mine != twin
    ][:1]
