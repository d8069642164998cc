"""The long runs with real processes: `python -m tests.real kills --rounds 200`, `... soak --minutes 20`."""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.real import kills, soak


def main() -> int:
    """Run; 0 if every promise held."""
    parser = argparse.ArgumentParser(prog="python -m tests.real")
    ways = parser.add_subparsers(dest="way", required=True)
    way = ways.add_parser("kills", help="SIGKILL the daemon at random while 24 decks roll")
    way.add_argument("--rounds", type=int, default=200)
    way.add_argument("--seed", type=int, default=1)
    way = ways.add_parser("soak", help="roll and cut 24 decks for so long, and watch memory and handles")
    way.add_argument("--minutes", type=float, default=20.0)
    asked = parser.parse_args()
    return _soak(asked.minutes) if asked.way == "soak" else _kills(asked)


def _soak(minutes: float) -> int:
    with tempfile.TemporaryDirectory(prefix="stagectl-soak-") as folder:
        done = soak.run(Path(folder), 60 * minutes)
    _say(done.told())
    for text in done.wrong:
        _say(text)
    return 1 if done.wrong else 0


def _kills(asked: argparse.Namespace) -> int:
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
