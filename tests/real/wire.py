"""What if the way between the daemon and a box were a bad one? A wire on loopback that can fail in every way we know.

It stands between real programs: it listens on a free port, dials the box for each connection, and carries bytes both
ways until it is told otherwise. All wires of a test run on one loop in a thread of its own: a test may be plain code.
"""

import asyncio
import random
import socket
import struct
import threading
from collections.abc import Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final, Self, TypeVar

from tests.ports import free_port

T = TypeVar("T")
CHUNK: Final = 1 << 16
QUEUED: Final = 256  # pieces under way in one direction; then the wire reads no more, as a full window does
DIAL_S: Final = 2.0
CALL_S: Final = 10.0
_RST: Final = struct.pack("ii", 1, 0)  # SO_LINGER on, 0 s: close sends a reset


@dataclass(slots=True)
class Way:
    """One direction. All at rest: bytes pass as they come.

    Attributes:
        delay_s, jitter_s: each piece comes so much later, plus up to the jitter; order is kept.
        rate: bytes a second at most; 0: no limit.
        slice_bytes, slice_s: in pieces of so many bytes, so far apart.
        glue_s: what comes within this time is passed in one piece.
        lose: what comes is read and thrown away.
        hold: what comes waits, and is delivered when it is let go, as TCP resends.
        cut_after, cut_by: the connection ends after so many more bytes, by "rst" or "fin".
        twice: each piece comes twice.
        swap: two pieces change places, if the second comes within `swap_s`.
        flip: how likely a byte has one bit flipped.
    """

    delay_s: float = 0.0
    jitter_s: float = 0.0
    rate: float = 0.0
    slice_bytes: int = 0
    slice_s: float = 0.0
    glue_s: float = 0.0
    lose: bool = False
    cut_after: int | None = None
    cut_by: str = "rst"
    twice: bool = False
    swap: bool = False
    swap_s: float = 0.3
    flip: float = 0.0
    passed: int = 0  # bytes handed on so far
    lost: int = 0  # bytes thrown away so far
    _open: asyncio.Event = field(default_factory=asyncio.Event)

    def rest(self) -> None:
        """Be a good wire again; what is held is let go. Call it on the wires' loop."""
        fresh = Way()
        for name in self.__slots__:
            if name not in ("passed", "lost", "_open"):
                setattr(self, name, getattr(fresh, name))
        self._open.set()

    def hold(self, on: bool) -> None:
        """Call it on the wires' loop."""
        (self._open.clear if on else self._open.set)()

    async def through(self) -> None:
        """Wait while it is held."""
        await self._open.wait()


@dataclass(eq=False)
class _Stream:
    """One connection through the wire."""

    near: socket.socket  # to the daemon
    far: socket.socket  # to the box
    tasks: list[asyncio.Task[None]] = field(default_factory=list)

    async def end(self, by: str) -> None:
        """End it towards both sides: "rst", "fin", or "" (what waits is dropped, FIN)."""
        mine = asyncio.current_task()
        others = [task for task in self.tasks if task is not mine]
        for task in others:
            task.cancel()
        try:
            await asyncio.gather(*others, return_exceptions=True)
        finally:
            for end in (self.near, self.far):
                if by == "rst":
                    with suppress(OSError):
                        end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RST)
                end.close()


class Wire:
    """The wire of one box. Made by `Wires.add`; every method may be called from the test's thread.

    Attributes:
        out: towards the box.
        back: from the box.
        hang_up: whoever dials is accepted and let go at once.
        dialled: how often somebody dialled.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop, box: tuple[str, int], chance: random.Random) -> None:
        self.out, self.back = Way(), Way()
        self.hang_up = False
        self.dialled = 0
        self._loop = loop
        self._box = box
        self._chance = chance
        self._listener: socket.socket | None = None
        self._accepting: asyncio.Task[None] | None = None
        self._fillers: list[socket.socket] = []
        self._streams: list[_Stream] = []
        self.address = ("127.0.0.1", free_port())  # which it takes again after a pause
        for way in (self.out, self.back):
            way.rest()

    # -- what a test says -----------------------------------------------------------------------------------------

    def refuse(self, *, cut: bool = True) -> None:
        """Nobody listens any more; `cut`: what is open is reset."""
        self._do(self._unplug(cut))

    def swallow(self) -> None:
        """A dial is never answered: the queue of the listener is full. What is open goes on."""
        self._do(self._fill())

    def listen(self) -> None:
        """Listen again, on the same port."""
        self._do(self._listen())

    def move(self, host: str) -> None:
        """The box has another address, with the same port: what was open is reset, the old one refuses."""
        self._do(self._unplug(True))
        self.address = (host, self.address[1])
        self._do(self._listen())

    def half_open(self) -> None:
        """Nothing passes in either way and nobody is told; a dial is never answered either."""
        self._do(self._fill())
        self.hold(True)

    def hold(self, on: bool, *, out: bool = True, back: bool = True) -> None:
        """Keep what comes, or let it go."""

        async def now() -> None:
            for way, chosen in ((self.out, out), (self.back, back)):
                if chosen:
                    way.hold(on)

        self._do(now())

    def cut(self, by: str = "rst") -> None:
        """End what is open, now."""
        self._do(self._cut(by))

    def heal(self) -> None:
        """Be a good wire again. What is open stays open."""

        async def now() -> None:
            self.out.rest()
            self.back.rest()
            self.hang_up = False
            await self._listen()

        self._do(now())

    @property
    def open(self) -> int:
        """Connections that are open."""
        return len(self._streams)

    def redirect(self, box: tuple[str, int]) -> None:
        """Who dials from now on reaches another box; what is open is cut."""
        self._box = box
        self.cut()

    # -- how it is done, on the wires' loop -----------------------------------------------------------------------

    def _do(self, work: Coroutine[Any, Any, T]) -> T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(CALL_S)

    async def _listen(self) -> None:
        if self._accepting is not None and not self._fillers:
            return
        await self._unplug(cut=False)
        self._listener = _listener(self.address, 64)
        self.address = self._listener.getsockname()[:2]
        self._accepting = self._loop.create_task(self._accept(self._listener))

    async def _unplug(self, cut: bool) -> None:
        if self._accepting is not None:
            self._accepting.cancel()
            await asyncio.gather(self._accepting, return_exceptions=True)
            self._accepting = None
        for one in (self._listener, *self._fillers):
            if one is not None:
                one.close()
        self._listener, self._fillers = None, []
        if cut:
            await self._cut("rst")

    async def _fill(self) -> None:
        """A listener nobody accepts from, with its queue full: on Linux a SYN is dropped then."""
        await self._unplug(cut=False)
        self._listener = _listener(self.address, 0)
        while True:
            filler = socket.socket()
            filler.setblocking(False)
            self._fillers.append(filler)
            try:
                async with asyncio.timeout(0.2):
                    await self._loop.sock_connect(filler, self.address)
            except TimeoutError:
                return

    async def _cut(self, by: str) -> None:
        streams, self._streams = self._streams, []
        for stream in streams:
            await stream.end(by)

    async def _accept(self, listener: socket.socket) -> None:
        while True:
            near, _ = await self._loop.sock_accept(listener)
            self.dialled += 1
            if self.hang_up:
                near.close()
                continue
            far = socket.socket()
            far.setblocking(False)
            try:
                async with asyncio.timeout(DIAL_S):
                    await self._loop.sock_connect(far, self._box)
            except (OSError, TimeoutError):
                near.close()
                far.close()
                continue
            except asyncio.CancelledError:
                near.close()
                far.close()
                raise
            for one in (near, far):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            stream = _Stream(near, far)
            self._streams.append(stream)
            for source, target, way in ((near, far, self.out), (far, near, self.back)):
                line: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue(QUEUED)
                stream.tasks.append(self._loop.create_task(self._take(stream, source, way, line)))
                stream.tasks.append(self._loop.create_task(self._give(stream, target, way, line)))

    async def _end(self, stream: _Stream, by: str) -> None:
        if stream in self._streams:
            self._streams.remove(stream)
            await stream.end(by)

    async def _take(
        self, stream: _Stream, source: socket.socket, way: Way, line: asyncio.Queue[tuple[float, bytes]]
    ) -> None:
        """Read what comes; an empty piece is its end."""
        last = 0.0
        while True:
            try:
                data = await self._loop.sock_recv(source, CHUNK)
                if data and way.glue_s:
                    data += await self._more(source, way.glue_s)
                if data and way.swap:
                    data = await self._after(source, way.swap_s) + data
            except OSError:
                await way.through()  # whoever is cut off hears of no reset either
                await self._end(stream, "rst")
                return
            last = max(last, self._loop.time() + way.delay_s + self._chance.uniform(0, way.jitter_s))
            await line.put((last, data))
            if not data:
                return

    async def _more(self, source: socket.socket, within_s: float) -> bytes:
        await asyncio.sleep(within_s)
        return source.recv(CHUNK) if _waiting(source) else b""

    async def _after(self, source: socket.socket, within_s: float) -> bytes:
        """What comes after this, to go before it."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                return await self._loop.sock_recv(source, CHUNK)
        return b""

    async def _give(
        self, stream: _Stream, target: socket.socket, way: Way, line: asyncio.Queue[tuple[float, bytes]]
    ) -> None:
        """Hand on what was read, when it is due, as the way is then."""
        while True:
            due, data = await line.get()
            if (wait_s := due - self._loop.time()) > 0:
                await asyncio.sleep(wait_s)
            await way.through()
            try:
                if not data:
                    target.shutdown(socket.SHUT_WR)
                    if all(task.done() for task in stream.tasks if task is not asyncio.current_task()):
                        await self._end(stream, "")
                    return
                if way.lose:
                    way.lost += len(data)
                    continue
                await self._send(stream, target, way, self._spoil(way, data))
            except OSError:
                await self._end(stream, "rst")
                return

    def _spoil(self, way: Way, data: bytes) -> bytes:
        if way.flip:
            data = bytes(
                byte ^ (1 << self._chance.randrange(8)) if self._chance.random() < way.flip else byte for byte in data
            )
        return data * 2 if way.twice else data

    async def _send(self, stream: _Stream, target: socket.socket, way: Way, data: bytes) -> None:
        at = 0
        while at < len(data):
            await way.through()
            size = way.slice_bytes or (max(1, int(way.rate / 50)) if way.rate else len(data))
            piece = data[at : at + size]
            if way.cut_after is not None and way.cut_after < len(piece):
                await self._loop.sock_sendall(target, piece[: way.cut_after])
                way.cut_after = None
                await self._end(stream, way.cut_by)
                return
            at += len(piece)
            way.passed += len(piece)
            if way.cut_after is not None:
                way.cut_after -= len(piece)
            await self._loop.sock_sendall(target, piece)
            pause_s = way.slice_s + (len(piece) / way.rate if way.rate else 0.0)
            if pause_s:
                await asyncio.sleep(pause_s)


class Wires:
    """All wires of a test, on one loop in one thread. `start` it first, `stop` it last."""

    def __init__(self, seed: int = 1) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="wires", daemon=True)
        self._wires: dict[str, Wire] = {}
        self._seed = seed

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def __contains__(self, name: object) -> bool:
        return name in self._wires

    def __getitem__(self, name: str) -> Wire:
        return self._wires[name]

    def start(self) -> None:
        self._thread.start()

    def add(self, name: str, box: tuple[str, int]) -> Wire:
        """A wire to a box; it listens."""

        async def made() -> Wire:
            wire = Wire(self._loop, box, random.Random(f"{self._seed}:{name}"))
            await wire._listen()
            return wire

        wire = self._wires[name] = asyncio.run_coroutine_threadsafe(made(), self._loop).result(CALL_S)
        return wire

    def stop(self) -> None:
        """Cut everything and end the thread."""
        for wire in self._wires.values():
            wire.refuse()
        asyncio.run_coroutine_threadsafe(self._rest(), self._loop).result(CALL_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(CALL_S)
        self._loop.close()

    async def _rest(self) -> None:
        """Wait for what is still ending."""
        tasks = asyncio.all_tasks() - {asyncio.current_task()}
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def _listener(address: tuple[str, int], backlog: int) -> socket.socket:
    made = socket.socket()
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.setblocking(False)
        made.bind(address)
        made.listen(backlog)
    except OSError:
        made.close()
        raise
    return made


def _waiting(source: socket.socket) -> bool:
    try:
        return bool(source.recv(1, socket.MSG_PEEK))
    except BlockingIOError:
        return False


def on(seconds: float, do: Callable[[], None]) -> threading.Timer:
    """Do something a little later, while the test waits for an answer."""
    timer = threading.Timer(seconds, do)
    timer.start()
    return timer
