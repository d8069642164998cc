"""What do 2,000 who follow live cost, 200 of them told something ten times a second, and how late gets the loop?

Both ways are measured in the same run, each started anew: the daemon, and a bare merge. Who is idle looks at something
that does not change, and is told a sentence a second by both.
"""

import statistics
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from bench.farend import FarEnd
from bench.process import Measured, resident_kb, write_site
from bench.roll import VARIANTS
from bench.rows import Row

OPEN: Final = 2000
ACTIVE: Final = 200
RATE: Final = 10  # notices a second of each recorder
DECKS: Final = 24
SETTLE_S: Final = 3.0


@dataclass(frozen=True, slots=True)
class Held:
    """What one variant came to."""

    kb_each: float  # memory of one more follower that is idle
    lag_p50_ms: float
    lag_p99_ms: float
    lag_p999_ms: float
    cpu: float  # share of one processor while 200 are told


def measure(program: Path, *, repeats: int, seconds: float) -> list[Row]:
    """Open them, let the recorders speak, look at the loop."""
    seen: dict[str, list[Held]] = {variant: [] for variant in VARIANTS}
    with FarEnd(program, DECKS) as far:
        for _ in range(repeats):
            for variant in VARIANTS:
                seen[variant].append(_held(variant, far, seconds))

    def middle(variant: str, name: str) -> float:
        return float(statistics.median(getattr(one, name) for one in seen[variant]))

    told = {
        f"{variant} {name}": middle(variant, name)
        for variant in VARIANTS
        for name in ("kb_each", "lag_p50_ms", "lag_p99_ms", "lag_p999_ms", "cpu")
    }
    what = f"{OPEN} follow, {ACTIVE} told {RATE}/s of {DECKS} recorders"
    return [
        Row(
            f"loop lag p99.9 / floor, {what}",
            middle("daemon", "lag_p999_ms") / middle("floor", "lag_p999_ms"),
            5.0,
            3.0,
            detail=told,
        ),
        Row("memory of one more follower / floor", middle("daemon", "kb_each") / middle("floor", "kb_each"), 3.0, 2.0),
        Row("CPU while they are told / floor", middle("daemon", "cpu") / middle("floor", "cpu")),
    ]


def _held(variant: str, far: FarEnd, seconds: float) -> Held:
    with tempfile.TemporaryDirectory() as folder:
        if variant == "floor":
            arguments, busy, idle = ["bench.floor_state", str(far.port), str(far.number)], "/live", "/live?idle=1"
        else:
            arguments = ["bench.daemon", str(write_site(Path(folder) / "site.yaml", far)), f"{folder}/data"]
            busy, idle = "/api/v1/live", "/api/v1/live?points=takes"
        with Measured(*arguments) as measured:
            measured.wait_ready(far.number)
            time.sleep(SETTLE_S)
            before = resident_kb(measured.pid)
            with Measured("bench.readers", str(measured.port), idle, str(OPEN - ACTIVE)):
                time.sleep(SETTLE_S)
                each = (resident_kb(measured.pid) - before) / (OPEN - ACTIVE)
                with Measured("bench.readers", str(measured.port), busy, str(ACTIVE)):
                    far.stream(RATE)
                    time.sleep(SETTLE_S)
                    measured.ask("watch")
                    spent, began = measured.cpu_s(), time.monotonic()
                    time.sleep(seconds)
                    spent, took = measured.cpu_s() - spent, time.monotonic() - began
                    lag = measured.ask("lag")
                    far.stream(0)
    return Held(each, lag["p50_ms"], lag["p99_ms"], lag["p999_ms"], spent / took)
