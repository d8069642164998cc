"""Which bugs must the campaign find? Each is planted, hunted in its own way, and counted until it is caught."""

import os
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from tests.studio import twins
from tests.studio.museum import of_boxes, of_commands, of_journal, of_people, of_takes
from tests.studio.museum.bug import BUGS
from tests.studio.plan import Plan, make_plan
from tests.studio.run import run

__all__ = ["BUGS", "caught_by", "of_boxes", "of_commands", "of_journal", "of_people", "of_takes"]
SEEDS: Final = Path(__file__).parents[1] / "seeds"
HASHES: Final = ("1", "2", "3")  # of strings, in the processes that must agree


def caught_by(name: str, seeds: Iterable[int]) -> str | None:
    """Hunt one bug: which rule caught it, and where. None: not in these seeds.

    A plan that breaks a rule without the bug too is passed over.
    """
    hunt = BUGS[name].hunt
    if hunt == "hash":
        return _by_hash(name)
    if hunt.endswith(".json"):
        plan = Plan.read(SEEDS / hunt)
        with BUGS[name].plant():
            found = run(plan).breaches
        return f"{found[0]} ({hunt})" if found and not run(plan).breaches else None
    for seed in seeds:
        with BUGS[name].plant():
            found = _broken(hunt, seed)
        if found and not _broken(hunt, seed):
            return f"{found} ({hunt} seed {seed})"
    return None


def _broken(hunt: str, seed: int) -> str:
    if hunt == "twins":
        return next((str(breach) for breach in twins.differences(19, twins.clocks(seed))), "")
    return next((str(breach) for breach in run(make_plan(seed, hunt)).breaches), "")


def _by_hash(name: str) -> str | None:
    """The same seed in processes whose strings hash otherwise."""
    code = (
        "from tests.studio.museum import BUGS\nfrom tests.studio.plan import make_plan\n"
        "from tests.studio.run import run\n"
        f"with BUGS[{name!r}].plant():\n    print(run(make_plan(0)).hash)"
    )
    told = {_process(code, hashes) for hashes in HASHES}
    return f"rule 25: {len(told)} hashes of one seed in {len(HASHES)} processes" if len(told) > 1 else None


def _process(code: str, hashes: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONHASHSEED": hashes},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return done.stdout.strip()
