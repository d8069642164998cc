"""The long runs with real processes: `python -m tests.real kills --rounds 200`, `... soak --minutes 20` and others."""

import argparse
import sys
import tempfile
from pathlib import Path
from typing import Protocol

from tests.real import brokerback, copykills, kills, soak, stream


class Done(Protocol):
    """What a run came to; `wrong` has a sentence for each promise that was broken."""

    wrong: list[str]

    def told(self) -> str: ...


def main() -> int:
    """Run; 0 if every promise held."""
    parser = argparse.ArgumentParser(prog="python -m tests.real")
    ways = parser.add_subparsers(dest="way", required=True)
    way = ways.add_parser("kills", help="SIGKILL the daemon at random while 24 decks roll")
    way.add_argument("--rounds", type=int, default=200)
    way.add_argument("--seed", type=int, default=1)
    way = ways.add_parser("soak", help="roll and cut 24 decks for so long, and watch memory and handles")
    way.add_argument("--minutes", type=float, default=20.0)
    way = ways.add_parser(
        "stream", help="1,500 notices a second for so long, and watch loop, memory and what is dropped"
    )
    way.add_argument("--minutes", type=float, default=10.0)
    way = ways.add_parser("broker", help="kill and wipe the broker of a large house, and wait until all is there again")
    way.add_argument("--boxes", type=int, default=500)
    ways.add_parser("copykills", help="SIGKILL the daemon in the middle of each state of a copy; six minutes")
    asked = parser.parse_args()
    if asked.way == "kills":
        return _kills(asked)
    if asked.way == "stream":
        return _told(stream.run(60 * asked.minutes))
    with tempfile.TemporaryDirectory(prefix=f"stagectl-{asked.way}-") as folder:
        if asked.way == "copykills":
            return _told(copykills.run(Path(folder), _say))
        if asked.way == "broker":
            return _told(brokerback.run(Path(folder), asked.boxes))
        return _told(soak.run(Path(folder), 60 * asked.minutes))


def _told(done: Done) -> int:
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
