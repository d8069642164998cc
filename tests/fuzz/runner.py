"""How is a parser attacked, and what came of it? Its corpus whole, then inputs made of it, the odd ones made anew.

No coverage is measured: an input joins those that new ones are made of when it ended in a way nobody saw before.
"""

import random
import re
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import blake2b
from pathlib import Path
from typing import Final

from tests.fuzz.mutate import mutated
from tests.fuzz.target import Outcome, Target

POOL: Final = 3000  # inputs kept to make new ones of, besides the corpus
SLOW_KEPT: Final = 5
FOUND: Final = 10  # findings after which a run stops: more are the same one
_DIGITS: Final = re.compile(r"[0-9]+")


@dataclass(frozen=True, slots=True)
class Finding:
    """An input that a parser must not answer so."""

    data: bytes
    error: Exception

    def __str__(self) -> str:
        return f"{type(self.error).__name__}: {str(self.error)[:300]}"


@dataclass
class Result:
    """What a run came to; `slowest_s` is processor time, the best of three for the slowest input."""

    target: str
    about: str
    runs: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    ways: set[Outcome] = field(default_factory=set)
    found: list[Finding] = field(default_factory=list)
    slowest_s: float = 0.0
    slowest_bytes: int = 0
    took_s: float = 0.0


def attack(target: Target, runs: int, seed: int, *, guard: Callable[[], None] = lambda: None) -> Result:
    """Feed `runs` inputs to a target; the same seed feeds the same ones.

    Args:
        guard: called before each input, to set the alarm against one that hangs.
    """
    chance = random.Random(f"{target.name} {seed}")
    base = [*target.stored(), *target.examples] or [b""]
    made: list[bytes] = []
    slow: list[tuple[float, bytes]] = []
    result = Result(target.name, target.about)
    began = time.monotonic()
    for number in range(runs):
        if number < len(base):
            data = base[number]
        else:
            some = made if made and chance.random() < 0.5 else base
            data = mutated(chance.choice(some), [*base, *made[-50:]], target.words, target.shape, chance)
        guard()
        at = time.thread_time()
        try:
            way = target.attempt(data)
        except Exception as error:  # noqa: BLE001 - whatever a parser raises is the finding
            if not any(
                type(one.error) is type(error) and str(one)[:60] == f"{Finding(data, error)}"[:60]
                for one in result.found
            ):
                result.found.append(Finding(data, error))
            way = ("slip", type(error).__name__)
        spent = time.thread_time() - at
        if len(slow) < SLOW_KEPT or spent > slow[-1][0]:
            slow = sorted([*slow, (spent, data)], key=lambda one: -one[0])[:SLOW_KEPT]
        result.runs += 1
        result.outcomes[way[0]] += 1
        way = tuple(_DIGITS.sub("#", word)[:80] for word in way)
        if way not in result.ways:
            result.ways.add(way)
            if len(made) < POOL:
                made.append(data)
        if len(result.found) >= FOUND:
            break
    _time_again(target, slow, result)
    result.took_s = time.monotonic() - began
    return result


def _time_again(target: Target, slow: list[tuple[float, bytes]], result: Result) -> None:
    """The collector or a neighbour may have made an input look slow: each of the slowest is timed three times more."""
    for spent, data in slow:
        best = spent
        for _ in range(3):
            at = time.thread_time()
            try:
                target.attempt(data)
            except Exception:  # noqa: BLE001 - it is a finding already
                continue
            best = min(best, time.thread_time() - at)
        if best > result.slowest_s:
            result.slowest_s, result.slowest_bytes = best, len(data)


def smaller(target: Target, finding: Finding) -> bytes:
    """A shorter input that raises the same kind of error: pieces are left out as long as it does."""
    data = finding.data
    piece = max(1, len(data) // 2)
    tries = 0
    while piece and tries < 2000:
        at = 0
        while at < len(data) and tries < 2000:
            tries += 1
            shorter = data[:at] + data[at + piece :]
            if _raises(target, shorter, finding.error):
                data = shorter
            else:
                at += piece
        piece //= 2
    return data


def _raises(target: Target, data: bytes, error: Exception) -> bool:
    try:
        target.attempt(data)
    except Exception as again:  # noqa: BLE001 - the same kind counts
        return type(again) is type(error) and str(again)[:40] == str(error)[:40]
    return False


def keep(target: Target, data: bytes) -> Path:
    """Store an input in the corpus, so that every later run begins with it."""
    target.folder.mkdir(parents=True, exist_ok=True)
    path = target.folder / f"slip-{blake2b(data, digest_size=4).hexdigest()}"
    path.write_bytes(data)
    return path
