"""Do two runs that must end alike do so? Faults of one recorder for the others, steps of the wall clock for all."""

import pytest

from tests.studio import twins


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_a_sick_recorder_changes_nothing_for_the_others(seed: int) -> None:
    assert [str(breach) for breach in twins.differences(12, twins.isolation(seed))] == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_steps_of_the_wall_clock_change_no_verdict(seed: int) -> None:
    assert [str(breach) for breach in twins.differences(19, twins.clocks(seed))] == []
