"""What is a driver tried on? The box given, a wire that can be spoilt, and what the author says may be done to it."""

import asyncio
import inspect
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from typing import Any, Final, Self

from stagectl.driverkit.conformance.report import ClaimError, NotAskedError
from stagectl.driverkit.conformance.session import SLACK_S, Session
from stagectl.driverkit.driver import BoxKind
from stagectl.driverkit.proxy import Proxy
from stagectl.model.conditions import Condition
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended, Verb

NOTICE_S: Final = 15.0  # the kit notices a cut wire
AGREE_S: Final = 15.0
DO_S: Final = 10.0  # what the author gave to be called may take so long

UNHEARD: Final = (b"unheard of\r\n\r\n", b"zzz 1 2 3\r\n\r\n")  # what comes unasked where no notice was seen

Call = Callable[[], Any]  # a plain or an async function without arguments; what it returns is not looked at


@dataclass(frozen=True, slots=True)
class Act:
    """Something that may be done to the box: a verb that changes what it shows, and one that takes it back.

    Attributes:
        verb: carried out several times, over good and bad wires.
        undo: None: the act can be done again as it is.
        refused: the driver or the box must say no, in a sentence; `undo` is not sent.
    """

    verb: Verb
    undo: Verb | None = None
    refused: bool = False


@dataclass(frozen=True, slots=True)
class Hand:
    """Somebody's hand at the box: what it does there, what the points must show then, and how it takes it back."""

    do: Call
    shows: Condition
    undo: Call | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """A way in which the box can be made to misbehave, and be well again."""

    name: str
    on: Call
    off: Call


async def call(what: Call, name: str) -> None:
    """Do what the author gave. Raises ClaimError: it failed or takes too long."""
    try:
        async with asyncio.timeout(DO_S):
            done = what()
            if inspect.isawaitable(done):
                await done
    except Exception as error:
        raise ClaimError(f"{name} could not be done: {type(error).__name__}: {error}") from error


@dataclass(eq=False)
class Bench:
    """One driver, one box, one wire between them. Use as `async with`.

    `patience_s`: from a broken wire to adopted it takes an unanswered question, dialling and a full look at most.
    """

    kind: BoxKind
    address: tuple[str, int]
    options: Mapping[str, str]
    acts: Sequence[Act]
    hand: Hand | None
    faults: Sequence[Fault]
    patience_s: float
    proxy: Proxy = field(init=False)
    seen: list[tuple[Any, bytes]] = field(default_factory=list)  # the requests of the first full look
    stream: bytes = b""  # what the box answered to them
    notices: list[bytes] = field(default_factory=list)
    _stack: AsyncExitStack = field(default_factory=AsyncExitStack)
    _session: Session | None = None

    async def __aenter__(self) -> Self:
        self.proxy = await self._stack.enter_async_context(Proxy(*self.address))
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._stack.aclose()

    async def session(self) -> Session:
        """The session over the wire, adopted; a new one if the driver slipped in the last.

        Raises: ClaimError: the box is not adopted.
        """
        if self._session is None or self.slip:
            self._session = await self._stack.enter_async_context(Session(self.kind, self.options, self.proxy.address))
        await self._session.adopted(self.patience_s)
        return self._session

    @property
    def slip(self) -> str:
        """What the driver raised in the session over the wire, if it did."""
        return self._session.slip if self._session is not None else ""

    async def anew(self) -> Session:
        """Cut the wire, and wait until the box is adopted again over it, as it is now. Raises ClaimError."""
        if self.slip:
            raise ClaimError(f"the driver raised {self.slip}")
        session = await self.session()
        losses = session.box.counts.losses
        self.proxy.cut()
        await session.until(lambda: session.box.counts.losses > losses, NOTICE_S, lambda: "the cut was not noticed")
        await session.adopted(self.patience_s)
        return session

    async def settle(self, session: Session) -> None:
        """Wait until everything was asked and answered over one link: what a fault left unanswered may still end it."""
        async with asyncio.timeout(2 * self.patience_s):
            while True:
                await session.adopted(self.patience_s)
                losses, answered = session.box.counts.losses, asyncio.Event()

                def over(losses: int = losses, answered: asyncio.Event = answered) -> bool:
                    return answered.is_set() or session.box.counts.losses > losses

                def done(answered: asyncio.Event = answered) -> None:
                    answered.set()
                    session.news.set()

                if session.box.look_now(None, done) is None and session.box.adopted:
                    return
                await session.until(over, self.patience_s, lambda: "a full look is unanswered")
                if answered.is_set() and session.box.adopted:
                    return

    async def say(self, data: bytes) -> bool:
        """Say `data` to the kit as if the box had, and wait until it has heard it. False: it has hung up meanwhile."""
        session = await self.session()
        talk, losses = session.talk, session.box.counts.losses
        talk.spoilt = True
        want = talk.fed_bytes + len(data)

        def gone() -> bool:
            return session.box.counts.losses > losses or not session.box.up

        if await self.proxy.inject(data):
            await session.until(
                lambda: talk.fed_bytes >= want or gone(), self.patience_s, lambda: "it does not read on"
            )
        return not gone()

    def unasked(self, count: int) -> list[bytes]:
        """Different notices that this box was heard to say, or lines that no box says."""
        if self._session is not None:
            self.notices += [data for talk in self._session.talks for data in talk.notices]
        return [data for data in dict.fromkeys(self.notices) if self._whole(data)][:count] or list(UNHEARD)

    def _whole(self, data: bytes) -> bool:
        """Is it a whole notice, or several? Heard twice it then gives the same events twice, and no half is left."""
        codec = self.kind.codec(self.options)
        return [repr(event) for event in codec.feed(data)] == [repr(event) for event in codec.feed(data)]

    def changing(self) -> list[Act]:
        """The acts that change the box. Raises NotAskedError: none was given."""
        acts = [act for act in self.acts if not act.refused]
        if not acts:
            raise NotAskedError("no acts were given")
        return acts

    async def carry_out(self, session: Session, act: Act, *, slack_s: float = SLACK_S) -> str:
        """Do an act and take it back; both must be seen. Returns what was seen."""
        told: list[str] = []
        for verb in (act.verb, act.undo):
            if verb is None:
                continue
            ended, why = await session.carry_out(verb, slack_s=slack_s)
            if ended not in (Ended.VERIFIED, Ended.SENT):
                raise ClaimError(f'"{verb.say()}" ended {ended}, {why}')
            told.append(f"{verb.say()}: {ended}")
        return ", ".join(told)

    @asynccontextmanager
    async def direct(self, news: asyncio.Event | None = None) -> AsyncIterator[Session]:
        """A session past the wire: what the box says when nothing spoils it."""
        async with Session(self.kind, self.options, self.address, news) as session:
            await session.adopted(self.patience_s)
            yield session

    async def agree(self, session: Session) -> str:
        """Wait until the session over the wire says what one past it says: no reply was crossed."""
        async with self.direct(session.news) as direct:
            await session.until(
                lambda: not session.differs(direct), AGREE_S, lambda: "; ".join(session.differs(direct)[:3]), direct
            )
            read = [slot for slot in direct.readings().values() if slot.quality is Quality.GOOD]
            count = len(direct.readings())
        if not read and session.talks[0].requests:
            raise ClaimError("a session past the wire read nothing, although the first one did")
        return f"{count} points as without the wire"
