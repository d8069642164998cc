"""The long runs with real processes: `python -m tests.real kills --rounds 200`."""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.real import kills


def main() -> int:
    """Run; 0 if every promise held."""
    parser = argparse.ArgumentParser(prog="python -m tests.real")
    ways = parser.add_subparsers(dest="way", required=True)
    way = ways.add_parser("kills", help="SIGKILL the daemon at random while 24 decks roll")
    way.add_argument("--rounds", type=int, default=200)
    way.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="stagectl-kills-") as folder:
        done = kills.run(Path(folder), asked.rounds, asked.seed, _say)
    _say(kills.table(done))
    broken = sum(len(one.wrong) for one in done.rounds)
    _say(f"{asked.rounds} kills, seed {asked.seed}: {broken} promises broken.")
    return 1 if broken else 0


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
