"""How does the real engine run in these tests? Real disk, real sockets, real threads; in the test or in a process.

As a process, `python -m tests.copyoff.copier`, it takes a `House` as one line of JSON on its standard input, goes on
with the run that a kill interrupted or begins one, and prints how it ended. It may be told to die by SIGKILL at a
moment that no test could meet from outside.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stagectl.copyoff.engine import Engine, threads_needed
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.ftp import FtpStore
from stagectl.copyoff.job import Job, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.mhl import Sealing
from stagectl.copyoff.plan import Layout
from stagectl.copyoff.settings import Care, Deck
from stagectl.copyoff.target import Place
from stagectl.driverkit.real import RealClock, RealIds, RealOffload
from stagectl.site.copyentries import USUAL_ORDER
from tests.copyoff.dying import dies

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

QUICK: Final = (0.05, 0.1)  # seconds between two looks; the product's are 10 and 30
AGAIN_S: Final = 0.05  # before the first try again; the product's is 2
RUN_S: Final = 80.0  # a run that takes longer hangs
TRIES: Final = 3


@dataclass
class House:
    """What is copied from where to where.

    Attributes:
        data: folder of the database.
        decks: control address of each deck's store.
        targets: folder of each target.
        die: when the process kills itself, see `tests.copyoff.dying`; None: it does not.
        reserve: bytes left free on a target.
        knows_room: targets can tell how much is free; some mounts can't.
        rests: what is known of each deck; it rests, unless said.
    """

    data: str
    decks: dict[str, tuple[str, int]]
    targets: dict[str, str]
    double_read: bool = False
    bytes_per_s: int | None = None
    die: tuple[str, Any] | None = None
    reserve: int = 0
    knows_room: bool = True
    rests: dict[str, bool | None] = field(default_factory=dict)

    def deck(self, name: str) -> Deck:
        host, port = self.decks[name]
        return Deck(name, name.upper(), partial(FtpStore, name.upper(), host, port, wall=lambda: datetime.now(UTC)))


class Copier:
    """An engine that runs, and its database."""

    def __init__(self, engine: Engine, jobs: Jobs, changed: asyncio.Event) -> None:
        self.engine = engine
        self.jobs = jobs
        self.changed = changed

    async def until(self, so: Callable[[], bool]) -> None:
        """Wait until something is so."""
        async with asyncio.timeout(RUN_S):
            while not so():
                self.changed.clear()
                with suppress(TimeoutError):
                    async with asyncio.timeout(0.1):
                        await self.changed.wait()

    async def whole_run(self) -> None:
        """A run from its start to its end."""
        await self.engine.run(Wanted())
        await self.ended()

    async def ended(self) -> None:
        await self.until(lambda: not self.engine.progress().running)

    def all(self) -> list[Job]:
        """Every job."""
        return self.jobs.page(Wanted(), most=10_000)


@asynccontextmanager
async def copying(house: House, look_apart_s: tuple[float, float] = QUICK) -> AsyncIterator[Copier]:
    """The engine of a house, started."""
    loop = asyncio.get_running_loop()
    jobs = Jobs(Path(house.data) / "copies.db")
    decks = [house.deck(name) for name in house.decks]
    places = [Place(name, top, partial(Folder, name, Path(top)), house.reserve) for name, top in house.targets.items()]
    threads = RealOffload(threads_needed(decks, places), behind=True)
    changed = asyncio.Event()
    engine = Engine(
        clock=RealClock(loop),
        ids=RealIds(),
        threads=threads,
        elapsed=time.monotonic,
        jobs=jobs,
        decks=decks,
        places=places,
        layout=Layout(),
        order=USUAL_ORDER,
        takes=lambda: (),
        rests=lambda deck: house.rests.get(deck, True),
        care=Care(
            bytes_per_s=house.bytes_per_s,
            double_read=house.double_read,
            tries=TRIES,
            again_s=AGAIN_S,
            look_apart_s=look_apart_s,
        ),
        seal=Sealing(lambda: datetime.now(UTC), "tidewater", "0"),
        on_published=lambda copy: None,
        changed=changed.set,
    )
    copier = Copier(engine, jobs, changed)
    try:
        await engine.start()
        yield copier
    finally:
        await engine.stop()
        jobs.close()
        threads.close()


@dataclass(frozen=True, slots=True)
class Started:
    """A process that copies."""

    process: subprocess.Popen[str]

    def result(self) -> tuple[int, list[dict[str, Any]]]:
        """Its return code (-9: it died as it was told) and what it printed of each copy."""
        told, _ = self.process.communicate(timeout=RUN_S + 20)
        return self.process.returncode, json.loads(told) if told else []


def started(house: House, *, within: Sequence[str] = (), env: Mapping[str, str] | None = None) -> Started:
    """Start a process that copies; `within`: the words that begin its command."""
    words = [*within, sys.executable, "-m", "tests.copyoff.copier"]
    pipe = subprocess.PIPE
    process = subprocess.Popen(words, stdin=pipe, stdout=pipe, text=True, env={**os.environ, **(env or {})})
    assert process.stdin is not None
    process.stdin.write(json.dumps(asdict(house)) + "\n")
    process.stdin.flush()
    return Started(process)


def run(
    house: House, *, within: Sequence[str] = (), env: Mapping[str, str] | None = None
) -> tuple[int, list[dict[str, Any]]]:
    """A process that copies, to its end; see `Started.result`."""
    return started(house, within=within, env=env).result()


def tree(top: Path, *, parts: bool = True) -> dict[str, str]:
    """Every file below a folder: path and SHA-256 of its bytes, or "sparse" and its size where it is over 64 MiB."""
    found = {}
    for file in sorted(top.rglob("*")):
        if file.is_file() and (parts or ".part-" not in file.name):
            size = file.stat().st_size
            whole = f"sparse {size}" if size > 64 << 20 else hashlib.sha256(file.read_bytes()).hexdigest()
            found[str(file.relative_to(top))] = whole
    return found


async def _main(house: House) -> int:
    dies(house.die)
    if not house.knows_room:
        Folder.free = lambda _: None  # type: ignore[method-assign,assignment,return-value]
    async with copying(house) as copier:
        if copier.engine.progress().running:
            await copier.ended()
        await copier.whole_run()
        told = [
            {
                "source": job.source.path,
                "target": copy.target,
                "state": copy.state,
                "reason": copy.reason,
                "why": copy.why,
                "tree": tree(Path(house.targets[copy.target]), parts=False),
            }
            for job in copier.all()
            for copy in job.copies
        ]
    sys.stdout.write(json.dumps(told))
    return 0


if __name__ == "__main__":
    sys.exit(asyncio.run(_main(House(**json.loads(sys.stdin.readline())))))
