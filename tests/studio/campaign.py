"""How are many seeds run, and what is told of one that breaks a rule? It is shrunk, stored, and can be replayed."""

import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from pathlib import Path
from typing import Final

from tests.studio.crashes import crashes
from tests.studio.plan import make_plan
from tests.studio.reach import ENOUGH, missing, reachable, table
from tests.studio.run import run
from tests.studio.shrink import shrink

SEEDS: Final = Path(__file__).parent / "seeds"
Outcome = tuple[
    int, str, list[str], dict[str, int], float, float
]  # seed, profile, breaches, reached, virtual, processor


def profile_of(seed: int, profile: str) -> str:
    """Of "all": two general plans, then one of each other profile."""
    turns = ("general", "general", "slow-link", "deck", "disk", "crash")
    return turns[seed % len(turns)] if profile == "all" else profile


def one(task: tuple[int, str]) -> Outcome:
    seed, profile = task
    began = time.process_time()
    result = run(make_plan(seed, profile))
    breaches = [str(breach) for breach in result.breaches]
    return seed, profile, breaches, dict.fromkeys(result.reached, 1), result.virtual_s, time.process_time() - began


def campaign(seeds: range, profile: str, jobs: int) -> int:
    began = time.perf_counter()
    reached: Counter[str] = Counter()
    broken, virtual_s, processor_s = 0, 0.0, 0.0
    tasks = [(seed, profile_of(seed, profile)) for seed in seeds]
    for number, (seed, kind, breaches, here, lasted_s, spent_s) in enumerate(_outcomes(tasks, jobs), 1):
        reached.update(here)
        virtual_s, processor_s = virtual_s + lasted_s, processor_s + spent_s
        if breaches:
            broken += 1
            print(_failure(seed, kind, breaches), flush=True)
        if number % 100 == 0:
            print(f"{number} of {len(tasks)} seeds, {broken} broken", file=sys.stderr, flush=True)
    if profile == "all" and len(tasks) >= ENOUGH:
        broken += _deaths(reached)
    wall_s = time.perf_counter() - began
    print(
        f"{len(tasks)} seeds, {broken} with a broken rule, {virtual_s / 3600:.1f} virtual hours in {wall_s:.0f} s: "
        f"{len(tasks) / wall_s:.1f} seeds/s, {virtual_s / wall_s:.0f} times real time, "
        f"{processor_s / len(tasks):.2f} s of a processor each"
    )
    print(f"reached in so many of these runs:\n{table(reached)}")
    never = missing(reached) if profile == "all" else []
    print(f"{len(reachable(reached)) - len(missing(reached))} of {len(reachable(reached))} were reached")
    if never:
        few = f" {len(tasks)} seeds are few: from {ENOUGH} on that is a failure." if len(tasks) < ENOUGH else ""
        print(f"Never reached: {', '.join(never)}. A campaign that misses these proves less.{few}")
    return 1 if broken or (never and len(tasks) >= ENOUGH) else 0


def _deaths(reached: Counter[str]) -> int:
    """Die before each effect of one story too: seeds seldom strike the few milliseconds of some awaits."""
    broken = 0
    for crash, result in crashes(0):
        reached.update(dict.fromkeys(result.reached, 1))
        if result.breaches:
            broken += 1
            print(f"{crash.how} before effect {crash.at} of the story: {result.breaches[0]}", flush=True)
    return broken


def _outcomes(tasks: Sequence[tuple[int, str]], jobs: int) -> Iterator[Outcome]:
    if jobs <= 1:
        yield from map(one, tasks)
        return
    with get_context("spawn").Pool(jobs, maxtasksperchild=200) as pool:
        yield from pool.imap_unordered(one, tasks, chunksize=2)


def _failure(seed: int, profile: str, breaches: list[str]) -> str:
    """Shrink it, store it, and say how to see it again."""
    plan = make_plan(seed, profile)
    rule = breaches[0].partition(" at ")[0]
    small, runs = shrink(plan, lambda one: any(str(breach).startswith(f"{rule} ") for breach in run(one).breaches))
    SEEDS.mkdir(exist_ok=True)
    path = SEEDS / f"new-{profile}-{seed}.json"
    path.write_text(small.dump(), "utf-8")
    kept = [str(breach) for breach in run(small).breaches] or breaches
    where = path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
    lines = [
        f"seed {seed} profile {profile} commit {_commit()}: {kept[0]}",
        f"  {len(plan.ops)} acts + {len(plan.faults)} faults -> {len(small.ops)} + {len(small.faults)} in {runs} runs",
        *(f"  {one}" for one in (*small.faults, *small.ops)),
        f"  python -m tests.studio replay {where} --trace",
    ]
    return "\n".join(lines)


def _commit() -> str:
    found = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    return found.stdout.strip() or "unknown"
