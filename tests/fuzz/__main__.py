"""Every parser of outside bytes under attack, damaged journals, bad frames on a live link, and generated requests.

python -m tests.fuzz [TARGET ...] [--runs 200000] [--seed 1] [--slowest-ms 100]
python -m tests.fuzz --list

A finding is made small and stored in the corpus, where every later run begins. Ends with 1 if anything was found.
"""

import argparse
import logging
import signal
import sys
from collections.abc import Callable, Sequence
from typing import Any, Final

import structlog

from tests.fuzz import api, damaged, guesses, live
from tests.fuzz.runner import Result, attack, keep, smaller
from tests.fuzz.target import Target
from tests.fuzz.targets import doors, files, journals, takes, texts, wires

HANGS_S: Final = 20.0  # processor time; an input that takes so long is one that hangs

PARSERS: Final[dict[str, Target]] = {
    target.name: target for part in (wires, doors, files, journals, takes, texts) for target in part.TARGETS
}
# Each: number of runs a full campaign makes, and how it is made.
CAMPAIGNS: Final[dict[str, tuple[int, Callable[[int, int], Result]]]] = {
    "damaged-journals": (20_000, damaged.campaign),
    "live-frames": (50_000, live.campaign),
    "api": (5_000, api.campaign),
    "guesses": (10_000, guesses.campaign),
}


def main(arguments: Sequence[str] | None = None) -> int:
    assert __doc__ is not None
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__.splitlines()[0])
    parser.add_argument("target", nargs="*", help="all, or some; see --list")
    parser.add_argument("--runs", type=int, default=200_000, help="inputs for each parser; the others take their share")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="names the targets")
    told = parser.parse_args(arguments)
    if told.list:
        print("\n".join([*PARSERS, *CAMPAIGNS]))
        return 0
    for name in told.target:
        if name not in PARSERS and name not in CAMPAIGNS:
            parser.error(f'there is no target "{name}". There is {", ".join([*PARSERS, *CAMPAIGNS])}.')
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    signal.signal(signal.SIGPROF, _hangs)
    results: list[Result] = []
    for name in told.target or [*PARSERS, *CAMPAIGNS]:
        if name in PARSERS:
            result = attack(PARSERS[name], told.runs, told.seed, guard=_alarm)
            _store(PARSERS[name], result)
        else:
            most, campaign = CAMPAIGNS[name]
            result = campaign(max(1, most * told.runs // 200_000), told.seed)
        signal.setitimer(signal.ITIMER_PROF, 0)
        print(_line(result), flush=True)
        for finding in result.found:
            print(f"    {finding}", flush=True)
        results.append(result)
    return int(any(result.found for result in results))


def _alarm() -> None:
    signal.setitimer(signal.ITIMER_PROF, HANGS_S)


def _hangs(*_: Any) -> None:
    raise TimeoutError(f"an input took longer than {HANGS_S:g} s")


def _store(target: Target, result: Result) -> None:
    """Keep what was found, made small."""
    for finding in result.found:
        _alarm()
        print(f"    stored as {keep(target, smaller(target, finding))}", file=sys.stderr)


def _line(result: Result) -> str:
    """One row of the table."""
    ended = ", ".join(f"{count} {word}" for word, count in result.outcomes.most_common())
    slow = f"slowest {result.slowest_s * 1e3:.1f} ms of {result.slowest_bytes} bytes" if result.slowest_bytes else ""
    seen = f"{len(result.ways)} ways" if result.ways else ""
    told = [f"{result.runs} runs in {result.took_s:.0f} s", f"{len(result.found)} found", ended, seen, slow]
    return f"{result.target:<20} " + "; ".join(part for part in told if part)


if __name__ == "__main__":
    sys.exit(main())
