"""How soon does the daemon answer, what does it weigh beside an empty one, and what does a device add?"""

import random
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from bench.farend import FarEnd
from bench.process import HOUSE, PATIENCE_S, BenchError, Caller, resident_kb, write_site
from bench.rows import Row

FEW: Final = 10
MANY: Final = 1000
WATCHED: Final = "stagectl_device_adopted{"


def measure(program: Path, *, repeats: int, many: int = MANY) -> list[Row]:
    """`stagectl serve` itself, with 10 recorders and with 1,000, beside an empty daemon."""
    seen: dict[str, list[tuple[float, int]]] = {"empty": [], "few": []}
    heavy: list[int] = []
    with tempfile.TemporaryDirectory() as folder, FarEnd(program, FEW) as far, FarEnd(program, many) as far_many:
        few_site = write_site(Path(folder) / "few.yaml", far)
        many_site = write_site(Path(folder) / "many.yaml", far_many)
        for turn in range(repeats):
            for variant in random.sample(("empty", "few"), 2):
                port = _free_port()
                with _started(_words(variant, few_site, port, f"{folder}/{turn}"), port) as (process, first_s):
                    if variant == "few":
                        _wait_adopted(port, FEW)
                    seen[variant].append((first_s, resident_kb(process.pid)))
        for turn in range(max(1, repeats // 3)):
            port = _free_port()
            with _started(_words("many", many_site, port, f"{folder}/many-{turn}"), port) as (process, _):
                _wait_adopted(port, many)
                heavy.append(resident_kb(process.pid))
    first = statistics.median(few[0] / empty[0] for few, empty in zip(seen["few"], seen["empty"], strict=True))
    few_kb, empty_kb = (statistics.median(one[1] for one in seen[variant]) for variant in ("few", "empty"))
    told = {f"{variant} first answer ms": 1e3 * statistics.median(one[0] for one in seen[variant]) for variant in seen}
    weights = {"empty MB": empty_kb / 1024, f"{FEW} MB": few_kb / 1024, f"{many} MB": statistics.median(heavy) / 1024}
    return [
        Row(
            f"memory a device, from {FEW} to {many}",
            (statistics.median(heavy) - few_kb) / (many - FEW),
            64,
            24,
            "KB",
            weights,
        ),
        Row("memory above an empty daemon", (few_kb - empty_kb) / 1024, 40, 20, "MB"),
        Row("first answer / empty daemon", first, 3.0, 2.0, detail=told),
    ]


def _words(variant: str, site: Path, port: int, data: str) -> list[str]:
    if variant == "empty":
        return ["bench.floor_empty", str(port)]
    return ["stagectl", "serve", str(site), "--http", f"127.0.0.1:{port}", "--data", data, "--log", "error"]


@contextmanager
def _started(words: list[str], port: int) -> Iterator[tuple[subprocess.Popen[bytes], float]]:
    """A program, and how long it took until it answered."""
    began = time.monotonic()
    process = subprocess.Popen([sys.executable, "-m", *words], cwd=HOUSE, stdout=subprocess.DEVNULL)
    try:
        yield process, _first_answer(process, port, began) - began
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _first_answer(process: subprocess.Popen[bytes], port: int, began: float) -> float:
    while time.monotonic() - began < PATIENCE_S:
        try:
            caller = Caller(port)
        except ConnectionRefusedError:
            if process.poll() is not None:
                break
            time.sleep(0.002)
            continue
        answer = caller.call("GET", "/livez")
        at = time.monotonic()
        caller.close()
        if answer.status == 200:
            return at
    raise BenchError("A program did not answer. Its own words stand above.")


def _wait_adopted(port: int, number: int) -> None:
    """Wait until every recorder is followed, and the daemon has come to rest."""
    caller = Caller(port)
    until = time.monotonic() + PATIENCE_S
    while True:
        text = caller.call("GET", "/metrics").body.decode()
        adopted = sum(line.startswith(WATCHED) and line.endswith(" 1.0") for line in text.splitlines())
        if adopted == number:
            break
        if time.monotonic() > until:
            raise BenchError(f"Only {adopted} of {number} recorders were adopted.")
        time.sleep(1.0)
    caller.close()
    time.sleep(3.0)


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as found:
        port: int = found.getsockname()[1]
    return port
