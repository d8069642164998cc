"""Does the virtual TCP call back as the real one does, and break as the real one breaks?

Source: asyncio and the kernel themselves, asked over the loopback with the same scripts. What the loopback cannot show
(half-open links, power cuts, slow ways) is own construction after the common practice of Linux.
"""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from tests.driverkit.memory import until
from tests.studio.loop import Process
from tests.studio.world import Virtual, build

# -- TCP as asyncio shows it ------------------------------------------------------------------------------------------


class Noting:
    """Notes each callback; pieces of data that follow each other are one. `amount` is all that was heard."""

    def __init__(self, keep: bool = False) -> None:
        self.events: list[str] = []
        self.amount = 0
        self.keep = keep
        self.transport: Any = None
        self._waiting: dict[str, asyncio.Future[None]] = {}

    def connection_made(self, transport: Any) -> None:
        self.transport = transport
        self._note("made")

    def heard(self, count: int) -> None:
        self.amount += count
        self._note("data")

    def eof_received(self) -> bool:
        self._note("eof")
        return self.keep

    def connection_lost(self, error: Exception | None) -> None:
        self._note(f"lost {type(error).__name__}")

    def pause_writing(self) -> None:
        self._note("pause")

    def resume_writing(self) -> None:
        self._note("resume")

    def _note(self, event: str) -> None:
        if event != "data" or not self.events or self.events[-1] != "data":
            self.events.append(event)
        for word, future in self._waiting.items():
            if event.startswith(word) and not future.done():
                future.set_result(None)

    async def saw(self, word: str) -> None:
        if not any(event.startswith(word) for event in self.events):
            self._waiting[word] = asyncio.get_running_loop().create_future()
            async with asyncio.timeout(20):
                await self._waiting[word]


class NotingProtocol(Noting, asyncio.Protocol):
    def data_received(self, data: bytes) -> None:
        self.heard(len(data))


class NotingBuffered(Noting, asyncio.BufferedProtocol):
    def get_buffer(self, sizehint: int) -> bytearray:
        self.room = bytearray(4096)
        return self.room

    def buffer_updated(self, nbytes: int) -> None:
        self.heard(nbytes)


async def both_close(client: Noting, server: Noting) -> None:
    client.transport.write(b"hello")
    await server.saw("data")
    server.transport.close()


async def half_close(client: Noting, server: Noting) -> None:
    server.keep = True
    client.transport.write(b"ask")
    client.transport.write_eof()
    await server.saw("eof")
    server.transport.write(b"answer")
    server.transport.close()


async def close_unread(client: Noting, server: Noting) -> None:
    await server.saw("made")
    server.transport.pause_reading()
    client.transport.write(b"x" * 1000)
    await asyncio.sleep(0.02)  # they lie in the kernel; nobody can tell
    server.transport.close()


async def abort(client: Noting, server: Noting) -> None:
    await server.saw("made")
    client.transport.abort()


async def write_after_close(client: Noting, server: Noting) -> None:
    client.transport.pause_reading()
    await server.saw("made")
    server.transport.close()
    await server.saw("lost")
    async with asyncio.timeout(20):
        while not client.transport.is_closing():
            client.transport.write(b"more")
            await asyncio.sleep(0.005)


async def back_pressure(client: Noting, server: Noting) -> None:
    await server.saw("made")
    server.transport.pause_reading()
    sent = 0
    async with asyncio.timeout(20):
        while "pause" not in client.events:
            client.transport.write(b"x" * 50_000)
            sent += 50_000
            await asyncio.sleep(0)
    server.transport.resume_reading()
    await client.saw("resume")
    client.transport.close()
    await server.saw("lost")
    assert server.amount == sent


async def close_with_much_unsent(client: Noting, server: Noting) -> None:
    client.transport.write(b"x" * 9_000_000)
    client.transport.close()
    await server.saw("lost")
    assert server.amount == 9_000_000


async def refused(client: Noting, server: Noting) -> None:  # noqa: ARG001 - a script like the others
    raise AssertionError("nobody listens, so nobody plays")


SCRIPTS = (
    both_close,
    half_close,
    close_unread,
    abort,
    write_after_close,
    back_pressure,
    close_with_much_unsent,
    refused,
)


async def play(script: Callable[[Noting, Noting], Awaitable[None]], kind: Callable[[], Any]) -> list[list[str]]:
    """Over whatever loop runs: the callbacks of the client and of the server."""
    loop = asyncio.get_running_loop()
    servers: list[Any] = []

    def accept() -> Any:
        servers.append(kind())
        return servers[-1]

    listener = await loop.create_server(accept, "127.0.0.1", 0)
    port = listener.sockets[0].getsockname()[1]
    if script is refused:
        listener.close()
        with pytest.raises(ConnectionRefusedError) as caught:
            await loop.create_connection(kind, "127.0.0.1", port)
        return [[str(caught.value.errno)]]
    _, client = await loop.create_connection(kind, "127.0.0.1", port)
    await until(lambda: bool(servers))
    await script(client, servers[0])
    await client.saw("lost")
    await servers[0].saw("lost")
    listener.close()
    return [client.events, servers[0].events]


@pytest.mark.parametrize("kind", [NotingProtocol, NotingBuffered])
@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.__name__)
def test_the_virtual_tcp_calls_back_as_the_loopback_does(script: Any, kind: Any) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        real = runner.run(play(script, kind))
    for seed in range(5):
        with build(seed) as virtual:
            assert virtual.run(play(script, kind)) == real
            assert virtual.loop.slips == []


# -- TCP in trouble ---------------------------------------------------------------------------------------------------


async def linked(virtual: Virtual, *, user_timeout_s: float = 0.0) -> tuple[Process, Noting, Process, Noting]:
    """A connection from "desk" to "far"."""
    near, far = virtual.process("near", "desk"), virtual.process("far", "far")
    servers: list[NotingProtocol] = []

    def accept() -> NotingProtocol:
        servers.append(NotingProtocol())
        return servers[-1]

    virtual.net.listen(far, accept, "far", 7)
    _, client = await virtual.spawn(
        near, virtual.net.dial(near, NotingProtocol, "far", 7, user_timeout_s=user_timeout_s)
    )
    await asyncio.sleep(0.01)
    return near, client, far, servers[0]


def test_bytes_of_one_connection_keep_their_order_whatever_the_way_does() -> None:
    for seed in range(20):
        with build(seed) as virtual:

            async def story(virtual: Virtual = virtual) -> None:
                way = virtual.net.way("desk", "far")
                way.latency, way.cut = (0.0, 2.0), 0.7
                heard = bytearray()
                near, far = virtual.process("near"), virtual.process("far", "far")

                class Hearing(NotingProtocol):
                    def data_received(self, data: bytes) -> None:
                        heard.extend(data)

                virtual.net.listen(far, Hearing, "far", 7)
                transport, _ = await virtual.spawn(near, virtual.net.dial(near, NotingProtocol, "far", 7))
                sent = bytes(range(256)) * 4
                for at in range(0, len(sent), 32):
                    transport.write(sent[at : at + 32])
                    await asyncio.sleep(0.05)
                await asyncio.sleep(10)
                assert bytes(heard) == sent

            virtual.run(story())


def test_a_half_open_link_says_nothing_until_the_user_timeout_and_heals_with_all_its_bytes() -> None:
    with build(1) as virtual:

        async def story() -> None:
            _, client, _, server = await linked(virtual, user_timeout_s=3.0)
            ways = virtual.net.both("desk", "far")
            virtual.net.hold(*ways)
            client.transport.write(b"first")
            await asyncio.sleep(2.0)
            assert server.amount == 0
            assert "lost" not in " ".join(client.events)
            virtual.net.heal(*ways)
            await server.saw("data")
            assert server.amount == 5
            virtual.net.hold(*ways)
            client.transport.write(b"second")
            began = virtual.now
            await client.saw("lost TimeoutError")
            assert virtual.now - began == pytest.approx(3.0, abs=0.01)
            assert server.events == ["made", "data"]  # it has not been told
            virtual.net.heal(*ways)
            server.transport.write(b"are you there?")
            await server.saw("lost ConnectionResetError")

        virtual.run(story())


def test_with_one_way_lost_commands_arrive_and_answers_wait() -> None:
    with build(1) as virtual:

        async def story() -> None:
            _, client, _, server = await linked(virtual)
            back = virtual.net.way("far", "desk")
            virtual.net.hold(back)
            client.transport.write(b"roll")
            await server.saw("data")
            server.transport.write(b"ok")
            await asyncio.sleep(5)
            assert client.amount == 0
            virtual.net.heal(back)
            await client.saw("data")

        virtual.run(story())


def test_a_swallowed_connect_waits_a_refused_one_does_not() -> None:
    with build(1) as virtual:

        async def story() -> None:
            near, far = virtual.process("near"), virtual.process("far", "far")
            way = virtual.net.way("desk", "far")
            way.swallow = True
            virtual.net.listen(far, NotingProtocol, "far", 7)
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(2):
                    await virtual.spawn(near, virtual.net.dial(near, NotingProtocol, "far", 7))
            way.swallow, way.refuse = False, True
            with pytest.raises(ConnectionRefusedError):
                await virtual.spawn(near, virtual.net.dial(near, NotingProtocol, "far", 7))
            way.refuse = False
            await virtual.spawn(near, virtual.net.dial(near, NotingProtocol, "far", 7))

        virtual.run(story())


@pytest.mark.parametrize("by", ["rst", "fin"])
def test_a_link_is_ended_after_exactly_so_many_bytes(by: str) -> None:
    with build(1) as virtual:

        async def story() -> None:
            _, client, _, server = await linked(virtual)
            way = virtual.net.way("far", "desk")
            way.end_after, way.end_by = 7, by
            server.transport.write(b"200 ok, and more")
            await client.saw("lost")
            assert client.amount == 7
            assert client.events[-1] == ("lost ConnectionResetError" if by == "rst" else "lost NoneType")

        virtual.run(story())


def test_a_slow_link_takes_its_time() -> None:
    with build(1) as virtual:

        async def story() -> None:
            _, client, _, server = await linked(virtual)
            virtual.net.way("desk", "far").rate = 1000.0
            began = virtual.now
            for _ in range(20):  # written in small pieces, paid for together
                client.transport.write(b"x" * 100)
            await until(lambda: server.amount == 2000)
            assert virtual.now - began == pytest.approx(2.0, abs=0.05)

        virtual.run(story())


def test_a_machine_without_power_says_nothing_and_resets_what_it_hears_when_it_is_back() -> None:
    with build(1) as virtual:

        async def story() -> None:
            _, client, _, _ = await linked(virtual)
            virtual.power_cut("far")
            client.transport.write(b"are you there?")
            await asyncio.sleep(5)
            assert client.events == ["made"]
            virtual.process("far", "far")
            await client.saw("lost ConnectionResetError")

        virtual.run(story())
