"""What is the least a roll of N recorders costs in asyncio? A bare fan-out: no devices, no points, no verdicts.

One link per recorder on a `BufferedProtocol`, judged in place; an aiohttp door; the journal line is written before the
first byte and its fdatasync, in a thread, is awaited before the answer. The third notice after a record counts as
proof, as the daemon's rule does (recording, and the timecode advanced in two looks).

    python -m bench.floor_roll PORT N FOLDER      prints the port of its door: POST /roll, POST /cut
"""

import asyncio
import gc
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

from aiohttp import web

from bench.farend import address
from bench.inside import Inside

BUFFER: Final = 2048
PROOF: Final = 3  # notices


class Link(asyncio.BufferedProtocol):
    """One recorder; `done` is called once when it has proved that it does what was asked."""

    __slots__ = ("_buffer", "_filled", "_view", "count", "done", "transport", "word")

    def __init__(self) -> None:
        self._buffer = bytearray(BUFFER)
        self._view = memoryview(self._buffer)
        self._filled = 0
        self.word = b""
        self.count = 0
        self.done: Callable[[], None] | None = None
        self.transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def get_buffer(self, sizehint: int) -> memoryview:
        return self._view[self._filled :]

    def buffer_updated(self, nbytes: int) -> None:
        self._filled += nbytes
        if self._buffer.endswith(b"\r\n\r\n", 0, self._filled):
            if self.done is not None:
                self.count -= self._buffer.count(self.word, 0, self._filled)
                if self.count <= 0:
                    done, self.done = self.done, None
                    done()
            self._filled = 0
        elif self._filled >= BUFFER:
            self._filled = 0


class Floor:
    """All links, and the two acts."""

    def __init__(self, folder: Path) -> None:
        self.links: list[Link] = []
        self._journal = os.open(folder / "journal", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    async def connect(self, port: int, number: int) -> None:
        loop = asyncio.get_running_loop()
        for device in range(number):
            _, link = await loop.create_connection(Link, address(device), port)
            self.links.append(link)

    async def roll(self, request: web.Request) -> web.Response:
        await self._all(b"record:\r\nname: T001_take\r\n\r\n", b"status: record", PROOF)
        return web.json_response({"rolled": len(self.links)})

    async def cut(self, request: web.Request) -> web.Response:
        await self._all(b"stop\r\n", b"status: preview", 1)
        return web.json_response({"cut": len(self.links)})

    async def _all(self, command: bytes, word: bytes, proof: int) -> None:
        loop = asyncio.get_running_loop()
        os.write(self._journal, b"x" * 299 + b"\n")
        synced = loop.run_in_executor(None, os.fdatasync, self._journal)
        proved = loop.create_future()
        left = len(self.links)

        def done() -> None:
            nonlocal left
            left -= 1
            if not left:
                proved.set_result(None)

        for link in self.links:
            link.word, link.count, link.done = word, proof, done
            assert link.transport is not None
            link.transport.write(command)
        async with asyncio.timeout(10):
            await proved
            await synced


async def main(port: int, number: int, folder: Path) -> None:
    floor = Floor(folder)
    await floor.connect(port, number)
    app = web.Application()
    app.router.add_post("/roll", floor.roll)
    app.router.add_post("/cut", floor.cut)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    gc.collect()
    gc.freeze()
    await Inside(runner.addresses[0][1], lambda: number).until_gone()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])))
