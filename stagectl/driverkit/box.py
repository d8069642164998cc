"""How is one box kept company? The kit's only loop: connect, look, follow, poll, beat, age, pair replies.

It decides nothing. On connecting it only looks; commands come from `stagectl.control.commands`, which prepares
them here and judges them from points.
"""

import asyncio
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from stagectl.driverkit.asked import Prepared, Reads, Sent
from stagectl.driverkit.driver import BoxKind, Codec, Driver, Reply
from stagectl.driverkit.link import StreamLink
from stagectl.driverkit.looks import FRESH_S, TICK_S, Looks, age_of
from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import EVERY_BOX, HEALTH, HEALTH_WHY, LINK_SILENT, LINK_UP, Health
from stagectl.model.conditions import YES, Truth, Watch
from stagectl.model.errors import DeviceError, ProtocolError, RefusedError
from stagectl.model.late import put_off
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Verb
from stagectl.model.world import Clock, Handle, Network, Stream

CONNECT_S: Final = 2.0  # a swallowed connect is given up after this
BACKOFF_S: Final = (0.25, 5.0)  # first wait before connecting again, and the longest
QUEUE: Final = 512  # requests waiting at most; a full mixer read is about 200
FOREVER: Final = float("inf")


@dataclass(slots=True)
class Counts:
    """What happened on the wire since start."""

    connects: int = 0
    losses: int = 0
    requests: int = 0
    replies: int = 0
    refusals: int = 0
    events: int = 0


class Box:
    """One device, for as long as the daemon lives; links come and go under it.

    Attributes:
        foreign: another box than the site means answers; nothing of what it says is shown.

    Args:
        name: device id of the site.
        kind: what its `box:` names.
        options: the site's options for the driver.
        address: (host, port).
        expect: identity points the site insists on, such as {"identity.model": "..."}; another box is left alone.
        on_link: told "up", "down" or "adopted" with a clause.
    """

    __slots__ = (  # a dict for each of a thousand boxes weighs three times as much
        *("_beat_at", "_chance", "_codec", "_commands", "_deaf_s", "_doubts", "_driver", "_expect", "_gap_timer"),
        *("_glance", "_inflight", "_link", "_looks", "_lost", "_network", "_on_link"),
        *("_put_off", "_rare_wait", "_reads", "_relook", "_room", "_silent", "_tick_due", "_tick_timer"),
        *("_told_silent", "_was_silent", "address"),
        *("adopted", "capability", "clock", "counts", "epoch", "foreign", "heard_at", "kind", "name", "options"),
        *("trouble", "writer"),
    )

    def __init__(
        self,
        name: str,
        kind: BoxKind,
        options: Mapping[str, str],
        address: tuple[str, int],
        writer: BoardWriter,
        *,
        clock: Clock,
        network: Network,
        chance: Stream,
        expect: Mapping[str, str] | None = None,
        on_link: Callable[[str, str], None] = lambda what, why: None,
        room: memoryview | None = None,
    ) -> None:
        self.name = name
        self.kind = kind
        self.options = options
        self.address = address
        self.writer = writer
        self.capability = kind.capability
        self.clock = clock
        self.counts = Counts()
        self.epoch = 0
        self.adopted = False
        self.foreign = False
        self.trouble = "not reached yet"
        self.heard_at = -FOREVER
        self._network = network
        self._room = room
        self._chance = chance
        self._expect = expect or {}
        self._on_link = on_link
        self._link: StreamLink | None = None
        self._lost: asyncio.Future[str] | None = None
        self._inflight: list[Sent] = []  # lists: an empty deque weighs ten of them, and these are short
        self._commands: list[Sent] = []
        self._reads: list[Sent] = []
        self._looks = Looks()
        self._glance: Reads | None = None
        self._silent = False
        self._relook: Reads | None = None
        self._tick_due = FOREVER
        self._deaf_s = 0.0  # how much of a silence was ours: nobody here listened
        self._put_off = False  # its looks were, by the last tick
        self._rare_wait = False  # the rare ones were
        self._was_silent = False  # ...so long that points kept by notices are no longer believed
        self._tick_timer: Handle | None = None
        self._beat_at = 0.0
        self._gap_timer: Handle | None = None
        self._driver: Driver[Any, Any] = kind.make(options)
        self._codec: Codec[Any, Any] = kind.codec(options)
        writer.age_of = partial(age_of, self._driver.looks)
        writer.declare(*EVERY_BOX)
        own: tuple[PointSpec[Any], ...] = (LINK_UP, LINK_SILENT, HEALTH, HEALTH_WHY)
        for spec in own:
            writer.board.reading(name, spec).age_s = FOREVER
        self._told_silent = writer.board.get(name, LINK_SILENT)
        self._doubts: list[Watch] = []
        for doubt in self.capability.doubts:
            watch = writer.board.build(doubt.when, self._doubted, device=name, lazy=True)
            self._doubts.append(watch)
        for watch in self._doubts:
            watch.attach()
        self._own(LINK_UP, False)
        self._judge_health()

    # -- for the command path -------------------------------------------------------------------------------------

    @property
    def up(self) -> bool:
        """The link is open (the box may not be adopted yet)."""
        return self._link is not None and self._link.up

    def prepare(self, verbs: Sequence[Verb]) -> Prepared:
        """Translate and encode.

        Raises:
            RefusedError: no link, not adopted, this box can't do it, or its driver slipped (code "driver"; nothing
                was sent, so the link goes on).
        """
        requests = self.translate(verbs)
        try:
            data = [self._codec.encode(request) for request in requests]
        except ValueError as error:
            raise RefusedError(str(error), code="value") from error
        return Prepared(verbs, requests, data, self.epoch)

    def translate(self, verbs: Sequence[Verb]) -> tuple[Any, ...]:
        """The first half of `prepare`: what its driver would ask. Enough to know what it refuses.

        Raises:
            RefusedError: as `prepare`, but for what its wire can't spell.
        """
        if not self.up:
            raise RefusedError(f"stagectl can't reach it: {self.trouble}", code="no-link")
        if not self.adopted:
            raise RefusedError(self.trouble or "it is still being read", code="not-adopted")
        try:
            return tuple(self._driver.ask(verbs))
        except RefusedError:
            raise
        except Exception as error:
            raise RefusedError(f"its driver failed: {error!r}", code="driver") from error

    def launch(self, prepared: Prepared) -> float | None:
        """Send at once, past every poll. Returns when it left; None: the link is busy or gone, nothing was sent."""
        at = self.fly(prepared)
        if at is not None:
            self.flown(prepared, at)
        return at

    def flight(self, prepared: Prepared) -> tuple[Callable[[bytes], bool], bytes]:
        """How its bytes will leave, as long as this link holds; False of it: they did not. `flown` must follow.

        Raises:
            RefusedError: the link is gone or another one (code "no-link").
        """
        link, data = self._link_of(prepared), prepared.data
        return link.write, data[0] if len(data) == 1 else b"".join(data)

    def _link_of(self, prepared: Prepared) -> StreamLink:
        """The link it was prepared for. Raises RefusedError: it is gone."""
        if self._link is None or prepared.epoch != self.epoch:
            raise RefusedError(f"stagectl can't reach it: {self.trouble or 'its link broke'}", code="no-link")
        return self._link

    def fly(self, prepared: Prepared) -> float | None:
        """The first half of `launch`: bytes alone, so that the next box's leave at once. `flown` must follow."""
        link = self._link
        if link is None or prepared.epoch != self.epoch:
            return None
        at = self.clock.now()
        data = prepared.data
        return at if link.write(data[0] if len(data) == 1 else b"".join(data)) else None

    def flown(self, prepared: Prepared, at: float) -> None:
        """The other half, in the same turn of the loop: the replies are waited for."""
        for number, request in enumerate(prepared.requests):
            self._inflight.append(Sent(request, b"", None, prepared, number, at))
        self.counts.requests += len(prepared.requests)

    def enqueue(self, prepared: Prepared) -> None:
        """Send as soon as the window allows, ahead of polls.

        Raises:
            RefusedError: the link is gone or another one (code "no-link"), or too much is waiting.
        """
        self._link_of(prepared)  # what waits for no link would leave on the next one, before anything was read there
        if len(self._commands) + len(prepared.requests) > QUEUE:
            raise RefusedError("too much is waiting for it", code="busy")
        for number, (request, data) in enumerate(zip(prepared.requests, prepared.data, strict=True)):
            self._commands.append(Sent(request, data, None, prepared, number))
        self._pump()

    def withdraw(self, prepared: Prepared, number: int) -> None:
        """Take back verb `number` if it still waits in line; what goes out in one piece with others stays."""
        if prepared.index(0) is None and len(prepared.verbs) > 1:
            return
        alone = prepared.index(0) is None
        kept = [one for one in self._commands if one.prepared is not prepared or not (alone or one.number == number)]
        self._commands = kept

    def look_now(self, names: Collection[str] | None, done: Callable[[], None] | None = None) -> Reads | None:
        """Ask for these points now; `done` once all is answered. None: no link, or nothing to ask."""
        if not self.up:
            return None
        reads = Reads(done)
        try:
            requests = self._driver.look(names)
            self._ask_reads(requests, reads)
        except Exception as error:  # noqa: BLE001 - a driver's slip takes down its own box only
            self._crash(error)
            return None
        return reads if requests else None

    def glance(self, names: tuple[str, ...]) -> None:
        """Look at these points once, unless the last glance is still unanswered: no polling storm."""
        if self._glance is None or not self._glance.open:
            self._glance = self.look_now(names)

    async def list_rows(self, what: str, *, deadline_s: float = 10.0) -> list[Mapping[str, Any]]:
        """Read a whole list, such as "clips".

        Raises:
            RefusedError: the box has no such list or is not reached.
            DeviceError: it refused, in its own words.
            TimeoutError: it did not answer whole in time.
        """
        answered: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        reads = self.look_now((what,), lambda: None if answered.done() else answered.set_result(None))
        if reads is None:
            raise RefusedError(f"{self.name} has no list {what}, or is not reached.", code="no-list")
        async with asyncio.timeout(deadline_s):
            await answered
        if reads.no:
            raise DeviceError(reads.no)
        return reads.rows

    # -- the loop -------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Keep the box company until cancelled. An exception is a driver's slip; the supervisor counts it."""
        wait_s = BACKOFF_S[0]
        try:
            while True:
                why, was_up = await self._once()
                self._on_link("down", why)
                wait_s = BACKOFF_S[0] if was_up else min(wait_s * 2, BACKOFF_S[1])
                await asyncio.sleep(wait_s * self._chance.uniform(0.8, 1.2))
        finally:
            if self._link is not None:
                self._link.end("stagectl leaves")
            self._down("stagectl does not drive it now")

    async def _once(self) -> tuple[str, bool]:
        """One connection from dial to loss. Returns why it ended and whether it had been adopted."""
        self._lost = asyncio.get_running_loop().create_future()
        try:
            async with asyncio.timeout(CONNECT_S):
                _, link = await self._network.connect(
                    lambda: StreamLink(self._on_data, self._on_lost, self._room), *self.address, user_timeout_s=FRESH_S
                )
        except TimeoutError:
            self._down(f"{self._where()} does not answer")
            return self.trouble, False
        except OSError as error:
            self._down(f"{self._where()}: {error.strerror or error}")
            return self.trouble, False
        assert isinstance(link, StreamLink)
        self._begin(link)
        why = await self._lost
        adopted = self.adopted
        self._down(why)
        return why, adopted

    def _where(self) -> str:
        return f"{self.address[0]} port {self.address[1]}"

    def _begin(self, link: StreamLink) -> None:
        now = self.clock.now()
        if not link.up:
            return
        self.epoch += 1
        self.counts.connects += 1
        self._link = link
        self.foreign = False
        self.heard_at = now
        self._driver = self.kind.make(self.options)
        self._codec = self.kind.codec(self.options)
        self._looks.begin(self._driver.looks, now, self._chance)
        self._relook = None
        self._was_silent = False
        self._beat_at = now + self._driver.beat_s
        self._silent = False
        self.trouble = "it is still being read"
        self._own(LINK_UP, True)
        self._on_link("up", self._where())
        if self.look_now(None, self._adopt) is None and self.up:
            self._adopt()
        self._tick_due, self._deaf_s = now + TICK_S, 0.0
        self._tick_timer = self.clock.later(self._tick_due, self._tick)

    def _adopt(self) -> None:
        """The first full look is answered: from now on the box may be driven, if it is who the site says."""
        board = self.writer.board
        for name, wanted in self._expect.items():
            found = board.find(self.name, name)
            if found is None or found.value != wanted:
                seen = found.value if found is not None else "nothing"
                what = name.rpartition(".")[2]
                self.trouble = f'it answers as another box: {what} "{seen}", the site says "{wanted}"'
                self.foreign = True
                self.writer.lost()  # what was read on the way here is no news of ours either
                self._own(LINK_UP, True)
                self._judge_health()
                self._on_link("foreign", self.trouble)
                return
        self.adopted = True
        self.trouble = ""
        self._judge_health()
        self._on_link("adopted", self._where())

    def _down(self, why: str) -> None:
        was_up, self._link = self._link is not None, None
        self.adopted = False
        self.trouble = why
        if was_up:
            self.counts.losses += 1
        for timer in (self._tick_timer, self._gap_timer):
            if timer is not None:
                timer.cancel()
        self._tick_timer = self._gap_timer = None
        self._glance = None
        self._inflight.clear()
        self._commands.clear()
        self._reads.clear()
        self.writer.lost()
        self._own(LINK_UP, False)
        self._judge_health()

    def _on_lost(self, why: str) -> None:
        if self._lost is not None and not self._lost.done():
            self._lost.set_result(why)

    def _crash(self, error: Exception) -> None:
        if self._lost is not None and not self._lost.done():
            self._lost.set_exception(error)
        if self._link is not None:
            self._link.end(f"its driver failed: {error}")

    def _on_data(self, data: bytes) -> None:
        self.heard_at = now = self.clock.now()
        self._deaf_s = 0.0
        try:
            for event in self._codec.feed(data):
                self._hear(event, now)
        except ProtocolError as error:
            self._end(str(error))
        except Exception as error:  # noqa: BLE001 - a driver's slip takes down its own box only
            self._crash(error)
        else:
            if self._driver.gap_s:
                if self._gap_timer is not None:
                    self._gap_timer.cancel()
                self._gap_timer = self.clock.later(now + self._driver.gap_s, self._gap)
            self._go_on()

    def _gap(self) -> None:
        self._gap_timer = None
        try:
            for event in self._codec.gap():
                self._hear(event, self.clock.now())
        except ProtocolError as error:
            self._end(str(error))
        except Exception as error:  # noqa: BLE001 - likewise
            self._crash(error)
        else:
            self._go_on()

    def _go_on(self) -> None:
        """Something was heard: ask what waits, and all again if the silence before it made us doubt."""
        if self._was_silent:
            self._was_silent = False
            if self._relook is None or not self._relook.open:
                self._relook = self.look_now(None)  # a point kept by notices has no other way back
        if self._commands or self._reads:
            self._pump()

    def _end(self, why: str) -> None:
        if self._link is not None:
            self._link.end(why)

    def _hear(self, event: Any, now: float) -> None:
        self.counts.events += 1
        head = self._inflight[0] if self._inflight else None
        self.writer.gather()
        try:
            reply = self._driver.hear(event, self.writer, head.request if head is not None else None)
        except BaseException:
            self.writer.commit(now, now)
            raise
        if self.foreign:
            self.writer.drop()  # it speaks of another box
        if reply is None or head is None:
            self.writer.commit(now, now)
            return
        self._inflight.pop(0)
        self.counts.replies += 1
        # An answer to an act was asked for by the act itself, so it is no proof of it; only where nothing else can be.
        proof = head.prepared is not None and head.prepared.answers
        self.writer.commit(now if proof else head.asked_at, now)
        self._answered(head, reply)

    def _answered(self, sent: Sent, reply: Reply[Any]) -> None:
        if reply.no:
            self.counts.refusals += 1
            if sent.prepared is not None:
                sent.prepared.on_no(sent.prepared.index(sent.number), reply.no)
        reads = sent.reads
        if reply.then:
            if reads is None:
                reads = Reads()
                reads.open = 1
            self._ask_reads(reply.then, reads)
        if reads is not None:
            reads.no = reads.no or reply.no
            reads.rows.extend(reply.rows)
            reads.open -= 1
            if reads.open == 0 and reads.done is not None:
                reads.done()

    def _ask_reads(self, requests: Sequence[Any], reads: Reads) -> None:
        for request in requests:
            if len(self._reads) >= QUEUE:
                break  # polls are shed first; the next look asks again
            reads.open += 1
            self._reads.append(Sent(request, self._codec.encode(request), reads))
        self._pump()

    def _pump(self) -> None:
        link = self._link
        while link is not None and len(self._inflight) < self._driver.window:
            waiting = self._commands or self._reads
            if not waiting:
                return
            sent = waiting[0]
            at = self.clock.now()
            if sent.prepared is not None and sent.prepared.over(sent.number, at):
                waiting.pop(0)  # we stood still: its verdict is due, and comes with the next turn of the loop
                continue
            if not link.write(sent.data):
                return  # what waits to leave goes first; the next tick tries again
            waiting.pop(0)
            sent.asked_at = at
            self._inflight.append(sent)
            self.counts.requests += 1
            if sent.prepared is not None and sent.number == self._last(sent.prepared, sent.number):
                sent.prepared.on_sent(sent.prepared.index(sent.number), at)

    @staticmethod
    def _last(prepared: Prepared, number: int) -> int:
        """The request after which a verb's bytes have all left."""
        return number if prepared.index(number) is not None else len(prepared.requests) - 1

    def _tick(self) -> None:
        """Every half second: deadlines of replies, ages, polls, beats.

        Dithered, so that polls and frames never march in step.
        """
        now = self.clock.now()
        stood = max(0.0, now - self._tick_due)
        if stood > TICK_S:  # so did the whole daemon: what it said meanwhile is still to be read
            self._deaf_s += stood
        self._tick_due = now + TICK_S * self._chance.uniform(0.85, 1.0)
        self._tick_timer = self.clock.later(self._tick_due, self._tick)
        if self._inflight and now - self._inflight[0].asked_at - self._deaf_s > self._driver.reply_s:
            self._end(f"it left a question unanswered for {self._driver.reply_s:g} s")
            return
        self.writer.age(now, self.heard_at, FRESH_S - TICK_S)
        silent = now - self.heard_at
        self._was_silent |= silent > FRESH_S - TICK_S
        whole, told = (0.0 if silent < 1 else float(int(silent))), self._told_silent
        if whole != told.value or told.quality is not Quality.GOOD:
            self._own(LINK_SILENT, whole)
        silent -= self._deaf_s
        if (silent > FRESH_S) is not self._silent:
            self._silent = silent > FRESH_S
            self._judge_health()
        self._put_off = put_off(stood, before=self._put_off)
        self._rare_wait = now < self.writer.board.proving_until and not self._rare_wait
        if not self._put_off:
            for number, names in self._looks.due(self._driver.looks, now, self.writer, rare=not self._rare_wait):
                reads = self.look_now(names, partial(self._looks.answered, number))
                if reads is not None and reads.open:
                    self._looks.asked(number, reads)
        if self._driver.beat_s and now >= self._beat_at:
            self._beat_at = now + self._driver.beat_s
            try:
                self._ask_reads(self._driver.beat(now), Reads())
            except Exception as error:  # noqa: BLE001 - a driver's slip takes down its own box only
                self._crash(error)
        if self._commands or self._reads:
            self._pump()

    # -- what the kit itself knows --------------------------------------------------------------------------------

    def _own(self, spec: PointSpec[Any], value: object) -> None:
        self.writer.compute(spec.name, value, asked_at=self.clock.now())

    def _doubted(self, truth: Truth) -> None:
        self._judge_health()

    def _judge_health(self) -> None:
        health, why = Health.WELL, ""
        if not self.up or not self.adopted:
            health, why = Health.FAILED, self.trouble
        elif self._silent:
            health, why = Health.FAILED, f"it has not answered for {FRESH_S:g} s"
        else:
            for doubt, watch in zip(self.capability.doubts, self._doubts, strict=True):
                if watch.truth is YES:
                    health, why = doubt.health, doubt.says
                    break
        self._own(HEALTH, health)
        self._own(HEALTH_WHY, why)
