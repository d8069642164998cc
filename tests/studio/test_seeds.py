"""Does the whole daemon keep its promises under faults? Some plans of every profile, and all that ever broke a rule."""

from pathlib import Path
from typing import Final

import pytest

from tests.studio.plan import Plan, make_plan
from tests.studio.run import run

SEEDS: Final = Path(__file__).parent / "seeds"
FEW: Final = {"general": range(24), "slow-link": range(10), "deck": range(10), "disk": range(10), "crash": range(10)}


@pytest.mark.slow
@pytest.mark.parametrize("seed", [f"{profile}-{seed}" for profile, seeds in FEW.items() for seed in seeds])
def test_a_drawn_plan_breaks_no_rule(seed: str) -> None:
    profile, _, number = seed.rpartition("-")
    assert [str(breach) for breach in run(make_plan(int(number), profile)).breaches] == []


@pytest.mark.parametrize("path", sorted(SEEDS.glob("*.json")), ids=lambda path: path.stem)
def test_a_plan_that_once_broke_a_rule_breaks_none(path: Path) -> None:
    assert [str(breach) for breach in run(Plan.read(path)).breaches] == []
