"""How is the bench run? `python -m bench [CASE ...] [--quick] [--json]`; see README.md for how to read it."""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from bench import attacks, copyoff, copyroll, followers, lineup, roll, routes, setups, sick, state, weight
from bench.farend import FarEndError, build
from bench.process import BenchError, may_open_files, processors
from bench.rows import Row, details, table

FILES: Final = 8000

CASES: Final[dict[str, tuple[str, Callable[[Path, bool], list[Row]]]]] = {
    "roll": (
        "last byte, skew, answer and growth of roll all, beside a bare fan-out",
        lambda program, quick: roll.measure(
            program, (16, 64, 256, 1024), repeats=3 if quick else 7, rounds=7 if quick else 15
        ),
    ),
    "late": (
        "the answer when the decks take 100 ms to roll",
        lambda program, quick: roll.measure(
            program, (16, 64, 256, 1024), repeats=2 if quick else 5, rounds=5 if quick else 10, delay_ms=100
        ),
    ),
    "sick": (
        "one dead, one slow, one refusing deck among 64",
        lambda program, quick: sick.measure(program, repeats=2 if quick else 5, rounds=5 if quick else 10),
    ),
    "state": (
        "1,000 decks x 10 notices/s to 20 WebSockets, beside a bare merge",
        lambda program, quick: state.measure(program, repeats=2 if quick else 5, seconds=4 if quick else 10),
    ),
    "followers": (
        "2,000 who follow live, 200 of them told ten times a second, beside a bare merge",
        lambda program, quick: followers.measure(program, repeats=1 if quick else 3, seconds=5 if quick else 20),
    ),
    "busy": (
        "roll all of 1,000 while their notices come",
        lambda program, quick: state.measure_rolls(program, repeats=1 if quick else 5, rounds=4 if quick else 10),
    ),
    "routes": (
        "1,000 routes asked together of 40 routers, beside the shortest way for each in turn",
        lambda program, quick: routes.measure(seeds=range(2) if quick else range(7)),
    ),
    "setups": (
        "1,000 wanted values compared and applied, beside the bare wire",
        lambda program, quick: setups.measure(rounds=2 if quick else 7),
    ),
    "attack": (
        "24 healthy decks while passwords are guessed, connections dawdle and one deck floods",
        lambda program, quick: attacks.measure(program, rounds=2 if quick else 10),
    ),
    "lineup": (
        "a line-up of 100 recorders, each asked anew",
        lambda program, quick: lineup.measure(program, rounds=3 if quick else 9),
    ),
    "copy": (
        "four recorders copied off at once, beside cp + xxhsum, and a roll meanwhile",
        lambda program, quick: [
            *copyoff.measure(rounds=3 if quick else 9, clips=2, size=(64 if quick else 128) << 20),
            *copyroll.measure(program, presses=5 if quick else 50),
        ],
    ),
    "weight": (
        "memory, and the first answer",
        lambda program, quick: weight.measure(program, repeats=3 if quick else 9),
    ),
}


def main() -> int:
    """Returns 0 if every first bar holds, 1 if one does not, 2 if it could not be measured."""
    parser = argparse.ArgumentParser(prog="python -m bench", description="What stagectl costs beside bare floors.")
    parser.add_argument("case", nargs="*", help=f"all, or some of: {', '.join(CASES)}")
    parser.add_argument("--quick", action="store_true", help="a few minutes instead of about half an hour")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    asked = parser.parse_args()
    for name in asked.case:
        if name not in CASES:
            parser.error(f'there is no case "{name}". There is {", ".join(CASES)}.')
    if not sys.platform.startswith("linux"):
        print("The bench needs Linux: it reads kernel receive stamps and /proc.", file=sys.stderr)
        return 2
    rows: list[Row] = []
    failed: list[str] = []
    began = time.monotonic()
    try:
        may_open_files(FILES)
        with tempfile.TemporaryDirectory() as folder:
            program = build(Path(folder))
            for name in asked.case or CASES:
                about, measure = CASES[name]
                print(f"{name}: {about} ...", file=sys.stderr, flush=True)
                try:
                    rows.extend(measure(program, asked.quick))
                except BenchError as error:
                    failed.append(f"{name} could not be measured: {error}")
    except (BenchError, FarEndError) as error:
        print(error, file=sys.stderr)
        return 2
    took = time.monotonic() - began
    for line in failed:
        print(line, file=sys.stderr)
    if asked.json:
        plain = {"processors": processors(), "seconds": round(took), "rows": [row.plain() for row in rows]}
        print(json.dumps(plain, indent=2))
    else:
        print(table(rows))
        print(f"\nAbsolute figures, of this machine and this run alone ({processors()} processors, {took:.0f} s):")
        print(details(rows))
    return 2 if failed else int(any(row.held is False for row in rows))


if __name__ == "__main__":
    sys.exit(main())
