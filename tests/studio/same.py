"""Is each run the same in every process? Hashes of many seeds, told by processes whose strings hash otherwise."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from tests.studio.campaign import profile_of

SALTS: Final = ("1", "77")
WITHIN_S: Final = 60.0  # a seed, at most; on a machine with much else to do
CODE: Final = """
import sys
from tests.studio.plan import make_plan
from tests.studio.run import run
for task in sys.argv[1:]:
    profile, _, seed = task.rpartition("-")
    print(task, run(make_plan(int(seed), profile)).hash, flush=True)
"""


def told(tasks: list[str], salt: str) -> dict[str, str]:
    """The hash of each, "general-3", by a fresh process."""
    done = subprocess.run(
        [sys.executable, "-c", CODE, *tasks],
        env=os.environ | {"PYTHONHASHSEED": salt},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
        timeout=WITHIN_S * len(tasks),
    )
    return dict(line.split() for line in done.stdout.splitlines())


def differing(seeds: int) -> Iterator[str]:
    """The runs of these seeds, of all profiles in turn, that are not the same everywhere."""
    tasks = [f"{profile_of(seed, 'all')}-{seed}" for seed in range(seeds)]
    first, *others = (told(tasks, salt) for salt in SALTS)
    for task in tasks:
        if any(other[task] != first[task] for other in others):
            yield task
