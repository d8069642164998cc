"""The simulated studio at the terminal: campaigns, replays, crashes at every effect, and the museum of planted bugs.

python -m tests.studio campaign --seeds 300 [--profile disk] [--from 0] [--jobs 2]
python -m tests.studio replay tests/studio/seeds/230.json [--trace]
python -m tests.studio crash [--seed 0] [--every 1]
python -m tests.studio museum [NAME ...] [--seeds 500] [--jobs 2] [--minutes 10]
python -m tests.studio twins --seeds 30
python -m tests.studio same --seeds 50
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from tests.studio import twins
from tests.studio.campaign import campaign
from tests.studio.crashes import crashes
from tests.studio.museum import BUGS
from tests.studio.museum.visit import visit
from tests.studio.plan import PROFILES, Plan
from tests.studio.run import Result, run
from tests.studio.same import differing


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
    one = verbs.add_parser("museum", help="plant each old bug and see that it is caught")
    one.add_argument("names", nargs="*")
    one.add_argument("--seeds", type=int, default=500)
    one.add_argument("--jobs", type=int, default=2)
    one.add_argument("--minutes", type=float, default=10.0)
    one = verbs.add_parser("twins", help="runs that must end alike")
    one.add_argument("--seeds", type=int, default=30)
    one = verbs.add_parser("same", help="runs that must be the same in every process")
    one.add_argument("--seeds", type=int, default=50)
    told = parser.parse_args(arguments)
    if told.verb == "campaign":
        return campaign(range(told.first, told.first + told.seeds), told.profile, told.jobs)
    if told.verb == "replay":
        return _replay(told.file, trace=told.trace)
    if told.verb == "crash":
        return _crash(told.seed, told.every)
    if told.verb == "museum":
        return 1 if visit(told.names or list(BUGS), told.seeds, told.jobs, told.minutes, _say) else 0
    if told.verb == "same":
        return _same(told.seeds)
    return _twins(told.seeds)


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


def _say(text: str) -> None:
    print(text, flush=True)


def _twins(seeds: int) -> int:
    broken = 0
    for seed in range(seeds):
        for rule, pair in ((12, twins.isolation), (19, twins.clocks)):
            for breach in twins.differences(rule, pair(seed))[:1]:
                broken += 1
                print(f"{pair.__name__} seed {seed}: {breach}", flush=True)
    print(f"{2 * seeds} pairs of twins, {broken} differ")
    return 1 if broken else 0


def _same(seeds: int) -> int:
    others = list(differing(seeds))
    for task in others:
        print(f"{task} is not the same in every process")
    print(f"{seeds - len(others)} of {seeds} runs are the same")
    return 1 if others else 0


if __name__ == "__main__":
    sys.exit(main())
