"""Do the network faults work for any box, over real TCP? Stories with a text deck; own construction."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pytest

from stagectl_simulators.serve import SimBox, Simulation
from stagectl_simulators.server import BoxServer

LIMIT_S = 30.0  # some of these move 20 MB, and branches may be counted meanwhile
Wire = tuple[asyncio.StreamReader, asyncio.StreamWriter]


@asynccontextmanager
async def one_deck(**options: object) -> AsyncIterator[BoxServer]:
    settings: dict[str, object] = {"roll_delay_s": 0.1, **options}
    async with Simulation([SimBox("iso-1", "text-deck", options=settings)]) as simulation:
        yield simulation.boxes["iso-1"]


async def join(box: BoxServer) -> Wire:
    """Connect and hear the greeting out."""
    wire = await asyncio.open_connection(*box.address)
    await until(wire, b"\r\n\r\n")
    return wire


async def until(wire: Wire, end: bytes) -> bytes:
    async with asyncio.timeout(LIMIT_S):
        return await wire[0].readuntil(end)


async def the_end(wire: Wire) -> bytes:
    """What still comes before the connection ends."""
    async with asyncio.timeout(LIMIT_S):
        return await wire[0].read()


async def becomes(check: Callable[[], object]) -> None:
    """Look until it is so."""
    async with asyncio.timeout(LIMIT_S):
        while not check():  # noqa: ASYNC110 - the box knows no event for what a test wants to see
            await asyncio.sleep(0.005)


def seen(box: BoxServer, way: str) -> bool:
    """Is there an entry of this way in the wire log?"""
    return any(entry["way"] == way for entry in box.log.since(0))


async def test_a_silent_box_hears_and_obeys_and_says_nothing() -> None:
    async with one_deck() as box:
        wire = await join(box)
        box.turn("silent", True)
        wire[1].write(b"record: name: Take\r\nping\r\n")
        await becomes(lambda: box.truth()["transport"] == "record")
        box.turn("silent", False)
        wire[1].write(b"transport info\r\n")
        assert (await until(wire, b"\r\n")) == b"208 transport info:\r\n", "nothing of before comes later"
        wire[1].close()


async def test_one_byte_at_a_time_keeps_the_words_whole() -> None:
    async with one_deck() as box:
        wire = await join(box)
        box.turn("one_byte", True)
        wire[1].write(b"ping\r\nremote\r\n")
        assert await until(wire, b"200 ok\r\n") == b"200 ok\r\n"
        assert (await until(wire, b"\r\n\r\n")).startswith(b"210 remote info:\r\n")
        out = [entry["text"] for entry in box.log.since(0) if entry["way"] == "out"]
        assert all(len(str(text).replace("\\", "")) == 1 for text in out[1:])
        wire[1].close()


async def test_the_next_answer_is_cut_halfway_and_the_connection_reset() -> None:
    async with one_deck() as box:
        wire = await join(box)
        box.turn("reset_mid_line", True)
        wire[1].write(b"ping\r\n")
        assert await until(wire, b"200 ") == b"200 "
        with pytest.raises(ConnectionResetError):
            await the_end(wire)
        again = await join(box)
        again[1].write(b"ping\r\n")
        assert await until(again, b"\r\n") == b"200 ok\r\n", "it happens once"
        for each in (wire, again):
            each[1].close()


async def test_a_second_client_is_turned_away_in_the_boxs_own_words() -> None:
    async with one_deck() as box:
        first = await join(box)
        box.turn("refuse_second", True)
        second = await asyncio.open_connection(*box.address)
        assert await the_end(second) == b"120 connection rejected\r\n"
        first[1].write(b"ping\r\n")
        assert await until(first, b"\r\n") == b"200 ok\r\n"
        for each in (first, second):
            each[1].close()


async def test_a_reboot_drops_everyone_and_the_box_comes_back_at_its_address() -> None:
    async with one_deck() as box:
        wire = await join(box)
        wire[1].write(b"record\r\n")
        await until(wire, b"200 ok\r\n")
        await becomes(lambda: box.truth()["transport"] == "record")
        box.turn("reboot", 30)
        with pytest.raises(ConnectionResetError):
            await the_end(wire)
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(*box.address)
        with pytest.raises(ValueError, match="rebooting"):
            box.panel("stop", {})
        box.turn("reboot", False)  # back at once
        await becomes(lambda: not box.truth()["rebooting"])
        assert box.truth()["transport"] == "preview"
        again = await join(box)
        for each in (wire, again):
            each[1].close()


async def test_latency_delays_answers_and_keeps_their_order() -> None:
    async with one_deck() as box:
        wire = await join(box)
        box.turn("latency", 0.5)
        wire[1].write(b"ping\r\nuptime\r\n")
        await becomes(lambda: seen(box, "in"))
        assert box.log.since(0)[-1]["way"] == "in", "heard, not yet answered"
        box.turn("latency", 0.0)
        wire[1].write(b"remote\r\n")
        said = await until(wire, b"override: false\r\n\r\n")
        assert [line for line in said.split(b"\r\n") if line[:3].isdigit()] == [
            b"200 ok",
            b"215 uptime:",
            b"210 remote info:",
        ]
        wire[1].close()


async def test_a_box_says_its_last_words_before_it_closes_however_late() -> None:
    async with one_deck() as box:
        wire = await join(box)
        box.turn("latency", 0.1)
        wire[1].write(b"ping\r\nquit\r\n")
        assert await the_end(wire) == b"200 ok\r\n"
        assert box.truth()["clients"] == []
        wire[1].close()


async def test_a_client_that_leaves_is_forgotten() -> None:
    async with one_deck() as box:
        wire = await join(box)
        wire[1].close()
        await becomes(lambda: seen(box, "lost"))
        assert box.truth()["clients"] == []


async def test_a_client_that_never_reads_is_closed_and_the_others_are_served() -> None:
    clips = [{"name": f"{number:060}"} for number in range(1000)]
    async with one_deck(slots=[{"clips": clips}]) as box:
        deaf, other = await join(box), await join(box)
        deaf[0]._transport.pause_reading()  # type: ignore[attr-defined]
        deaf[1].write(b"disk list\r\n" * 200)  # 20 MB of answers
        await becomes(lambda: seen(box, "close"))
        other[1].write(b"ping\r\n")
        assert await until(other, b"\r\n") == b"200 ok\r\n"
        for each in (deaf, other):
            each[1].transport.abort()


async def test_a_watchdog_closes_the_connection_that_went_quiet() -> None:
    async with one_deck() as box:
        wire = await join(box)
        wire[1].write(b"watchdog: period: 1\r\n")
        assert await the_end(wire) == b"200 ok\r\n"
        wire[1].close()


async def test_an_address_in_use_is_named() -> None:
    async with one_deck() as box:
        host, port = box.address
        with pytest.raises(ValueError, match=f"iso-2 cannot listen on {host}:{port}"):
            async with Simulation([SimBox("iso-2", "text-deck", host, port)]):
                pass
