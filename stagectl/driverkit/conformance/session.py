"""How is a driver watched at work? The kit's own loop over a wire that is recorded, and everything it was asked."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Self

from stagectl.driverkit.box import Box
from stagectl.driverkit.conformance.report import ClaimError
from stagectl.driverkit.driver import BoxKind
from stagectl.driverkit.real import RealChance, RealClock, RealNetwork
from stagectl.model.board import Board
from stagectl.model.capabilities.base import HEALTH, HEALTH_WHY, LINK_SILENT, LINK_UP
from stagectl.model.conditions import YES, Lasts, Truth, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags, Quality, Reading
from stagectl.model.verbs import Ended, Verb

NAME: Final = "box"
LOOK_S: Final = 0.2  # how often the effect of an act is looked at, as the command path does
SLACK_S: Final = 3.0  # on top of a verb's own deadline: what is judged here is truth, not the speed of a busy machine
KEEP: Final = 100_000  # requests remembered of one conversation
NOTICES: Final = 50  # likewise; few, since a flood of them must leave nothing
KITS_OWN: Final = (LINK_UP.name, LINK_SILENT.name, HEALTH.name, HEALTH_WHY.name)


@dataclass(eq=False)
class Conversation:
    """One connection as the driver saw it.

    Attributes:
        requests: what was encoded, in order, with its bytes. An act's stand here although it may not have been sent.
        notices: pieces that came in one read and answered nothing.
        adopted_after: how many requests had been encoded when the box was adopted; None: it was not.
    """

    driver: Any
    requests: list[tuple[Any, bytes]] = field(default_factory=list)
    notices: list[bytes] = field(default_factory=list)
    adopted_after: int | None = None
    replies: int = 0
    fed_bytes: int = 0
    spoilt: bool = False  # something was said that the box had not: no more notices are taken from it


class _Codec:
    """The driver's codec, listened to."""

    def __init__(self, codec: Any, talk: Conversation, news: asyncio.Event) -> None:
        self._codec, self._talk, self._news = codec, talk, news

    def feed(self, data: bytes) -> Any:
        self._talk.fed_bytes += len(data)
        self._news.set()
        events = self._codec.feed(data)
        if events:  # the driver hears them within this turn of the loop
            asyncio.get_running_loop().call_soon(self._note, data, self._talk.replies)
        return events

    def _note(self, data: bytes, replies: int) -> None:
        """A read that answered nothing was a notice, whole by all appearance."""
        if self._talk.replies == replies and not self._talk.spoilt and len(self._talk.notices) < NOTICES:
            self._talk.notices.append(data)

    def gap(self) -> Any:
        return self._codec.gap()

    def encode(self, request: Any) -> bytes:
        data: bytes = self._codec.encode(request)
        if len(self._talk.requests) < KEEP:
            self._talk.requests.append((request, data))
        return data


class _Driver:
    """The driver, listened to."""

    def __init__(self, driver: Any, talk: Conversation) -> None:
        self._driver, self._talk = driver, talk

    def __getattr__(self, name: str) -> Any:
        return getattr(self._driver, name)

    def hear(self, event: Any, board: Any, awaiting: Any) -> Any:
        reply = self._driver.hear(event, board, awaiting)
        self._talk.replies += reply is not None
        return reply


class Session:
    """A box kept company by the kit, with a board of its own. Use as `async with`.

    `news` is set at every change; two sessions may share it, so that one can wait for what both show.
    """

    def __init__(
        self, kind: BoxKind, options: Mapping[str, str], address: tuple[str, int], news: asyncio.Event | None = None
    ) -> None:
        self.talks: list[Conversation] = []
        self.lost_for = ""  # why the last link was lost
        self.clock = RealClock(asyncio.get_running_loop())
        self.board = Board(self.clock)
        self.news = news or asyncio.Event()
        self._view = self.board.view(self.news.set)
        self._kind = kind
        watched = replace(kind, make=self._make, codec=self._codec)
        self.box = Box(
            NAME,
            watched,
            options,
            address,
            self.board.writer(NAME),
            clock=self.clock,
            network=RealNetwork(),
            chance=RealChance().stream(NAME),
            on_link=self._on_link,
        )
        self.talks.clear()  # the kit asks a driver for its looks before it connects
        self._task: asyncio.Task[None] | None = None

    def _make(self, options: Mapping[str, str]) -> Any:
        driver = self._kind.make(options)
        self.talks.append(Conversation(driver))
        return _Driver(driver, self.talks[-1])

    def _codec(self, options: Mapping[str, str]) -> Any:
        return _Codec(self._kind.codec(options), self.talks[-1], self.news)

    def _on_link(self, what: str, why: str) -> None:
        if what == "down":
            self.lost_for = why
        if what == "adopted":
            self.talks[-1].adopted_after = len(self.talks[-1].requests)
        self.news.set()

    async def __aenter__(self) -> Self:
        self._task = asyncio.create_task(self.box.run(), name="conformance")
        self._task.add_done_callback(lambda task: self.news.set())
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._task is not None
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)
        self.board.drop_view(self._view)

    @property
    def talk(self) -> Conversation:
        """The conversation now."""
        return self.talks[-1]

    @property
    def slip(self) -> str:
        """What the driver raised, if it did: the loop of its box has ended."""
        if self._task is None or not self._task.done() or self._task.cancelled():
            return ""
        error = self._task.exception()
        return f"{type(error).__name__}: {error}" if error is not None else ""

    def readings(self) -> dict[str, Reading[Any]]:
        """The driver's points: not those that the kit writes."""
        return {name: slot for name, slot in self.board.points(NAME).items() if name not in KITS_OWN}

    def differs(self, other: "Session") -> list[str]:
        """Where the two boards say different things, a clause each; moving points are left out."""
        told: list[str] = []
        for name, mine in self.readings().items():
            theirs = other.board.find(NAME, name)
            if Flags.FAST not in mine.spec.flags and theirs is not None and theirs.quality is Quality.GOOD:
                if mine.quality is not Quality.GOOD:
                    told.append(f"{name} is {mine.quality}, it should be {theirs.value!r}")
                elif mine.value != theirs.value:
                    told.append(f"{name} is {mine.value!r}, it should be {theirs.value!r}")
        missing = sorted(other.readings().keys() - self.readings().keys())
        return told + [f"{name} is missing" for name in missing]

    def drain(self) -> None:
        """Be told of the next change too."""
        self._view.take()

    async def until(
        self, true: Callable[[], bool], within_s: float, lacking: Callable[[], str], *also: "Session"
    ) -> None:
        """Wait for something that the board or the link shows.

        Raises:
            ClaimError: it did not come in time, or the driver slipped; `lacking` says what was missing.
        """
        try:
            async with asyncio.timeout(within_s):
                while not true():
                    if self.slip:
                        raise ClaimError(f"the driver raised {self.slip}")
                    self.news.clear()
                    for session in (self, *also):
                        session.drain()
                    await self.news.wait()
        except TimeoutError:
            if not true():
                raise ClaimError(f"{lacking()}, after {within_s:g} s") from None

    async def adopted(self, within_s: float) -> None:
        """Wait until the first full look is answered. Raises ClaimError."""
        await self.until(lambda: self.box.adopted, within_s, lambda: f"the box is not adopted: {self.box.trouble}")

    async def carry_out(self, verb: Verb, *, slack_s: float = SLACK_S, needed: bool = True) -> tuple[Ended, str]:
        """Do one act as the command path does: send, look, and judge from points asked for after the bytes left.

        Args:
            verb: the act.
            slack_s: on top of its own deadline.
            needed: what it needs must hold beforehand.
        Returns: how it ended, and a clause.
        Raises:
            RefusedError: no byte was sent.
        """
        needs = judge(self.board, verb.needs(), NAME)
        if needed and needs is not YES:
            raise ClaimError(
                f'"{verb.say()}" needs "{verb.needs().say()}", which is {needs}: bring the box there first'
            )
        effect = Lasts(verb.effect(), verb.hold_s()) if verb.hold_s() else verb.effect()
        done, words = asyncio.Event(), [""]

        def tell(truth: Truth) -> None:
            if truth is YES:
                done.set()

        def no(_: int | None, said: str) -> None:
            words[0] = said

        watch = self.board.build(effect, tell, device=NAME)
        prepared = self.box.prepare([verb])
        prepared.on_no = no
        prepared.on_sent = lambda index, at: watch.attach(at)
        if Flags.FIRST in verb.flags():
            at = self.box.launch(prepared)
            if at is None:
                raise ClaimError(f'"{verb.say()}" could not leave: its link is busy')
            watch.attach(at)
        else:
            self.box.enqueue(prepared)
        try:
            await self._look_on(verb, done, words, verb.deadline_s() + verb.hold_s() + slack_s)
        finally:
            watch.detach()
        if watch.truth is YES:
            return Ended.VERIFIED, ""
        if watch.blind:
            return Ended.SENT, "its points can't be read back"
        if words[0]:
            return Ended.FAILED, words[0]
        seen = ", ".join(watch.missing()) or "nothing"
        return (Ended.UNCONFIRMED if watch.truth is Truth.UNKNOWN else Ended.FAILED), f"seen: {seen}"

    async def _look_on(self, verb: Verb, done: asyncio.Event, words: list[str], within_s: float) -> None:
        """Look at a verb's points until its effect is seen, it was refused and looked at once more, or time is up."""
        names = tuple(dict.fromkeys(leaf.spec.name for leaf in verb.effect().leaves()))
        end = self.clock.now() + within_s
        while self.clock.now() < end and not done.is_set() and not self.slip:
            try:
                async with asyncio.timeout(LOOK_S):
                    await done.wait()
            except TimeoutError:
                self.box.glance(names)
                if words[0]:  # it said no: one look shows whether it did it all the same
                    end = min(end, self.clock.now() + 2 * LOOK_S)


def sentence(refused: RefusedError) -> str:
    """What a refusal says, or a complaint that it says nothing."""
    text = str(refused).strip()
    if len(text.split()) < 3:
        raise ClaimError(f"its refusal is no sentence: {text!r}")
    return text
