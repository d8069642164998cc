"""What does each hand of a run do? One lists and fetches, one reads back and names, one makes second copies."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from math import inf
from typing import Any, Final

import structlog

from stagectl.copyoff.deckstate import DeckState
from stagectl.copyoff.double import double
from stagectl.copyoff.errors import CopyError, DatabaseError, Reason
from stagectl.copyoff.fetch import fetch
from stagectl.copyoff.finish import finish
from stagectl.copyoff.job import Copy, Job, State
from stagectl.copyoff.jobs import Jobs, published
from stagectl.copyoff.piece import Piece
from stagectl.copyoff.plan import Layout, Shots, planned
from stagectl.copyoff.progress import Busy
from stagectl.copyoff.queues import MOST_REST_S, Queue
from stagectl.copyoff.record import Published
from stagectl.copyoff.session import Session
from stagectl.copyoff.settings import Care
from stagectl.copyoff.target import Place, Target
from stagectl.copyoff.work import Leave, Meter, Pace
from stagectl.model.world import Clock, Offload
from stagectl.shoot.take import Take

WAIT_S: Final = 0.5  # between two looks at whether a deck rests
_SHARED: Final = (Reason.LINK, Reason.BUSY, Reason.TARGET)  # what hits one clip may hit the next
_ANEW: Final = (Reason.CHANGED, Reason.SHORT, Reason.DIFFERS, Reason.SPOILT)  # what came is worth nothing

log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Shop:
    """What all hands work with; see `stagectl.copyoff.engine.Engine`."""

    clock: Clock
    threads: Offload
    jobs: Jobs
    places: Mapping[str, Place]
    layout: Layout
    order: Sequence[str]
    takes: Callable[[], Iterable[Take]]
    new_id: Callable[[], str]
    care: Care
    pace: Pace
    on_published: Callable[[Published], None]
    leaves: set[Leave]  # of what reads no deck

    async def ask(self, do: Callable[..., Any], *values: Any) -> Any:
        """Ask the database, in a thread."""
        return await self.threads.run("copy-jobs", do, *values)

    @contextmanager
    def leave(self) -> Iterator[Leave]:
        """Leave for work that reads no deck; a thread that nobody waits for any longer lets go."""
        made = Leave()
        self.leaves.add(made)
        try:
            yield made
        finally:
            made.end()
            self.leaves.discard(made)

    def piece(self, job: Job, copy: Copy, target: Target, leave: Leave, meter: Meter) -> Piece:
        """One thread's piece of work."""
        keep_free = self.places[copy.target].keep_free
        return Piece(self.jobs, job, copy, target, leave, self.pace, meter, self.clock.wall, keep_free)

    async def failed(self, job: Job, copy: Copy, error: CopyError) -> float | None:
        """Note why a piece of work did not get through. Returns seconds to rest; None: it has failed for good."""
        if error.reason is Reason.STOPPED:
            return 0.0
        told: dict[str, Any] = {"reason": error.reason, "why": str(error), "tries": copy.tries + 1}
        if not error.again or copy.tries >= self.care.tries:
            await self.ask(lambda: self.jobs.put(job.id, copy.target, State.FAILED, **told))
            return None
        if error.reason in _ANEW:
            told |= {"state": State.DISCOVERED, "kept": 0, "kept_digest": "", "digest": ""}
        await self.ask(lambda: self.jobs.note(job.id, copy.target, **told))
        rest_s: float = self.care.again_s * 2**copy.tries
        return min(MOST_REST_S, rest_s)


class _Hand:
    """What all hands have in common: a piece that fails rests, or has failed; the next one goes on."""

    def __init__(self, shop: Shop, queue: Queue[Any]) -> None:
        self._shop = shop
        self._queue = queue

    def waits(self) -> float | None:
        """When to look at the queue again; None: now."""
        if self._queue.given_up:
            return inf
        until = self._queue.rests_until
        return until if until > self._shop.clock.now() else None

    async def do(self, job: Job, copy: Copy, work: Callable[..., None], *values: Any) -> CopyError | None:
        """Do a piece of work in a thread, and note how it went."""
        error: CopyError | None = None
        try:
            await self._shop.threads.run("copy", work, job, copy, *values)
        except CopyError as told:
            error = told
        except DatabaseError:
            raise
        except Exception as bug:  # one clip must not end the night
            log.exception("copy_piece_broke", recorder=job.recorder, clip=job.source.path)
            error = CopyError(Reason.FAULT, f"{job.called}: {job.source.path} failed in a way nobody foresaw ({bug}).")
        rest_s: float | None = 0.0
        if error is None:
            self._queue.went_well()
        else:
            rest_s = await self._shop.failed(job, copy, error)
            if error.reason in _SHARED:
                self._queue.struck(str(error), self._shop.care.again_s)
        self._queue.give_back(job.id, rest_s=rest_s or 0.0)
        return error


class FetchHand(_Hand):
    """Lists a recorder's store and reads clips off it, in one session at a time.

    Args:
        state: of the deck.
        meter: its own one.
        lists: it is the one of the deck's hands that lists.
    """

    def __init__(
        self, shop: Shop, queue: Queue[tuple[Job, Copy]], state: DeckState, meter: Meter, *, lists: bool
    ) -> None:
        super().__init__(shop, queue)
        self._state = state
        self._meter = meter
        self._lists = lists

    async def step(self) -> float | None:
        now, state = self._shop.clock.now(), self._state
        if (until := self.waits()) is not None:
            state.busy, state.why = (Busy.RESTING if until < inf else Busy.IDLE), self._queue.given_up or state.why
            return until
        if not state.may_read(now):
            if state.lost(now):
                self._queue.given_up = state.why
            return now + WAIT_S
        if state.listed_at is None:
            if not self._lists:
                return now + WAIT_S
            await self._list()
            return None
        return await self._fetch()

    async def _list(self) -> None:
        state = self._state
        state.busy, state.why = Busy.LISTING, ""
        error = await list_deck(self._shop, state)
        if error is None:
            self._queue.went_well()
        elif error.reason is Reason.REFUSED:
            self._queue.given_up = state.why = str(error)
        elif error.reason is not Reason.STOPPED:
            state.why = str(error)
            self._queue.struck(str(error), self._shop.care.again_s)

    async def _fetch(self) -> float | None:
        state, care = self._state, self._shop.care
        found = await self._queue.take()
        if found is None:
            state.busy = Busy.RESTING if self._queue.next_at() < inf else Busy.IDLE
            return self._queue.next_at()
        job, copy = found
        now = self._shop.clock.now()
        if state.listed_at is None or not state.may_read(now):  # it began to roll while the database was asked
            self._queue.give_back(job.id)
            return now + WAIT_S
        apart_s = care.look_apart_s[0 if state.deck.tells_state else 1]
        if now < state.listed_at + apart_s:
            self._queue.give_back(job.id)
            state.busy = Busy.LOOKING
            return state.listed_at + apart_s
        state.busy, state.why = Busy.COPYING, ""
        leave = state.begin()
        try:
            error = await self.do(job, copy, self._work, leave)
        finally:
            state.ended(leave)
        if error is not None and error.reason is not Reason.STOPPED:
            state.why = str(error)
        if error is not None and error.reason is Reason.CHANGED:
            self._queue.give_back(job.id, rest_s=max(apart_s, care.again_s))
        return None

    def _work(self, job: Job, copy: Copy, leave: Leave) -> None:
        with closing(self._shop.places[copy.target].open()) as target, Session(self._state.deck.open, leave) as session:
            piece = self._shop.piece(job, copy, target, leave, self._meter)
            fetch(piece, session, double_read=self._shop.care.double_read)


class FinishHand(_Hand):
    """Reads back what came off one recorder, and gives it its name."""

    async def step(self) -> float | None:
        if (until := self.waits()) is not None:
            return until
        found = await self._queue.take()
        if found is None:
            return self._queue.next_at()
        job, copy = found
        with self._shop.leave() as leave:
            error = await self.do(job, copy, self._work, leave)
        if error is None and (whole := await self._shop.ask(self._shop.jobs.job, job.id)):
            self._shop.on_published(published(whole, whole.copy(copy.target)))
        return None

    def _work(self, job: Job, copy: Copy, leave: Leave) -> None:
        with closing(self._shop.places[copy.target].open()) as target:
            finish(self._shop.piece(job, copy, target, leave, Meter()))


class DoubleHand(_Hand):
    """Makes the copies that one target lacks while another has them."""

    async def step(self) -> float | None:
        if (until := self.waits()) is not None:
            return until
        found = await self._queue.take()
        if found is None:
            return self._queue.next_at()
        job, copy, first = found
        with self._shop.leave() as leave:
            error = await self.do(job, copy, self._work, first, leave)
        if error is not None and error.reason is Reason.SPOILT:
            told = {"reason": Reason.SPOILT, "why": str(error)}
            await self._shop.ask(lambda: self._shop.jobs.put(job.id, first.target, State.FAILED, **told))
        return None

    def _work(self, job: Job, copy: Copy, first: Copy, leave: Leave) -> None:
        places = self._shop.places
        with closing(places[copy.target].open()) as target, closing(places[first.target].open()) as there:
            double(self._shop.piece(job, copy, target, leave, Meter()), first, there)


async def list_deck(shop: Shop, state: DeckState) -> CopyError | None:
    """Read a deck's list into the database; why it could not, or None."""
    deck, leave, shots = state.deck, state.begin(), Shots(shop.takes())

    def work() -> None:
        with Session(deck.open, leave) as session:
            clips = (planned(deck.name, found, shop.layout, shots, shop.order) for found in session.store.clips())
            shop.jobs.discover(deck.name, deck.called, clips, tuple(shop.places), shop.new_id)

    try:
        await shop.threads.run("copy-list", work)
        if not leave.ended:
            state.listed_at = shop.clock.now()
    except CopyError as error:
        return error
    finally:
        state.ended(leave)
    return None
