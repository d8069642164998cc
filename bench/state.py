"""What does a notice cost on its way to 20 WebSockets, how late gets the loop, and what does a roll feel of it?"""

import random
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from bench.farend import FarEnd
from bench.process import BenchError, Measured, write_site
from bench.roll import ARM_S, REST_S, VARIANTS, Roller
from bench.rows import Row

NUMBER: Final = 1000
RATE: Final = 10  # notices a second of each recorder
CLIENTS: Final = 20
SETTLE_S: Final = 2.0
REACHED: Final = 0.99  # of the decks, at least: on a crowded machine a link or two may be late, and are named so
CUTS: Final = 5  # asked for again where the load kept a deck's report back


@dataclass(frozen=True, slots=True)
class Load:
    """What one variant did while the notices came."""

    cpu_us: float  # of the process for each notice
    net_us: float  # the same without what it spends while none come
    busy: float  # share of one processor
    lag_p50_ms: float
    lag_p99_ms: float


def measure(program: Path, *, repeats: int, seconds: float, number: int = NUMBER) -> list[Row]:
    """The same stream through both, each started anew in each repetition, one at a time, in random order."""
    seen: dict[str, list[Load]] = {variant: [] for variant in VARIANTS}
    with FarEnd(program, number) as far:
        for _ in range(repeats):
            for variant in random.sample(VARIANTS, len(VARIANTS)):
                with _running(variant, far) as measured:
                    seen[variant].append(_load(far, measured, seconds))

    def ratio(name: str) -> float:
        pairs = zip(seen["daemon"], seen["floor"], strict=True)
        return float(statistics.median(getattr(daemon, name) / getattr(floor, name) for daemon, floor in pairs))

    told = {
        f"{variant} {name}": statistics.median(getattr(load, name) for load in seen[variant])
        for variant in VARIANTS
        for name in ("cpu_us", "net_us", "busy", "lag_p50_ms", "lag_p99_ms")
    }
    what = f"{number} x {RATE}/s to {CLIENTS} WebSockets"
    return [
        Row(f"CPU per notice / floor, {what}", ratio("cpu_us"), 3.0, 2.0, detail=told),
        Row("... without what the daemon asks of its own", ratio("net_us")),
        Row("loop lag p99 / floor, under that load", ratio("lag_p99_ms"), 5.0, 3.0),
    ]


def measure_rolls(program: Path, *, repeats: int, rounds: int, number: int = NUMBER) -> list[Row]:
    """Roll all of the same decks with and without the stream, in the same daemon."""
    seen: list[tuple[float, float]] = []
    with FarEnd(program, number) as far:
        for _ in range(repeats):
            with _running("daemon", far) as measured:
                idle = _last_byte(far, measured, rounds)
                far.stream(RATE)
                time.sleep(SETTLE_S)
                seen.append((idle, _last_byte(far, measured, rounds)))
                far.stream(0)
    told = {name: statistics.median(pair[at] for pair in seen) for at, name in enumerate(("idle us", "loaded us"))}
    felt = statistics.median(loaded / idle for idle, loaded in seen)
    return [Row(f"last byte of {number} with {RATE} notices/s each / idle", felt, 5.0, 3.0, detail=told)]


@contextmanager
def _running(variant: str, far: FarEnd) -> Iterator[Measured]:
    with tempfile.TemporaryDirectory() as folder:
        if variant == "floor":
            arguments, path = ["bench.floor_state", str(far.port), str(far.number)], "/live"
        else:
            arguments = ["bench.daemon", str(write_site(Path(folder) / "site.yaml", far)), f"{folder}/data"]
            path = "/api/v1/live"
        with Measured(*arguments) as measured:
            measured.wait_ready(far.number)
            with Measured("bench.readers", str(measured.port), path, str(CLIENTS)):
                time.sleep(SETTLE_S)
                yield measured


def _load(far: FarEnd, measured: Measured, seconds: float) -> Load:
    quiet = _spent(measured, seconds / 2)
    far.stream(RATE)
    time.sleep(SETTLE_S)
    measured.ask("watch")
    notices, cpu, began = far.sent(), measured.cpu_s(), time.monotonic()
    time.sleep(seconds)
    notices, cpu, took = far.sent() - notices, measured.cpu_s() - cpu, time.monotonic() - began
    lag = measured.ask("lag")
    far.stream(0)
    return Load(
        1e6 * cpu / notices,
        1e6 * max(cpu - quiet * took, 1e-9) / notices,
        cpu / took,
        lag["p50_ms"],
        lag["p99_ms"],
    )


def _spent(measured: Measured, seconds: float) -> float:
    """Share of a processor that it takes while nothing comes."""
    cpu, began = measured.cpu_s(), time.monotonic()
    time.sleep(seconds)
    return (measured.cpu_s() - cpu) / (time.monotonic() - began)


def _last_byte(far: FarEnd, measured: Measured, rounds: int) -> float:
    """Median of the last byte of some rolls, us. A verdict that comes too late under the load is no matter here.

    Raises:
        BenchError: decks were left out.
    """
    roller = Roller(far, measured, "daemon")
    found = []
    for _ in range(rounds):
        time.sleep(REST_S)
        far.stamps()
        answer = roller.caller.call("POST", "/api/v1/roll?wait=verdict")
        stamps = far.stamps()
        if answer.status != 200 or stamps.count < REACHED * far.number:
            raise BenchError(f"A roll reached {stamps.count} of {far.number} decks ({answer.status}).")
        found.append((stamps.last - answer.asked) / 1e3)
        for _ in range(CUTS):
            ended = roller.caller.call("POST", "/api/v1/cut?wait=verdict", {"take": answer.body["take"]})
            if ended.status == 409 or (ended.status == 200 and ended.body["ended"] == "verified"):
                break  # 409: the take has ended meanwhile
        time.sleep(ARM_S + far.number / 1000)
    roller.caller.close()
    return statistics.median(found)
