"""The simulated studio at the terminal: campaigns, replays, crashes at every effect, and the museum of planted bugs.

python -m tests.studio campaign --seeds 300 [--profile disk] [--from 0] [--jobs 2]
python -m tests.studio replay tests/studio/seeds/230.json [--trace]
python -m tests.studio crash [--seed 0] [--every 1]
python -m tests.studio museum [NAME ...] [--seeds 500]
python -m tests.studio twins --seeds 30
"""

import argparse
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from pathlib import Path
from typing import Final

from tests.studio import twins
from tests.studio.crashes import crashes
from tests.studio.museum import BUGS, caught_by
from tests.studio.plan import PROFILES, Plan, make_plan
from tests.studio.reach import missing
from tests.studio.run import Result, run
from tests.studio.shrink import shrink

SEEDS: Final = Path(__file__).parent / "seeds"
Outcome = tuple[int, str, list[str], list[str], float, float]  # seed, profile, breaches, reached, virtual, processor


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.studio", description=__doc__.splitlines()[0])
    verbs = parser.add_subparsers(dest="verb", required=True)
    one = verbs.add_parser("campaign", help="many seeds; stops at nothing, shrinks and stores what breaks a rule")
    one.add_argument("--seeds", type=int, default=300)
    one.add_argument("--from", dest="first", type=int, default=0)
    one.add_argument("--profile", choices=(*PROFILES, "all"), default="all")
    one.add_argument("--jobs", type=int, default=2)
    one = verbs.add_parser("replay", help="one stored plan again")
    one.add_argument("file", type=Path)
    one.add_argument("--trace", action="store_true")
    one = verbs.add_parser("crash", help="die before every outside effect of one story, by kill and by power cut")
    one.add_argument("--seed", type=int, default=0)
    one.add_argument("--every", type=int, default=1)
    one = verbs.add_parser("museum", help="plant each old bug and count the seeds until it is caught")
    one.add_argument("names", nargs="*")
    one.add_argument("--seeds", type=int, default=500)
    one = verbs.add_parser("twins", help="runs that must end alike")
    one.add_argument("--seeds", type=int, default=30)
    told = parser.parse_args(arguments)
    if told.verb == "campaign":
        return _campaign(range(told.first, told.first + told.seeds), told.profile, told.jobs)
    if told.verb == "replay":
        return _replay(told.file, trace=told.trace)
    if told.verb == "crash":
        return _crash(told.seed, told.every)
    if told.verb == "museum":
        return _museum(told.names or list(BUGS), told.seeds)
    return _twins(told.seeds)


# --- campaign ---------------------------------------------------------------------------------------------------------


def _profile(seed: int, profile: str) -> str:
    """Of "all": two general plans, then one of each other profile."""
    turns = ("general", "general", "slow-link", "deck", "disk", "crash")
    return turns[seed % len(turns)] if profile == "all" else profile


def _one(task: tuple[int, str]) -> Outcome:
    seed, profile = task
    began = time.process_time()
    result = run(make_plan(seed, profile))
    breaches = [str(breach) for breach in result.breaches]
    return seed, profile, breaches, list(result.reached), result.virtual_s, time.process_time() - began


def _campaign(seeds: range, profile: str, jobs: int) -> int:
    began = time.perf_counter()
    reached: dict[str, None] = {}
    broken, virtual_s, processor_s = 0, 0.0, 0.0
    tasks = [(seed, _profile(seed, profile)) for seed in seeds]
    for number, (seed, kind, breaches, here, lasted_s, spent_s) in enumerate(_outcomes(tasks, jobs), 1):
        reached |= dict.fromkeys(here)
        virtual_s, processor_s = virtual_s + lasted_s, processor_s + spent_s
        if breaches:
            broken += 1
            print(_failure(seed, kind, breaches), flush=True)
        if number % 100 == 0:
            print(f"{number} of {len(tasks)} seeds, {broken} broken", file=sys.stderr, flush=True)
    wall_s = time.perf_counter() - began
    print(
        f"{len(tasks)} seeds, {broken} with a broken rule, {virtual_s / 3600:.1f} virtual hours in {wall_s:.0f} s: "
        f"{len(tasks) / wall_s:.1f} seeds/s, {virtual_s / wall_s:.0f} times real time, "
        f"{processor_s / len(tasks):.2f} s of a processor each"
    )
    never = missing(reached) if profile == "all" else []
    if never:
        print(f"Never reached: {', '.join(never)}. Run more seeds: a campaign that misses these proves less.")
    return 1 if broken or (never and len(tasks) >= 300) else 0


def _outcomes(tasks: Sequence[tuple[int, str]], jobs: int) -> Iterator[Outcome]:
    if jobs <= 1:
        yield from map(_one, tasks)
        return
    with get_context("spawn").Pool(jobs, maxtasksperchild=200) as pool:
        yield from pool.imap_unordered(_one, tasks, chunksize=2)


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


# --- the others -------------------------------------------------------------------------------------------------------


def _replay(path: Path, *, trace: bool) -> int:
    result = run(Plan.read(path), keep_trace=trace)
    for line in result.lines:
        print(line)
    return _tell(result)


def _tell(result: Result) -> int:
    for breach in result.breaches:
        print(breach)
    print(f"hash {result.hash}, {result.virtual_s:.0f} virtual seconds, {len(result.breaches)} breaches")
    return 1 if result.breaches else 0


def _crash(seed: int, every: int) -> int:
    broken = points = 0
    for crash, result in crashes(seed, every):
        points += 1
        if result.breaches:
            broken += 1
            print(f"{crash.how} before effect {crash.at}: {result.breaches[0]}", flush=True)
    print(f"{points} crashes, {broken} with a broken rule")
    return 1 if broken else 0


def _museum(names: Sequence[str], seeds: int) -> int:
    missed = 0
    for name in names:
        found = caught_by(name, seeds)
        missed += found is None
        about = BUGS[name].about
        print(
            f"{name}: {about} {'NOT CAUGHT in' if found is None else 'caught:'} {found or f'{seeds} seeds'}", flush=True
        )
    print(f"{len(names) - missed} of {len(names)} caught")
    return 1 if missed else 0


def _twins(seeds: int) -> int:
    broken = 0
    for seed in range(seeds):
        for rule, pair in ((12, twins.isolation), (19, twins.clocks)):
            for breach in twins.differences(rule, pair(seed))[:1]:
                broken += 1
                print(f"{pair.__name__} seed {seed}: {breach}", flush=True)
    print(f"{2 * seeds} pairs of twins, {broken} differ")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
