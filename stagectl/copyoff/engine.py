"""Who copies what, when? Runs jobs in threads, deck by deck, and gives way to every roll."""

import asyncio
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from typing import Any, Final

import structlog

from stagectl.copyoff.crew import Crew, Hand
from stagectl.copyoff.deckstate import DeckState
from stagectl.copyoff.errors import CopyError, DatabaseError
from stagectl.copyoff.hands import DoubleHand, FetchHand, FinishHand, Shop, list_deck
from stagectl.copyoff.job import Sums, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import Layout
from stagectl.copyoff.progress import Progress
from stagectl.copyoff.queues import Queue
from stagectl.copyoff.record import Published
from stagectl.copyoff.settings import Care, Deck, Seal
from stagectl.copyoff.target import Place
from stagectl.copyoff.work import Pace
from stagectl.model.errors import RefusedError
from stagectl.model.world import Clock, Ids, Offload
from stagectl.shoot.take import Take

TICK_S: Final = 0.25  # a deck that begins to record by its front is left alone this long after at most; own choice
SUMS_S: Final = 2.0  # the database is summed up no more often; own choice
STOP_S: Final = 10.0  # a thread that has not let go by then hangs in a disk or a server, and is left behind

log = structlog.get_logger(__name__)


@dataclass(slots=True)
class _Run:
    """A run that goes."""

    id: str
    wanted: Wanted
    crew: Crew
    queues: list[Queue[Any]]  # what may give up
    before: int  # bytes that had come off all decks when it began
    task: asyncio.Task[None] | None = None
    goes_on_later: bool = False  # the daemon ends, not the run


class Engine:
    """The copy engine: a plain object, wired by the daemon.

    Args:
        clock, ids: of the world.
        threads: of its own, `threads_needed(decks, places)` at once.
        elapsed: monotonic seconds, callable from any thread.
        jobs: the database.
        decks: whose clips are copied.
        places: the targets, the one that is copied to first in front; one or more.
        layout: where copies stand.
        order: which clips come first, words of a site file.
        takes: the takes there are, for order, layout and manifests.
        rests: does this deck neither record nor stand armed to? None: not known, so it is not read.
        care: how careful and how quick.
        seal: writes manifests.
        on_published: called on the loop for every copy that stands verified under its name.
        changed: called on the loop when what `progress` says, or what the database holds, has changed; often.
    """

    def __init__(
        self,
        *,
        clock: Clock,
        ids: Ids,
        threads: Offload,
        elapsed: Callable[[], float],
        jobs: Jobs,
        decks: Sequence[Deck],
        places: Sequence[Place],
        layout: Layout,
        order: Sequence[str],
        takes: Callable[[], Iterable[Take]],
        rests: Callable[[str], bool | None],
        care: Care,
        seal: Seal,
        on_published: Callable[[Published], None],
        changed: Callable[[], None],
    ) -> None:
        self._ids = ids
        self._seal = seal
        self._changed = changed
        self._decks = {deck.name: DeckState(deck, rests) for deck in decks}
        self._shop = Shop(
            clock=clock,
            threads=threads,
            jobs=jobs,
            places={place.name: place for place in places},
            layout=layout,
            order=order,
            takes=takes,
            new_id=ids.new,
            care=care,
            pace=Pace(care.bytes_per_s, elapsed),
            on_published=on_published,
            leaves=set(),
        )
        self._run: _Run | None = None
        self._last = ("", "")  # id and last word of the newest run
        # bytes that had still to be read off the decks when the database was last summed up, and had come until then
        self._left_then = self._total_then = 0
        self._listing = asyncio.Lock()

    async def start(self) -> None:
        """Go on with the run that a restart interrupted, if one did."""
        jobs = self._shop.jobs
        await self._shop.ask(jobs.keep_to, tuple(self._shop.places))
        last = await self._shop.ask(jobs.last_run)
        if last is not None:
            run, wanted, _, ended, says = last
            self._last = (run, says)
            if ended is None:
                self._begin(run, wanted)

    async def stop(self) -> None:
        """Stop all copies where they are and end the threads; a later start goes on. Within seconds."""
        run = self._run
        if run is not None and run.task is not None:
            run.goes_on_later = True
            self._let_go(run)
            await asyncio.wait({run.task}, timeout=STOP_S)
            if not run.task.done():
                log.warning("copy_thread_hangs", run=run.id)
                run.task.cancel()
                with suppress(asyncio.CancelledError):
                    await run.task

    async def run(self, wanted: Wanted) -> str:
        """Begin a run; returns its id. Clips that failed earlier are tried again.

        Raises:
            RefusedError: a run goes already (code "runs").
        """
        if self._run is not None:
            raise RefusedError("A copy run goes already.", remedy="Wait for its end, or stop it.", code="runs")
        run = self._begin(self._ids.new(), wanted, fresh=True)
        return run.id

    def halt(self) -> bool:
        """End the run that goes, at once; parts stay for the next one. False: none goes."""
        if self._run is None:
            return False
        self._let_go(self._run)
        return True

    def give_way(self, deck: str) -> None:
        """Stop reading this deck now: a roll arms. No await, no disk; reads go on once `rests` says so again.

        Call it from the loop, before the first byte of a roll leaves; a deck that is not ours is fine.
        """
        if (state := self._decks.get(deck)) is not None:
            state.give_way(self._shop.clock.now())

    def hush(self) -> None:
        """A roll goes out, of whatever recorder: nothing is read or written for a moment. Call it as `give_way`."""
        self._shop.pace.hush()

    def rolls(self, deck: str) -> None:
        """Stop reading this deck: it is seen to record, and whether it rests is told by `rests` alone from now on."""
        if (state := self._decks.get(deck)) is not None:
            state.rolls()

    def progress(self) -> Progress:
        """What goes on now; cheap."""
        decks = {name: state.now() for name, state in self._decks.items()}
        run = self._run
        if run is None:
            return Progress(run=self._last[0], says=self._last[1], decks=decks)
        done = self._total() - run.before
        left = max(0, self._left_then - (self._total() - self._total_then))
        rate = sum(state.rate for state in self._decks.values())
        return Progress(
            run=run.id,
            running=True,
            done=done,
            of=done + left,
            rate=rate,
            left_s=left / rate if rate else None,
            says=self._last[1],
            decks=decks,
        )

    async def refresh(self, wanted: Wanted) -> dict[str, str]:
        """List the stores of the decks that are meant and rest, so that `Jobs` holds what a run would copy.

        Returns: deck -> why it could not be listed, a sentence; empty: all were. A run that goes lists by itself.
        """
        async with self._listing:
            if self._run is not None:
                return {}
            meant = self._meant(wanted)
            told = await asyncio.gather(*(self._list(state) for state in meant))
        self._changed()
        return {state.deck.name: why for state, why in zip(meant, told, strict=True) if why}

    async def _list(self, state: DeckState) -> str:
        if not state.may_read(self._shop.clock.now()):
            return state.why
        error = await list_deck(self._shop, state)
        return str(error) if error else ""

    def _begin(self, run_id: str, wanted: Wanted, *, fresh: bool = False) -> _Run:
        shop, jobs = self._shop, self._shop.jobs
        queues: list[Queue[Any]] = []
        hands: list[Hand] = []

        def queue(find: Callable[..., Any], *values: Any) -> Queue[Any]:
            made: Queue[Any] = Queue(
                shop.clock, lambda skip: shop.ask(find, *values, skip), lambda due: due[0], shop.care.tries
            )
            queues.append(made)
            return made

        for state in self._meant(wanted):
            name = state.deck.name
            fetching = queue(jobs.to_fetch, name, wanted)
            hands += [
                FetchHand(shop, fetching, state, meter, lists=number == 0) for number, meter in enumerate(state.meters)
            ]
            hands.append(FinishHand(shop, queue(jobs.to_finish, name)))
            state.listed_at = None
        for name in shop.places:
            others = tuple(other for other in shop.places if other != name)
            if others:
                hands.append(DoubleHand(shop, queue(jobs.to_double, name, others, wanted)))
        self._left_then, self._total_then = 0, self._total()
        run = _Run(run_id, wanted, Crew(shop.clock, hands), queues, self._total())
        self._run = run
        run.task = asyncio.create_task(self._goes(run, fresh=fresh), name="copy-run")
        return run

    async def _goes(self, run: _Run, *, fresh: bool) -> None:
        """A run from its beginning to its end, whoever ends it."""
        jobs, ask = self._shop.jobs, self._shop.ask
        try:
            async with self._listing:
                if fresh:
                    await ask(jobs.begin_run, run.id, run.wanted, self._shop.clock.wall())
                    await ask(jobs.ask_again, run.wanted)
            watch = asyncio.create_task(self._watch(run), name="copy-watch")
            try:
                await run.crew.work()
            finally:
                watch.cancel()
                await asyncio.wait({watch})
            says = list(dict.fromkeys(queue.given_up for queue in run.queues if queue.given_up))
            if not run.goes_on_later:
                says += [why for name in self._shop.places if (why := await self._sealed(name))]
                await ask(jobs.end_run, run.id, self._shop.clock.wall(), " ".join(says))
        except DatabaseError as error:
            log.error("copy_database_broke", run=run.id, why=str(error))  # noqa: TRY400 - the sentence says it
            says = [str(error)]
        except Exception as bug:  # the daemon goes on without copying, and says so
            log.exception("copy_run_broke", run=run.id)
            says = [f"Copying broke off in a way nobody foresaw ({bug}). See the log."]
        self._last = (run.id, " ".join(says))
        self._run = None
        self._changed()

    async def _sealed(self, target: str) -> str:
        """Name a target's new copies in a manifest; why not, or empty."""
        shop = self._shop

        def work() -> None:
            named: list[str] = []

            def told() -> Iterator[Published]:
                for one in shop.jobs.unlisted(target):
                    named.append(one.job)
                    yield one

            with closing(shop.places[target].open()) as place:
                manifest = self._seal(place, told())
            if named and manifest:
                shop.jobs.listed(target, named, manifest)

        try:
            await shop.threads.run("copy-seal", work)
        except CopyError as error:
            return str(error)
        return ""

    async def _watch(self, run: _Run) -> None:
        """While a run goes: leave alone what began to record by itself, and know how much is left."""
        clock, summed_at, summed = self._shop.clock, float("-inf"), None
        while True:
            now = clock.now()
            for state in self._decks.values():
                state.look(now)
            listed = [state.listed_at for state in self._decks.values()]
            if now - summed_at >= SUMS_S or listed != summed:
                summed_at, summed = now, listed
                await self._sum_up(run.wanted)
            self._changed()
            await asyncio.sleep(TICK_S)

    async def _sum_up(self, wanted: Wanted) -> None:
        total = self._total()
        begun = sum(meter.done for state in self._decks.values() for meter in state.meters)
        try:
            sums: dict[str, Sums] = await self._shop.ask(self._shop.jobs.sums, wanted)
        except Exception:  # the watch over decks goes on without it
            log.exception("copy_sums_broke")
        else:
            unread = sum(sums[state.deck.name].unread_bytes for state in self._meant(wanted) if state.deck.name in sums)
            self._left_then, self._total_then = unread - begun, total

    def _let_go(self, run: _Run) -> None:
        run.crew.end()
        for state in self._decks.values():
            state.end()
        for leave in self._shop.leaves:
            leave.end()

    def _meant(self, wanted: Wanted) -> list[DeckState]:
        return [state for name, state in self._decks.items() if not wanted.recorders or name in wanted.recorders]

    def _total(self) -> int:
        return sum(state.total for state in self._decks.values())


def threads_needed(decks: Sequence[Deck], places: Sequence[Place]) -> int:
    """Threads that copy at once, and one for short questions to the database."""
    return sum(deck.sessions + 1 for deck in decks) + len(places) + 1
