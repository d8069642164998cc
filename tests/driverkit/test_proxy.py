"""Does the wire carry, record, slow, slice, gather, lie and break as it is told?

Source of all rows: own construction.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from stagectl.driverkit.proxy import RECORD_BYTES, Proxy


class Far:
    """A box that says each line back in capitals."""

    def __init__(self) -> None:
        self.heard = b""

    async def meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while line := await reader.readline():
                self.heard += line
                writer.write(line.upper())
        except OSError:
            pass
        finally:
            writer.close()


@asynccontextmanager
async def wired() -> AsyncIterator[tuple[Far, Proxy, asyncio.StreamReader, asyncio.StreamWriter]]:
    far = Far()
    server = await asyncio.start_server(far.meet, "127.0.0.1", 0)
    async with server, Proxy(*server.sockets[0].getsockname()[:2]) as proxy, asyncio.timeout(20):
        reader, writer = await asyncio.open_connection(*proxy.address)
        yield far, proxy, reader, writer
        writer.close()


async def ended(reader: asyncio.StreamReader) -> bool:
    """Wait for the end, which may come as a reset."""
    try:
        return await reader.read(1) == b""
    except ConnectionResetError:
        return True


async def test_both_ways_are_carried_and_recorded() -> None:
    async with wired() as (far, proxy, reader, writer):
        writer.write(b"get red\nget green\n")
        assert await reader.readexactly(18) == b"GET RED\nGET GREEN\n"
        await proxy.passed(b"green\n", 5)
        wire = proxy.connections[-1]
        assert (bytes(wire.sent), bytes(wire.heard)) == (b"get red\nget green\n", b"GET RED\nGET GREEN\n")
        assert far.heard == bytes(wire.sent)


@pytest.mark.parametrize("slice_bytes", [1, 3])
async def test_slices_change_the_pieces_and_not_the_words(slice_bytes: int) -> None:
    async with wired() as (_, proxy, reader, writer):
        proxy.slice_bytes = slice_bytes
        writer.write(b"get red\n")
        assert len(await reader.read(100)) <= 8
        writer.write(b"end\n")
        assert (await reader.readuntil(b"END\n")).endswith(b"END\n")


async def test_what_is_gathered_comes_in_one_piece() -> None:
    async with wired() as (_, proxy, reader, writer):
        proxy.gather_s = 0.3
        writer.write(b"one\n")
        await proxy.passed(b"one\n", 5)
        writer.write(b"two\n")
        assert await reader.read(100) == b"ONE\nTWO\n"


async def test_a_delay_holds_back_what_the_box_says() -> None:
    loop = asyncio.get_running_loop()
    async with wired() as (_, proxy, reader, writer):
        proxy.delay_s = 0.2
        began = loop.time()
        writer.write(b"one\n")
        await reader.readexactly(4)
        assert loop.time() - began >= 0.2


async def test_what_is_injected_looks_as_if_the_box_had_said_it() -> None:
    async with wired() as (far, proxy, reader, writer):
        writer.write(b"one\n")
        await reader.readexactly(4)
        assert await proxy.inject(b"* red on\n")
        assert await reader.readline() == b"* red on\n"
        assert far.heard == b"one\n"
        assert bytes(proxy.connections[-1].heard) == b"ONE\n"


async def test_a_cut_wire_ends_both_ways_and_refuses_while_told_to() -> None:
    async with wired() as (_, proxy, reader, writer):
        writer.write(b"one\n")
        await reader.readexactly(4)
        proxy.refuse = True
        proxy.cut()
        assert await ended(reader)
        again, refused = await asyncio.open_connection(*proxy.address)
        assert await ended(again)
        refused.close()
        assert [wire.open for wire in proxy.connections] == [False]
        proxy.heal()
        third, healed = await asyncio.open_connection(*proxy.address)
        healed.write(b"two\n")
        assert await third.readexactly(4) == b"TWO\n"
        healed.close()


async def test_the_record_is_bounded() -> None:
    async with wired() as (_, proxy, reader, writer):
        line = b"x" * 1023 + b"\n"
        for _ in range(RECORD_BYTES // 1024 + 8):
            writer.write(line)
            await reader.readexactly(1024)
        assert len(proxy.connections[-1].heard) == RECORD_BYTES
