"""How does what happened reach the disk, before anybody is told that it is safe?

One chain of records in segments. `write` is at once and never raises; `synced` waits until a record survives a power
cut, many waiters sharing one sync. What is not known to be safe is also kept in memory, up to a limit, and written
first when the disk comes back. A file whose write or sync failed once is never trusted again.
"""

import asyncio
from collections.abc import Callable, Coroutine, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from stagectl.control.journal_lines import GENESIS, Record, head_line, record_line
from stagectl.control.journal_past import make_safe, mark, marked, segments
from stagectl.control.journal_replay import Damage, Walk, segment_name, segment_numbers
from stagectl.control.journal_reserve import Reserve
from stagectl.control.journal_ring import Line, Ring
from stagectl.model.world import Append, Clock, Handle, Storage

RING: Final = 10_000  # records kept in memory while the disk refuses: an hour of a busy show (reliability goal)
SEGMENT_BYTES: Final = 16 << 20  # own choice: a segment is read in a fraction of a second
RESERVE_BYTES: Final = 1 << 20  # given free when the disk is full: some 3,000 records for the takes that run
SYNCED_S: Final = 2.0  # longest wait for a sync before the answer is "not durable"
FLUSH_S: Final = 1.0  # a record nobody waits for is synced this much later
# kinds whose sync begins at once: an answer waits for a command's; a take must be known after a power cut, or its
# recordings are in no log and its number is given again
AT_ONCE: Final = ("command", "take")
RETRY_S: Final = 1.0  # first wait before a refused disk is tried again; doubles up to RETRY_MAX_S
RETRY_MAX_S: Final = 30.0
SKIPPED: Final = 1_000_000  # numbers left out for each segment that can't be read: more than a segment holds


@dataclass(slots=True)
class _Segment:
    name: str
    append: Append
    size: int
    limit: int
    last: int  # number of its newest record
    named: bool = False  # its name survives a power cut
    busy: bool = False  # a sync is in flight: don't close under it
    dead: bool = False

    def drop(self) -> None:
        """Never write or sync it again; close it now, or when its sync comes back."""
        self.dead = True
        if not self.busy:
            with suppress(OSError):
                self.append.close()


class Journal:
    """The one journal of a daemon.

    Attributes:
        epoch: which start of the daemon this is, from one; 0 before `open`. It only grows, as far as the old segments
            can be read.
        past_safe: all that earlier starts left survives a power cut; False: the disk would not say so.
        damage: what is not whole in earlier segments, without what an earlier start already went on from.
        trouble: why records are not safe at present, for people; None: all is well.
    """

    def __init__(
        self,
        storage: Storage,
        clock: Clock,
        *,
        on_trouble: Callable[[str | None], None] | None = None,
        ring: int = RING,
        segment_bytes: int = SEGMENT_BYTES,
        reserve_bytes: int = RESERVE_BYTES,
    ) -> None:
        """`on_trouble` is told each new `trouble`, and None when it is over."""
        self.epoch = 0
        self.past_safe = True
        self.damage: tuple[Damage, ...] = ()
        self.trouble: str | None = None
        self._storage = storage
        self._clock = clock
        self._on_trouble = on_trouble
        self._segment_bytes = segment_bytes
        self._reserve = Reserve(storage, reserve_bytes)
        self._next = 1
        self._chain = GENESIS
        self._durable = 0
        self._urgent = 0  # the newest record that must not wait for the flush
        self._ring = Ring(ring)
        self._first_segment: int | None = None
        self._number = 0
        self._segment: _Segment | None = None
        self._full: list[_Segment] = []  # rotated away, their last records not synced yet
        self._waiters: dict[asyncio.Future[bool], int] = {}
        self._commit: asyncio.Task[None] | None = None
        self._flush: Handle | None = None
        self._retry: Handle | None = None
        self._retry_s = RETRY_S
        self._shaken = False  # a file was given up, and no sync has succeeded since
        self._closed = False

    # -- start and end --------------------------------------------------------------------------------------------

    async def open(self, **said: Any) -> None:
        """Read what is there, begin a new segment and write the `daemon` record of this start.

        Never raises: a journal that can't be opened goes on in memory, with `trouble`. Returns when the start is safe
        on disk, so that no epoch is ever used twice, or after `SYNCED_S`.

        Args:
            said: joins "what": "start" and "epoch" in the record.
        """
        walk = Walk(self._storage)
        for _ in walk.lines():
            pass
        report = walk.report
        self.damage = tuple(damage for damage in report.damage if not damage.known)
        self.epoch = max(report.epoch + report.headless, marked(self._storage)) + 1
        self._next = report.last + 1 + SKIPPED * report.unreadable
        self._chain = report.chain
        self._durable = self._next - 1
        earlier: list[int] = []
        if report.newer:
            self._say("The journal was written by a newer version and is left alone. Install that version again.")
        else:
            mark(self._storage, self.epoch)
            earlier = segments(self._storage)
            self._reopen()
        self._fill_reserve()
        start = self.write("daemon", "", what="start", epoch=self.epoch, **said)
        _, self.past_safe = await asyncio.gather(self.synced(start), make_safe(self._storage, earlier, SYNCED_S))

    async def close(self) -> None:
        """Make all records safe if the disk lets us, then let go of the files. Later records stay in memory."""
        await self.synced(self._next - 1)
        self._closed = True
        for handle in (self._flush, self._retry):
            if handle is not None:
                handle.cancel()
        if self._commit is not None and not self._commit.done():
            self._commit.cancel()  # a sync that hangs: its file stays open, closing under it is worse
            await asyncio.wait({self._commit}, timeout=SYNCED_S)
        self._abandon()

    def replay(self) -> Iterator[Record]:
        """Give all records of earlier starts that are whole, each once, oldest first."""
        yield from Walk(self._storage, below=self._first_segment).records()

    # -- writing --------------------------------------------------------------------------------------------------

    def write(self, kind: str, who: str, **data: Any) -> int:
        """Write a record at once, to the disk or, if that refuses, to memory. Never raises for the disk or the data.

        Returns: its number, for `synced`.
        """
        n, before = self._next, self._chain
        line, self._chain = record_line(
            n, kind, who, data, wall=self._clock.wall(), mono=self._clock.now(), before=before
        )
        self._next += 1
        self._ring.keep(Line(n, before, line))
        if self._segment is not None and self._segment.size + len(line) > self._segment.limit and not self._full:
            self._rotate(n, before)
        if self._segment is not None:
            try:
                self._segment.append.write(line)
            except OSError as error:
                self._refused(error)
            else:
                self._segment.size += len(line)
                self._segment.last = n
                if kind in AT_ONCE:
                    self._urgent = n
                    self._start_commit()  # the sync runs beside what is done meanwhile
                else:
                    self._flush_later()
        return n

    async def synced(self, n: int) -> bool:
        """Wait until record `n` and all before it survive a power cut.

        Returns: False if that could not be had in `SYNCED_S`: the record is not durable, say so.
        """
        if n <= self._durable:
            return not self._ring.is_lost(n)
        if self._segment is None or self._closed:
            return False
        waiter: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiters[waiter] = n
        try:
            self._start_commit()
            await asyncio.wait({waiter}, timeout=SYNCED_S)
            if waiter.done():
                return waiter.result()
            self._say(_hanging())
            return False
        finally:
            self._waiters.pop(waiter, None)

    @property
    def dropped(self) -> int:
        """Records that left the memory before any disk took them."""
        return self._ring.lost(self._durable if self._segment is None else self._next)

    # -- segments -------------------------------------------------------------------------------------------------

    def _begin(self, first: int, chain: str, lines: bytes) -> None:
        """Open a new segment with `lines` in it; whatever goes wrong leaves no file behind.

        Raises:
            OSError: the disk refuses.
        """
        number = max([self._number, *segment_numbers(self._storage)]) + 1
        name = segment_name(number)
        append = self._storage.append_to(name)
        data = head_line(number, self.epoch, first, self._clock.wall(), chain) + lines
        try:
            append.write(data)
        except OSError:
            with suppress(OSError):
                append.close()
            with suppress(OSError):
                self._storage.remove(name)
            raise
        self._number = number
        if self._first_segment is None:
            self._first_segment = number
        if self._segment is not None:
            self._full.append(self._segment)
        self._segment = _Segment(name, append, len(data), self._segment_bytes, self._next - 1)

    def _rotate(self, n: int, before: str) -> None:
        assert self._segment is not None
        try:
            self._begin(n, before, b"")
        except OSError:
            self._segment.limit += self._segment_bytes // 16  # the old one still takes records; try again later

    def _reopen(self) -> bool:
        """Begin a new segment with all that is not known to be safe. False: the disk refuses."""
        line = self._ring.first
        first, chain = (line.n, line.before) if line else (self._next, self._chain)
        try:
            self._begin(first, chain, self._ring.data())
        except OSError as error:
            self._memory_only(error)
            return False
        self._ring.gap(self._durable)
        self._flush_later()
        return True

    def _refused(self, error: OSError) -> None:
        """A write failed: that file may end in half a record."""
        self._abandon()
        if not self._reserve.give():
            self._memory_only(error)
        elif self._reopen():
            self._say(f"The journal's disk refuses ({_why(error)}): it writes on in its reserve. Free the disk now.")
            self._retry_later()

    def _memory_only(self, error: OSError) -> None:
        lost = f" Memory is full, {self.dropped} records are lost so far." if self.dropped else ""
        self._say(
            f"The journal can't be written ({_why(error)}): what happens is kept in memory only.{lost} Free its disk."
        )
        self._retry_later()
        self._wake(failed=True)

    def _abandon(self) -> None:
        """Let go of all files; what was not synced is in the ring."""
        self._shaken = True
        for segment in (*self._full, *((self._segment,) if self._segment else ())):
            segment.drop()
        self._full.clear()
        self._segment = None

    def _fill_reserve(self) -> None:
        if self._segment is None:
            return
        try:
            self._reserve.fill()
        except OSError as error:
            self._say(f"The journal's disk has no room for its reserve ({_why(error)}). Free the disk.")
            self._retry_later()
        else:
            self._well()

    def _retry_later(self) -> None:
        if self._retry is None and not self._closed:
            self._retry = self._clock.later(self._clock.now() + self._retry_s, self._try_again)
            self._retry_s = min(2 * self._retry_s, RETRY_MAX_S)

    def _try_again(self) -> None:
        self._retry = None
        if self._closed:
            return
        if self._segment is None and self._reopen():
            self._start_commit()
        self._fill_reserve()

    # -- syncing --------------------------------------------------------------------------------------------------

    def _flush_later(self) -> None:
        if self._flush is None and not self._closed:
            self._flush = self._clock.later(self._clock.now() + FLUSH_S, self._flush_now)

    def _flush_now(self) -> None:
        self._flush = None
        self._start_commit()

    def _start_commit(self) -> None:
        if self._segment is not None and not self._closed and (self._commit is None or self._commit.done()):
            self._commit = asyncio.get_running_loop().create_task(self._commit_all(), name="journal-commit")

    async def _commit_all(self) -> None:
        """Sync again and again while somebody waits or a take is not safe yet; one sync in flight at a time."""
        failed_before = False
        while self._segment is not None:
            upto = self._next - 1
            segments = [*self._full, self._segment]
            try:
                await self._sync(segments)
            except Exception as error:  # noqa: BLE001 - whatever a disk's driver raises, the file isn't trusted again
                self._abandon()
                self._say(
                    f"The journal's file {segments[-1].name} could not be made safe ({_why(error)}). Look at its disk."
                )
                if failed_before or not self._reopen():
                    self._retry_later()
                    self._wake(failed=True)
                    return
                failed_before = True
                continue
            failed_before = False
            self._safe(upto, segments)
            if self._urgent <= self._durable and not any(n > self._durable for n in self._waiters.values()):
                break
        if self._ring:
            self._flush_later()

    async def _sync(self, segments: list[_Segment]) -> None:
        """Make what is in `segments`, and their names, survive a power cut. Raises what the disk raises."""
        for segment in segments:
            segment.busy = True
        try:
            for segment in segments:
                await self._patiently(segment.append.sync())
            if not all(segment.named for segment in segments):
                await self._patiently(self._storage.sync_names())
                for segment in segments:
                    segment.named = True
        except asyncio.CancelledError:
            raise  # the disk is still at it: they stay busy, nobody closes under it
        except BaseException:
            _rest(segments)
            raise
        _rest(segments)

    async def _patiently(self, sync: Coroutine[Any, Any, None]) -> None:
        """Wait for a sync however long it takes, since it can't be called back; say so when it takes long."""
        task = asyncio.ensure_future(sync)
        task.add_done_callback(_fetch)
        while True:
            done, _ = await asyncio.wait({task}, timeout=SYNCED_S)
            if done:
                return task.result()
            self._say(_hanging())

    def _safe(self, upto: int, segments: list[_Segment]) -> None:
        """All up to `upto` is on the disk for good."""
        self._durable = max(self._durable, upto)
        self._ring.safe(self._durable)
        for segment in segments:
            if segment in self._full and segment.last <= upto:  # else a line came while its sync was in flight
                self._full.remove(segment)
                segment.drop()
        if self._segment in segments:
            self._shaken = False
        self._wake()
        self._well()

    def _wake(self, *, failed: bool = False) -> None:
        for waiter, n in list(self._waiters.items()):
            if waiter.done():
                continue
            if n <= self._durable:
                waiter.set_result(not self._ring.is_lost(n))
            elif failed:
                waiter.set_result(False)

    # -- trouble --------------------------------------------------------------------------------------------------

    def _say(self, trouble: str | None) -> None:
        if trouble != self.trouble:
            self.trouble = trouble
            if self._on_trouble is not None:
                self._on_trouble(trouble)

    def _well(self) -> None:
        """Trouble is over when a sync went well after it, and the reserve stands."""
        if self._segment is not None and self._reserve.stands and not self._shaken:
            self._retry_s = RETRY_S
            self._say(None)


def _rest(segments: list[_Segment]) -> None:
    """Their sync is over."""
    for segment in segments:
        segment.busy = False
        if segment.dead:
            segment.drop()


def _fetch(task: asyncio.Future[None]) -> None:
    """Look at the outcome even if nobody waits any more."""
    if not task.cancelled():
        task.exception()


def _why(error: BaseException) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


def _hanging() -> str:
    return f"The journal's disk has not answered for {SYNCED_S:g} s. Look at it."
