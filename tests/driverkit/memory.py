"""How is the kit tested without a network and without waiting? Time that jumps, and streams that live in memory.

`@virtual` runs a story on a loop whose time jumps to the next timer as soon as nothing is left to do. A story that
waits for something that can't come any more fails at once, with a sentence.
"""

import asyncio
import functools
import selectors
from collections.abc import Callable, Coroutine
from datetime import UTC, datetime, timedelta
from typing import Any, Final, ParamSpec

from stagectl.model.world import Handle

P = ParamSpec("P")

LONGEST_S: Final = 3600.0  # virtual; a story that needs more waits for nothing


class _Jump(selectors.SelectSelector):
    """Instead of waiting, moves the loop's time on."""

    loop: "VirtualLoop"

    def select(self, timeout: float | None = None) -> Any:
        if timeout is None:
            raise AssertionError("The story waits for something that will never happen.")
        if timeout > 0:
            self.loop.jump(timeout)
        return super().select(0)


class VirtualLoop(asyncio.SelectorEventLoop):
    """A loop on virtual time, from 100 s on."""

    def __init__(self) -> None:
        self._now_s = 100.0
        selector = _Jump()
        selector.loop = self
        super().__init__(selector)

    def time(self) -> float:
        return self._now_s

    def jump(self, seconds: float) -> None:
        self._now_s += seconds
        assert self._now_s < LONGEST_S, "The story took an hour: what it waits for never comes."


class VirtualClock:
    """Fulfils `Clock` on a loop's time; never the same value twice."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._last = 0.0

    def now(self) -> float:
        self._last = max(self._loop.time(), self._last + 1e-9)
        return self._last

    def wall(self) -> datetime:
        return datetime(2027, 3, 12, 14, 2, tzinfo=UTC) + timedelta(seconds=self._loop.time())

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        return self._loop.call_at(at, do)


def virtual(story: Callable[P, Coroutine[Any, Any, None]]) -> Callable[P, None]:
    """Make a story a test on virtual time. What it leaves running is cancelled; what was raised there is not lost."""

    @functools.wraps(story)
    def test(*args: P.args, **kwargs: P.kwargs) -> None:
        loop = VirtualLoop()
        slips: list[str] = []
        loop.set_exception_handler(lambda _, context: slips.append(repr(context.get("exception", context))))
        try:
            loop.run_until_complete(story(*args, **kwargs))
        finally:
            loop.run_until_complete(_let_go())
            loop.close()
        assert slips == []

    return test


async def _let_go() -> None:
    left = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)


async def until(true: Callable[[], bool], within_s: float = 60.0) -> None:
    """Wait, in virtual time, until something is so."""
    async with asyncio.timeout(within_s):
        while not true():  # noqa: ASYNC110 - virtual time costs nothing, and anything at all may be waited for
            await asyncio.sleep(0.01)


class MemoryTransport(asyncio.Transport):
    """The product's end of a stream. What it writes reaches the peer in the next turn of the loop."""

    def __init__(self, protocol: asyncio.BufferedProtocol, peer: "Peer") -> None:
        super().__init__()
        self._protocol = protocol
        self._peer = peer
        self._closed = False
        self.waiting = 0  # bytes said to be still in the write buffer

    def get_write_buffer_size(self) -> int:
        return self.waiting

    def is_closing(self) -> bool:
        return self._closed

    def write(self, data: bytes | bytearray | memoryview) -> None:
        assert not self._closed
        asyncio.get_running_loop().call_soon(self._peer.arrive, bytes(data))

    def abort(self) -> None:
        self.close()

    def close(self) -> None:
        if not self._closed:
            self._closed = True
            loop = asyncio.get_running_loop()
            loop.call_soon(self._protocol.connection_lost, None)
            loop.call_soon(self._peer.on_end)

    def deliver(self, data: bytes) -> None:
        """Bytes for the product, as many a time as its buffer takes."""
        while data and not self._closed:
            room = memoryview(self._protocol.get_buffer(-1))
            count = min(len(room), len(data))
            room[:count] = data[:count]
            data = data[count:]
            self._protocol.buffer_updated(count)


class Peer:
    """The box's end of one stream: hears lines, says bytes. `answers` may be replaced at any time."""

    def __init__(self, answers: Callable[[str], bytes | None]) -> None:
        self.answers = answers
        self.heard: list[str] = []
        self.ended = False
        self.transport: MemoryTransport | None = None
        self._tail = b""

    def arrive(self, data: bytes) -> None:
        *lines, self._tail = (self._tail + data).split(b"\n")
        for line in lines:
            self.heard.append(line.decode())
            answer = self.answers(self.heard[-1])
            if answer is not None:
                self.say(answer)

    def say(self, data: bytes) -> None:
        """Let the box say something; it arrives in the next turn of the loop."""
        transport = self.transport
        assert transport is not None
        asyncio.get_running_loop().call_soon(transport.deliver, data)

    def cut(self) -> None:
        """Close the stream from the box's side."""
        assert self.transport is not None
        self.transport.close()

    def on_end(self) -> None:
        self.ended = True


class MemoryNetwork:
    """Fulfils `Network`. Every dial gets a new `Peer`, or the error of `refuse`.

    Attributes:
        answers: what a box says to a line; None: nothing.
        refuse: raised at each dial while set.
        swallow: a dial is never answered while set.
        dials: when each was tried, seconds of the loop.
        peers: one for each dial that came through.
    """

    def __init__(self, answers: Callable[[str], bytes | None]) -> None:
        self.answers = answers
        self.refuse: OSError | None = None
        self.swallow = False
        self.dials: list[float] = []
        self.peers: list[Peer] = []

    async def connect(
        self, factory: Callable[[], asyncio.BufferedProtocol], host: str, port: int, *, user_timeout_s: float
    ) -> tuple[asyncio.Transport, asyncio.BufferedProtocol]:
        self.dials.append(asyncio.get_running_loop().time())
        if self.refuse is not None:
            raise self.refuse
        if self.swallow:
            await asyncio.sleep(LONGEST_S)
        protocol, peer = factory(), Peer(self.answers)
        transport = peer.transport = MemoryTransport(protocol, peer)
        protocol.connection_made(transport)
        self.peers.append(peer)
        return transport, protocol
