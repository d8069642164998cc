"""Is a run the same each time? In one process, in fresh ones whose strings hash otherwise, and from its own file."""

import pytest

from tests.studio.plan import Plan, make_plan
from tests.studio.run import run
from tests.studio.same import SALTS, told
from tests.studio.shrink import shrink
from tests.studio.trace import first_difference


def test_a_plan_is_the_same_from_its_own_file() -> None:
    for profile in ("general", "slow-link", "disk", "crash"):
        plan = make_plan(7, profile)
        assert Plan.load(plan.dump()) == plan


def test_the_same_plan_leaves_the_same_trace_in_one_process() -> None:
    plan = make_plan(5)
    one, other = run(plan, keep_trace=True), run(plan, keep_trace=True)
    assert first_difference(one.lines, other.lines) == ""
    assert one.hash == other.hash


@pytest.mark.slow
def test_the_same_plan_leaves_the_same_trace_in_fresh_processes() -> None:
    here = {"general-3": run(make_plan(3)).hash}
    assert [told(["general-3"], salt) for salt in SALTS] == [here, here]


def test_shrinking_keeps_what_breaks_and_drops_the_rest() -> None:
    plan = make_plan(230)
    wanted = plan.faults[-1].kind

    def breaks(candidate: Plan) -> bool:
        return any(fault.kind == wanted for fault in candidate.faults)

    small, runs = shrink(plan, breaks)
    assert [fault.kind for fault in small.faults] == [wanted]
    assert small.ops == ()
    assert runs <= 60
