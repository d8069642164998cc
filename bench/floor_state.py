"""What is the least it costs to bring notices of N recorders to WebSockets? Parse, merge, one message for all per tick.

No devices, points, units or sentences: a dict per recorder, the names that changed, JSON of those once per 50 ms, its
bytes made once and written to every client.

    python -m bench.floor_state PORT N

Prints the port of its door: GET /live; /live?idle is told a sentence a second.
"""

import asyncio
import gc
import json
import struct
import sys
from typing import Final

from aiohttp import web

from bench.farend import address
from bench.inside import Inside

BUFFER: Final = 4096
TICK_S: Final = 0.05
UNREAD: Final = 1 << 20
SENTENCE: Final = 20  # ticks
SAID: Final = b'{"say":"' + b"." * 380 + b'"}'  # as long as what the daemon says of the whole house


class Link(asyncio.BufferedProtocol):
    """One recorder: its last values, and which of them changed since the last tick."""

    __slots__ = ("_buffer", "_filled", "_floor", "_view", "name", "values")

    def __init__(self, floor: "Floor", name: str) -> None:
        self._buffer = bytearray(BUFFER)
        self._view = memoryview(self._buffer)
        self._filled = 0
        self._floor = floor
        self.name = name
        self.values: dict[str, str] = {}

    def get_buffer(self, sizehint: int) -> memoryview:
        return self._view[self._filled :]

    def buffer_updated(self, nbytes: int) -> None:
        *blocks, tail = bytes(self._view[: self._filled + nbytes]).split(b"\r\n\r\n")
        for block in blocks:
            _, *lines = block.decode().split("\r\n")
            for line in lines:
                name, _, value = line.partition(": ")
                if self.values.get(name) != value:
                    self.values[name] = value
                    self._floor.changed.setdefault(self, {})[name] = None
        self._filled = len(tail)
        self._buffer[: self._filled] = tail


class Floor:
    """All links, all clients, one tick."""

    def __init__(self) -> None:
        self.changed: dict[Link, dict[str, None]] = {}
        self.clients: list[asyncio.Transport] = []
        self.idle: list[asyncio.Transport] = []  # told a sentence a second
        self._write = json.JSONEncoder(separators=(",", ":"), check_circular=False).encode

    async def live(self, request: web.Request) -> web.WebSocketResponse:
        socket = web.WebSocketResponse(compress=False)
        await socket.prepare(request)
        transport = request.transport  # the request forgets it when the client goes
        assert isinstance(transport, asyncio.Transport)
        clients = self.idle if "idle" in request.query else self.clients
        clients.append(transport)
        async for _ in socket:
            pass
        clients.remove(transport)
        return socket

    async def tick(self) -> None:
        revision = 0
        while True:
            await asyncio.sleep(TICK_S)
            changed, self.changed = self.changed, {}
            if not changed or not self.clients:
                continue
            revision += 1
            if not revision % SENTENCE:
                for client in self.idle:
                    client.write(b"\x81\x7e" + struct.pack(">H", len(SAID)) + SAID)
            told = {link.name: {name: link.values[name] for name in names} for link, names in changed.items()}
            data = self._write({"rev": revision, "points": told}).encode()
            head = (
                b"\x81\x7e" + struct.pack(">H", len(data))
                if len(data) < 65536
                else b"\x81\x7f" + struct.pack(">Q", len(data))
            )
            for client in self.clients:
                if client.get_write_buffer_size() < UNREAD:
                    client.write(head + data)


async def main(port: int, number: int) -> None:
    loop = asyncio.get_running_loop()
    floor = Floor()
    for device in range(number):
        name = f"deck-{device + 1}"
        await loop.create_connection(lambda name=name: Link(floor, name), address(device), port)  # type: ignore[misc]
    app = web.Application()
    app.router.add_get("/live", floor.live)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    ticking = asyncio.create_task(floor.tick())
    gc.collect()
    gc.freeze()
    await Inside(runner.addresses[0][1], lambda: number).until_gone()
    ticking.cancel()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2])))
