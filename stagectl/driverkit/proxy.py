"""What happened on the wire, and what if it were a bad one? A wire on loopback that records, slows, cuts and lies.

Stands between the kit and a box or simulator. Only the way from the box is spoilt: what the kit sends arrives as sent.
"""

import asyncio
from dataclasses import dataclass, field
from typing import Final, Self

RECORD_BYTES: Final = 1 << 20  # kept of each way of a connection; own choice, a hundred full reads of a mixer
CHUNK_BYTES: Final = 1 << 16
DIAL_S: Final = 2.0
DRAIN_S: Final = 10.0  # a reader that takes nothing for so long is given up


@dataclass(eq=False)
class Connection:
    """One stream through the wire, and what went over it: the first RECORD_BYTES of each way."""

    near: asyncio.StreamWriter
    far: asyncio.StreamWriter
    sent: bytearray = field(default_factory=bytearray)  # towards the box
    heard: bytearray = field(default_factory=bytearray)  # from the box, as the box said it
    open: bool = True

    def cut(self) -> None:
        """End it at once, both ways."""
        self.open = False
        for writer in (self.near, self.far):
            writer.transport.abort()


class Proxy:
    """The wire. Use as `async with`; then dial `address` instead of the box.

    Attributes:
        connections: every stream so far, the newest last.
        refuse: hang up on whoever dials.
        delay_s: what the box says comes so much later.
        slice_bytes: ...in pieces of at most so many bytes; 0: as it came.
        gather_s: ...is held back so long and comes in one piece; 0: at once.
    """

    def __init__(self, host: str, port: int) -> None:
        self._box = (host, port)
        self._server: asyncio.Server | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._passed = asyncio.Event()
        self.connections: list[Connection] = []
        self.refuse = False
        self.delay_s = 0.0
        self.slice_bytes = 0
        self.gather_s = 0.0

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._dialled, "127.0.0.1", 0)
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        for connection in self.connections:
            connection.cut()
        if self._tasks:  # not cancelled: what is cut ends by itself, and streams complain of a cancelled server task
            await asyncio.wait(self._tasks, timeout=DIAL_S + 1)

    @property
    def address(self) -> tuple[str, int]:
        """Where it listens."""
        assert self._server is not None
        host, port = self._server.sockets[0].getsockname()[:2]
        return host, port

    def heal(self) -> None:
        """Be a good wire again."""
        self.refuse, self.delay_s, self.slice_bytes, self.gather_s = False, 0.0, 0, 0.0

    def cut(self) -> None:
        """End every open stream at once."""
        for connection in self.connections:
            if connection.open:
                connection.cut()

    async def passed(self, data: bytes, within_s: float) -> None:
        """Wait until `data` went over the newest stream towards the box. Raises TimeoutError."""
        async with asyncio.timeout(within_s):
            while not self.connections or data not in self.connections[-1].sent:
                self._passed.clear()
                await self._passed.wait()

    async def inject(self, data: bytes) -> bool:
        """Say `data` to the kit as if the box had. False: the kit has hung up.

        Raises: TimeoutError: the kit takes nothing any more.
        """
        connection = self.connections[-1]
        try:
            await _write(connection.near, data)
        except OSError:
            connection.open = False
        return connection.open

    async def _dialled(self, reader: asyncio.StreamReader, near: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks = [*(one for one in self._tasks if not one.done()), task]
        if self.refuse:
            near.transport.abort()
            return
        try:
            async with asyncio.timeout(DIAL_S):
                box, far = await asyncio.open_connection(*self._box)
        except (OSError, TimeoutError):
            near.transport.abort()
            return
        connection = Connection(near, far)
        self.connections.append(connection)
        ways = [
            asyncio.create_task(self._to_box(reader, connection)),
            asyncio.create_task(self._from_box(box, connection)),
        ]
        try:
            await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
        finally:
            connection.cut()
            for way in ways:
                way.cancel()
            await asyncio.gather(*ways, return_exceptions=True)

    async def _to_box(self, reader: asyncio.StreamReader, connection: Connection) -> None:
        while data := await reader.read(CHUNK_BYTES):
            _keep(connection.sent, data)
            await _write(connection.far, data)
            self._passed.set()

    async def _from_box(self, reader: asyncio.StreamReader, connection: Connection) -> None:
        while data := await reader.read(CHUNK_BYTES):
            if self.gather_s:
                data += await _more(reader, self.gather_s)
            _keep(connection.heard, data)
            if self.delay_s:
                await asyncio.sleep(self.delay_s)
            size = self.slice_bytes or len(data)
            for at in range(0, len(data), size):
                await _write(connection.near, data[at : at + size])
                if self.slice_bytes:
                    await asyncio.sleep(0)  # the kit reads this piece before the next one comes


async def _write(writer: asyncio.StreamWriter, data: bytes) -> None:
    writer.write(data)
    async with asyncio.timeout(DRAIN_S):
        await writer.drain()


async def _more(reader: asyncio.StreamReader, seconds: float) -> bytes:
    data = b""
    try:
        async with asyncio.timeout(seconds):
            while len(data) < CHUNK_BYTES and (piece := await reader.read(CHUNK_BYTES)):
                data += piece
    except TimeoutError:
        pass
    return data


def _keep(record: bytearray, data: bytes) -> None:
    record += data[: RECORD_BYTES - len(record)]
