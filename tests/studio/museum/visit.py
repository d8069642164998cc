"""How is the whole museum gone through in one run? Each bug's kept seed first, then more seeds for those not caught."""

import time
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_context
from typing import Final

from tests.studio.museum import BUGS, caught_by

BLOCK: Final = 10  # seeds that one bug is hunted in before the next bug has its turn
Task = tuple[str, range]  # a bug, and the seeds it is hunted in


def visit(names: Sequence[str], seeds: int, jobs: int, minutes: float, tell: Callable[[str], None]) -> int:
    """Hunt each bug until it is caught, its seeds are used up or the time is over. Returns how many were not caught."""
    began = time.monotonic()
    left = dict.fromkeys(names)
    with get_context("spawn").Pool(jobs, maxtasksperchild=10) as pool:
        for tasks in _rounds(left, seeds):
            for name, found in pool.imap_unordered(_hunt, tasks):
                if found is not None:
                    del left[name]
                    tell(f"{name}: {BUGS[name].about}; caught: {found}")
                if time.monotonic() - began > 60 * minutes:
                    break
            if not left or time.monotonic() - began > 60 * minutes:
                break
        pool.terminate()
    for name in left:
        tell(f"{name}: {BUGS[name].about}; NOT CAUGHT by {BUGS[name].hunt}")
    took = time.monotonic() - began
    tell(f"{len(names) - len(left)} of {len(names)} caught, in {took:.0f} s with {jobs} processes")
    return len(left)


def _rounds(left: dict[str, None], seeds: int) -> Iterator[list[Task]]:
    """What is hunted in turn: all in their kept seeds, then what is left in block after block of others."""
    yield [(name, range(BUGS[name].first, BUGS[name].first + 1)) for name in left]
    for first in range(0, seeds, BLOCK):
        yield [(name, range(first, min(seeds, first + BLOCK))) for name in left if _drawn(name)]


def _drawn(name: str) -> bool:
    """Are there other seeds to hunt it in? A stored plan is one."""
    hunt = BUGS[name].hunt
    return hunt != "hash" and not hunt.endswith(".json")


def _hunt(task: Task) -> tuple[str, str | None]:
    name, seeds = task
    return name, caught_by(name, seeds)
