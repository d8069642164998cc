"""What is the least that still breaks the same rule? Halve away faults, then acts, then faults, then round numbers."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

from tests.studio.plan import Plan

T = TypeVar("T")


def shrink(plan: Plan, breaks: Callable[[Plan], bool], *, runs: int = 60) -> tuple[Plan, int]:
    """Return a smaller plan for which `breaks` still holds, and how many runs that took (at most about `runs`)."""
    count = 0

    def tried(candidate: Plan) -> bool:
        nonlocal count
        count += 1
        return count <= runs and breaks(candidate)

    for _ in range(2):
        plan = _fewer_faults(plan, tried)
        plan = _fewer_ops(plan, tried)
    if plan.rolling_at_start and tried(bare := replace(plan, rolling_at_start=())):
        plan = bare
    for index, fault in enumerate(plan.faults):
        rounder = replace(fault, t=round(fault.t, 1), lasts=max(0.5, float(round(fault.lasts))), x=round(fault.x, 1))
        candidate = replace(plan, faults=(*plan.faults[:index], rounder, *plan.faults[index + 1 :]))
        if candidate != plan and tried(candidate):
            plan = candidate
    return plan, min(count, runs)


def _fewer_faults(plan: Plan, tried: Callable[[Plan], bool]) -> Plan:
    return replace(plan, faults=_least(plan.faults, lambda some: tried(replace(plan, faults=some))))


def _fewer_ops(plan: Plan, tried: Callable[[Plan], bool]) -> Plan:
    return replace(plan, ops=_least(plan.ops, lambda some: tried(replace(plan, ops=some))))


def _least(some: Sequence[T], breaks: Callable[[tuple[T, ...]], bool]) -> tuple[T, ...]:
    """Take out ever smaller runs of neighbours as long as it still breaks."""
    kept, size = tuple(some), max(1, len(some))
    while size:
        at = 0
        while at < len(kept):
            fewer = kept[:at] + kept[at + size :]
            if len(fewer) < len(kept) and breaks(fewer):
                kept = fewer
            else:
                at += size
        size //= 2
    return kept
