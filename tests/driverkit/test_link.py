"""Does a link send at once or say that it is late, and end exactly once? Source of all rows: own construction."""

import asyncio

import pytest

from stagectl.driverkit.link import READ_BYTES, StreamLink
from tests.driverkit.memory import MemoryTransport, Peer, until, virtual


class Bench:
    """A link, the stream below it, and what it told."""

    def __init__(self) -> None:
        self.heard: list[bytes] = []
        self.lost: list[str] = []
        self.link = StreamLink(self.heard.append, self.lost.append)
        self.peer = Peer(lambda line: None)
        self.transport = self.peer.transport = MemoryTransport(self.link, self.peer)

    def open(self) -> "Bench":
        self.link.connection_made(self.transport)
        return self


@virtual
async def test_a_link_that_is_not_open_sends_nothing() -> None:
    bench = Bench()
    assert not bench.link.up
    assert not bench.link.write(b"get lamp\n")
    bench.link.end("never came up")
    assert bench.lost == ["never came up"]


@virtual
async def test_bytes_leave_at_once_and_are_counted() -> None:
    bench = Bench().open()
    assert bench.link.up
    assert bench.link.write(b"get lamp\n")
    await until(lambda: bench.peer.heard == ["get lamp"])
    assert bench.link.bytes_out == 9


@virtual
async def test_a_link_with_bytes_still_waiting_is_late_and_sends_nothing_more() -> None:
    bench = Bench().open()
    bench.transport.waiting = 1
    assert not bench.link.write(b"roll\n")
    bench.transport.waiting = 0
    assert bench.link.write(b"get lamp\n")
    await until(lambda: bool(bench.peer.heard))
    assert bench.peer.heard == ["get lamp"]


@virtual
async def test_a_flood_is_read_in_pieces_of_the_link_s_own_buffer() -> None:
    bench = Bench().open()
    flood = bytes(range(256)) * 100
    bench.transport.deliver(flood)
    assert b"".join(bench.heard) == flood
    assert max(map(len, bench.heard)) == READ_BYTES
    assert bench.link.bytes_in == len(flood)


@virtual
async def test_what_was_heard_is_not_overwritten_by_what_comes_next() -> None:
    bench = Bench().open()
    bench.transport.deliver(b"first")
    bench.transport.deliver(b"other")
    assert bench.heard == [b"first", b"other"]


@virtual
async def test_the_box_closes_the_link_and_that_is_said_once() -> None:
    bench = Bench().open()
    bench.peer.cut()
    await until(lambda: bench.peer.ended)
    bench.link.end("too late")
    assert bench.lost == ["the box closed the link"]
    assert not bench.link.up
    assert not bench.link.write(b"get lamp\n")


@virtual
async def test_we_end_the_link_and_hear_nothing_after() -> None:
    bench = Bench().open()
    bench.link.end("it is out of step")
    bench.link.buffer_updated(0)
    await asyncio.sleep(0.1)
    assert (bench.lost, bench.heard) == (["it is out of step"], [])
    assert bench.transport.is_closing()


@pytest.mark.parametrize("error", [ConnectionResetError("reset"), TimeoutError("no acknowledgement")])
def test_a_broken_link_says_how_it_broke(error: Exception) -> None:
    lost: list[str] = []
    link = StreamLink(lambda data: None, lost.append)
    link.connection_lost(error)
    assert lost == [f"the link broke: {error}"]


def test_the_end_of_the_box_s_half_closes_the_whole() -> None:
    assert StreamLink(lambda data: None, lambda why: None).eof_received() is False
