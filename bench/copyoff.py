"""How fast are four recorders copied off at once, beside `cp` and `xxhsum` on the same disk, and whom does it delay?"""

import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from bench.process import HOUSE, PATIENCE_S, BenchError
from bench.rows import Row
from tests.copyoff.copier import House
from tests.copyoff.servers import Server, vsftpd

DECKS: Final = 4
BLOCK: Final = 1 << 20
VARIANTS: Final = ("floor", "engine")
# copies, sees to it that the copy is on the disk and out of memory, reads it back: what a careful person does by hand
BY_HAND: Final = """
for clip in "$0"/1/*; do
    copy="$1/$(basename "$clip")"
    cp "$clip" "$copy" && dd if=/dev/null of="$copy" conv=notrunc,fdatasync status=none &&
    dd if="$copy" iflag=nocache count=0 status=none && xxhsum -q -H2 "$copy" || exit 1
done
"""


def measure(*, rounds: int, clips: int, size: int) -> list[Row]:
    """Four vsftpd on loopback, a deck each; `clips` of `size` bytes on each deck, out of memory before each round.

    Raises:
        BenchError: vsftpd or xxhsum is not there, or a copy went wrong.
    """
    for program, package in (("vsftpd", "vsftpd"), ("xxhsum", "xxhash")):
        if shutil.which(program, path=f"{os.environ['PATH']}:/usr/sbin") is None:
            raise BenchError(f"{program} is not installed. On Debian: apt-get install {package}")
    if os.geteuid():
        raise BenchError("vsftpd has to be started as root.")
    seen: dict[str, list[float]] = {variant: [] for variant in VARIANTS}
    told: list[dict[str, Any]] = []
    beside: list[dict[str, Any]] = []  # a loop with nothing to do, while cp and xxhsum work
    with ExitStack() as stack:
        decks = [stack.enter_context(vsftpd()) for _ in range(DECKS)]
        for deck in decks:
            _fill(deck, clips, size)
        for _ in range(rounds):
            for variant in random.sample(VARIANTS, len(VARIANTS)):
                _forget(deck.top for deck in decks)
                with _folder() as target:
                    if variant == "floor":
                        with _idle_loop(beside):
                            seen[variant].append(_by_hand(decks, target))
                    else:
                        told.append(_by_engine(decks, target))
                        seen[variant].append(told[-1]["seconds"])
    whole = DECKS * clips * size / 1e6
    best = {variant: min(times) for variant, times in seen.items()}
    middle = {variant: statistics.median(times) for variant, times in seen.items()}
    lag = statistics.median(one["lag_p99_ms"] for one in told)
    return [
        Row(
            f"copy of {DECKS} decks, verified / cp + xxhsum",
            middle["engine"] / middle["floor"],
            1.25,  # 0.8 of its throughput
            1.0,
            detail={
                "MB": whole,
                **{f"{variant} MB/s": whole / middle[variant] for variant in VARIANTS},
                **{f"{variant} best MB/s": whole / best[variant] for variant in VARIANTS},
                "engine processor s": statistics.median(one["processor_s"] for one in told),
            },
        ),
        Row(
            "its loop's lateness meanwhile, p99",
            lag,
            20,
            10,
            "ms",
            {
                f"{of} {name}": statistics.median(one[name] for one in some)
                for of, some in (("engine", told), ("idle loop beside cp", beside))
                for name in ("lag_p50_ms", "lag_p99_ms", "lag_max_ms")
            },
        ),
    ]


def _fill(deck: Server, clips: int, size: int) -> None:
    block = random.randbytes(BLOCK)
    for number in range(clips):
        file = deck.put(f"1/T{number:03d}.mov", 0)
        with file.open("wb") as out:
            for _ in range(size // BLOCK):
                out.write(block)
        os.utime(file, (0, 0))
    os.sync()


def _forget(tops: Iterator[Path]) -> None:
    """Nothing of the sources stays in memory. Source: posix_fadvise(2), DONTNEED."""
    for top in tops:
        for file in top.rglob("*.mov"):
            handle = os.open(file, os.O_RDONLY)
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(handle)


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="copies-") as name:
        yield Path(name)
        os.sync()


def _by_hand(decks: list[Server], target: Path) -> float:
    """A shell for each deck, all at once; seconds."""
    began = time.monotonic()
    shells = []
    for number, deck in enumerate(decks):
        folder = target / str(number)
        folder.mkdir()
        words = ["/bin/sh", "-c", BY_HAND, str(deck.top), str(folder)]
        shells.append(subprocess.Popen(words, stdout=subprocess.DEVNULL))
    if any(shell.wait(PATIENCE_S) for shell in shells):
        raise BenchError("cp or xxhsum went wrong. Their own words stand above.")
    return time.monotonic() - began


@contextmanager
def _idle_loop(told: list[dict[str, Any]]) -> Iterator[None]:
    words = [sys.executable, "-m", "bench.copying"]
    pipe = subprocess.PIPE
    with subprocess.Popen(words, stdin=pipe, stdout=pipe, text=True, cwd=HOUSE) as loop:
        assert loop.stdin is not None
        assert loop.stdout is not None
        loop.stdin.write("idle\n")
        loop.stdin.flush()
        loop.stdout.readline()
        yield
        told.append(json.loads(loop.communicate(timeout=PATIENCE_S)[0]))


def _by_engine(decks: list[Server], target: Path) -> dict[str, Any]:
    (target / "data").mkdir()
    (target / "copies").mkdir()
    addresses = {f"iso-{number}": deck.address for number, deck in enumerate(decks, 1)}
    house = House(str(target / "data"), addresses, {"shuttle": str(target / "copies")})
    words = [sys.executable, "-m", "bench.copying"]
    done = subprocess.run(
        words,
        input=json.dumps(asdict(house)),
        stdout=subprocess.PIPE,
        text=True,
        cwd=HOUSE,
        timeout=PATIENCE_S,
        check=False,
    )
    if done.returncode:
        raise BenchError("The copy engine ended early. Its own words stand above.")
    told: dict[str, Any] = json.loads(done.stdout)
    if told["wrong"]:
        raise BenchError(f"A copy went wrong: {told['wrong'][0]}")
    return told
