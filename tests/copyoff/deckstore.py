"""A recorder's clip store in memory, with odd ways; and a house of them around the real engine."""

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from stagectl.copyoff.engine import Engine, threads_needed
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.job import Job, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import Layout
from stagectl.copyoff.record import Published
from stagectl.copyoff.settings import Care, Deck
from stagectl.copyoff.source import Found, Look, ToldBy
from stagectl.copyoff.target import Place, Target
from stagectl.driverkit.real import RealClock, RealIds
from stagectl.site.copyentries import USUAL_ORDER

NOON = datetime(2027, 3, 12, 12, tzinfo=UTC)
WITHIN_S = 20.0
QUICK = Care(look_apart_s=(0.02, 0.04), again_s=0.01, tries=3)


@dataclass
class DeckStore:
    """What lies on a recorder, and how it misbehaves.

    Attributes:
        clips: path -> bytes.
        reading, cut: set when a read begins, and when a session is cut.
        sessions, most: open now, and the most there ever were at once.
        reads: path and offset of each read that began.
        on_block: called in the copy's thread after each block; may raise, or change the clips.
        block: bytes a read gives at most.
        resumes: it can begin elsewhere than at the start.
        times_listed: its lists tell when files were written.
        says_all: it says at the end that this was all.
        ends_early: path -> byte after which its data ends, though its size is told whole.
        stalls: paths whose data never comes; a read of it ends when the session is cut.
        refuses: opening fails with this reason so many times.
    """

    clips: dict[str, bytes] = field(default_factory=dict)
    mtimes: dict[str, datetime] = field(default_factory=dict)
    reading: threading.Event = field(default_factory=threading.Event)
    cut: threading.Event = field(default_factory=threading.Event)
    sessions: int = 0
    most: int = 0
    lists: int = 0
    reads: list[tuple[str, int]] = field(default_factory=list)
    on_block: Callable[[str, int], None] = lambda path, at: None
    block: int = 1 << 16
    resumes: bool = True
    times_listed: bool = True
    says_all: bool = True
    ends_early: dict[str, int] = field(default_factory=dict)
    stalls: set[str] = field(default_factory=set)
    refuses: list[Reason] = field(default_factory=list)

    def open(self) -> "_Session":
        if self.refuses:
            raise CopyError(self.refuses.pop(0), "It does not answer.")
        return _Session(self)


class _Session:
    def __init__(self, deck: DeckStore) -> None:
        self._deck = deck
        self._open = True
        self.aborted = threading.Event()
        deck.sessions += 1
        deck.most = max(deck.most, deck.sessions)

    def clips(self) -> Iterator[Found]:
        self._deck.lists += 1
        for path in sorted(self._deck.clips):
            look = replace(self.look(path), told_by=ToldBy.FACTS)
            untimed = replace(look, mtime=None, told_by=ToldBy.NOBODY)
            yield Found(path, int(path[0]), look if self._deck.times_listed else untimed)

    def look(self, path: str) -> Look:
        if path not in self._deck.clips:
            raise CopyError(Reason.GONE, f"{path} is not there.")
        return Look(len(self._deck.clips[path]), self._deck.mtimes.get(path, NOON), ToldBy.ASKED)

    def open(self, path: str, offset: int) -> "_Transfer":
        self._deck.reads.append((path, offset))
        self._deck.reading.set()
        return _Transfer(self, self._deck, path, offset if self._deck.resumes else 0)

    def abort(self) -> None:
        self.aborted.set()
        self._deck.cut.set()

    def close(self) -> None:
        if self._open:
            self._open = False
            self._deck.sessions -= 1


class _Transfer:
    def __init__(self, session: _Session, deck: DeckStore, path: str, first: int) -> None:
        self.first = self._at = first
        self._session, self._deck, self._path = session, deck, path

    def readinto(self, buffer: memoryview) -> int:
        if self._path in self._deck.stalls:
            assert self._session.aborted.wait(WITHIN_S), "nobody cut the session"
        end = min(self._at + min(self._deck.block, len(buffer)), self._deck.ends_early.get(self._path, 1 << 62))
        data = self._deck.clips.get(self._path, b"")[self._at : end]
        buffer[: len(data)] = data
        self._at += len(data)
        if data:
            self._deck.on_block(self._path, self._at)
        if self._session.aborted.is_set():
            raise CopyError(Reason.STOPPED, "It was asked to stop.")
        return len(data)

    def finish(self) -> bool:
        return self._deck.says_all

    def close(self) -> None:
        pass


class Threads:
    """Threads of the engine's own."""

    def __init__(self, count: int) -> None:
        self._pool = ThreadPoolExecutor(count, thread_name_prefix="copy")

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._pool, do, *args)

    def end(self) -> None:
        self._pool.shutdown()


@dataclass
class House:
    """Decks, places and an engine between them."""

    engine: Engine
    jobs: Jobs
    decks: dict[str, DeckStore]
    rests: dict[str, bool | None]
    published: list[Published]
    manifests: list[tuple[str, list[str]]]
    changed: asyncio.Event

    async def until(self, so: Callable[[], bool]) -> None:
        async with asyncio.timeout(WITHIN_S):
            while not so():
                self.changed.clear()
                await self.changed.wait()

    async def whole_run(self, wanted: Wanted | None = None) -> None:
        await self.engine.run(wanted or Wanted())
        await self.ended()

    async def ended(self) -> None:
        await self.until(lambda: not self.engine.progress().running)

    def job(self, path: str, deck: str = "iso-1") -> Job:
        (job,) = (one for one in self.all() if (one.recorder, one.source.path) == (deck, path))
        return job

    def all(self) -> list[Job]:
        return self.jobs.page(Wanted(), most=100_000)


@asynccontextmanager
async def house(
    data: Path,
    decks: dict[str, DeckStore],
    targets: tuple[str, ...] = ("shelf",),
    *,
    care: Care = QUICK,
    rests: dict[str, bool | None] | None = None,
    make: Callable[[str, Path], Target] = Folder,
    **deck_words: Any,
) -> AsyncIterator[House]:
    """An engine, started, over the data folder of a test; enter it again for a restart."""
    places = []
    for name in targets:
        (data / name).mkdir(exist_ok=True)
        places.append(Place(name, str(data / name), lambda name=name: make(name, data / name), 0))  # type: ignore[misc]
    declared = [Deck(name, name.upper(), store.open, **deck_words) for name, store in decks.items()]
    jobs = Jobs(data / "copy.db")
    threads = Threads(threads_needed(declared, places))
    resting: dict[str, bool | None] = dict.fromkeys(decks, True) | (rests or {})
    published: list[Published] = []
    manifests: list[tuple[str, list[str]]] = []
    changed = asyncio.Event()

    def seal(target: Target, copies: Any) -> str:
        named = [copy.path for copy in copies]
        if named:
            manifests.append((target.name, named))
        return f"ascmhl/{len(manifests):04d}.mhl" if named else ""

    engine = Engine(
        clock=RealClock(asyncio.get_running_loop()),
        ids=RealIds(),
        threads=threads,
        elapsed=time.monotonic,
        jobs=jobs,
        decks=declared,
        places=places,
        layout=Layout(),
        order=USUAL_ORDER,
        takes=lambda: (),
        rests=lambda name: resting[name],
        care=care,
        seal=seal,
        on_published=published.append,
        changed=changed.set,
    )
    try:
        await engine.start()
        yield House(engine, jobs, decks, resting, published, manifests, changed)
    finally:
        await engine.stop()
        threads.end()
        jobs.close()


def day_before(hours: float) -> datetime:
    return NOON - timedelta(hours=hours)
