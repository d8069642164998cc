"""Is the virtual world like the real one where it matters, and the same each time?

What asyncio and the kernel do is asked of themselves: the calibration runs the same scripts over the real loopback.
The rest is own construction after the common practice of Linux.
"""

import asyncio
import errno
import os
import random
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.daemon import Daemon, Settings
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.verbs import Ended
from stagectl.shoot.house import Wish
from stagectl.site import DeviceEntry, MqttEntry, Pictures, Site, Sound
from stagectl_simulators.house_clock import HouseClock
from stagectl_simulators.kinds import build as build_model
from tests.driverkit.memory import until
from tests.studio.loop import Dead, Process, StuckError, VirtualLoop
from tests.studio.net import Network
from tests.studio.tripwire import RealityError, tripwire
from tests.studio.world import Virtual, VirtualBox, build

ROOT = Path(__file__).parents[2]

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


# -- processes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unread", [False, True])
def test_a_kill_runs_no_finally_and_its_kernel_ends_its_links(unread: bool) -> None:
    with build(1) as virtual:
        ran: list[str] = []

        async def story() -> None:
            near, client, _, server = await linked(virtual)

            async def work(until_then: Awaitable[None]) -> None:
                try:
                    await until_then
                    ran.append("went on")
                finally:
                    ran.append("finally")

            told = virtual.loop.create_future()
            virtual.spawn(near, work(asyncio.sleep(1)))
            virtual.spawn(near, work(told))  # woken from outside, when it is long dead
            await asyncio.sleep(0.1)
            if unread:
                client.transport.pause_reading()
                server.transport.write(b"never read")
                await asyncio.sleep(0.1)
            virtual.kill(near)
            await server.saw("lost")
            assert server.events[1:] == (["lost ConnectionResetError"] if unread else ["eof", "lost NoneType"])
            told.set_result(None)
            await asyncio.sleep(5)
            with pytest.raises(Dead):
                client.transport.write(b"from the dead")
            assert any(__file__ in place for place in near.waiting_at())

        virtual.run(story())
        assert ran == []


def test_a_process_can_be_killed_at_each_of_its_effects() -> None:
    for number in range(1, 8):
        with build(1) as virtual:

            async def story(virtual: Virtual = virtual, number: int = number) -> None:
                process = virtual.process("daemon")
                process.on_effect = lambda count, what: virtual.kill(process) if count == number else None
                storage = virtual.world(process).storage

                async def work() -> None:
                    file = storage.append_to("journal")  # 1
                    for text in (b"one ", b"two "):
                        file.write(text)  # 2, 5
                        await file.sync()  # 3 and 4, 6 and 7

                virtual.spawn(process, work())
                await asyncio.sleep(1)
                assert not process.alive

            virtual.run(story())
            found = virtual.disk().files.get("journal")
            assert (bytes(found.seen) if found else None) == [None, b"", b"one ", b"one ", b"one ", b"one two "][
                min(number, 6) - 1
            ]
            assert virtual.loop.slips == []


def test_a_paused_process_does_what_it_held_when_it_goes_on() -> None:
    with build(1) as virtual:
        ticks: list[float] = []

        async def story() -> None:
            process = virtual.process("clock")

            async def tick() -> None:
                while True:
                    await asyncio.sleep(1)
                    ticks.append(virtual.now - 1000)

            virtual.spawn(process, tick())
            await asyncio.sleep(2.5)
            virtual.loop.pause(process)
            await asyncio.sleep(30)
            virtual.loop.resume(process)
            await asyncio.sleep(1.2)

        virtual.run(story())
        assert [int(tick) for tick in ticks] == [1, 2, 32, 33]


# -- time -------------------------------------------------------------------------------------------------------------


def order_of_equal_timers(seed: int) -> list[int]:
    with build(seed) as virtual:
        order: list[int] = []

        async def story() -> None:
            for number in range(4):
                virtual.loop.call_at(1001.0, order.append, number)
            await asyncio.sleep(2)

        virtual.run(story())
        return order


def test_equal_timers_fire_in_every_order_and_in_the_same_one_for_a_seed() -> None:
    orders = {tuple(order_of_equal_timers(seed)) for seed in range(200)}
    assert len(orders) == 24
    assert order_of_equal_timers(7) == order_of_equal_timers(7)


def test_what_is_called_soon_is_called_in_order() -> None:
    for seed in range(5):
        with build(seed) as virtual:
            order: list[int] = []

            async def story(virtual: Virtual = virtual, order: list[int] = order) -> None:
                for number in range(50):
                    virtual.loop.call_soon(order.append, number)
                await asyncio.sleep(1)

            virtual.run(story())
            assert order == list(range(50))


def test_a_busy_loop_and_a_wait_for_nothing_are_named() -> None:
    async def busy() -> None:
        while True:  # noqa: ASYNC110 - the mistake itself
            await asyncio.sleep(0)

    with build(1) as virtual, pytest.raises(StuckError, match="busy loop"):
        virtual.run(busy())

    async def forever() -> None:
        await asyncio.get_running_loop().create_future()

    loop = VirtualLoop(1)
    loop.net = Network(loop, random.Random)
    with pytest.raises(StuckError, match="without a deadline"):
        loop.run_until_complete(forever())
    loop.close()


def test_a_thread_is_refused_and_noted() -> None:
    with build(1) as virtual:

        async def story() -> None:
            with pytest.raises(Exception, match="a thread"):
                await asyncio.to_thread(int)

        virtual.run(story())
        assert len(virtual.loop.slips) == 1


def test_the_tripwire_names_who_touched_reality() -> None:
    def reads_a_clock() -> None:
        time.time()

    def draws() -> None:
        random.random()

    def opens_a_file() -> None:
        Path(__file__).open().close()

    def opens_a_socket() -> None:
        socket.socket().close()

    def starts_a_thread() -> None:
        thread = threading.Thread(target=int)
        thread.start()
        thread.join()

    for touch in (reads_a_clock, draws, opens_a_file, opens_a_socket, starts_a_thread):
        with tripwire() as wire:
            touch()
        with pytest.raises(RealityError, match=r"test_world\.py:\d+$"):
            wire.check()
    with tripwire() as wire:
        random.Random(7).random()
    wire.check()


# -- disk -------------------------------------------------------------------------------------------------------------


def on_disk(seed: int, story: Callable[[Virtual, Any], Awaitable[None]]) -> Virtual:
    virtual = build(seed)

    async def all_of_it() -> None:
        await story(virtual, virtual.world(virtual.process("daemon")).storage)

    virtual.run(all_of_it())
    return virtual


def test_a_power_cut_keeps_what_was_synced_and_decides_over_the_rest() -> None:
    async def story(virtual: Virtual, storage: Any) -> None:
        file = storage.append_to("journal")
        file.write(b"safe ")
        await file.sync()
        await storage.sync_names()
        file.write(b"first ")
        file.write(b"second")
        virtual.power_cut()

    fates: dict[str, int] = {}
    for seed in range(100):
        with on_disk(seed, story) as virtual:
            found = bytes(virtual.disk().files["journal"].seen)
        assert found.startswith(b"safe ")
        rest = found.removeprefix(b"safe ")
        if rest in (b"", b"first ", b"first second"):
            fate = rest.decode() or "lost"
        else:
            fate = "hole" if rest.startswith(b"\0" * 6) else "torn"
        fates[fate] = fates.get(fate, 0) + 1
    assert {"lost", "first ", "first second", "hole", "torn"} <= set(fates)


def test_names_are_only_sure_after_their_own_sync() -> None:
    async def story(virtual: Virtual, storage: Any) -> None:
        for name in ("old", "kept"):
            storage.append_to(name).close()
        await storage.sync_names()
        made = storage.append_to("new")
        made.write(b"x")
        await made.sync()
        storage.remove("old")
        virtual.power_cut()

    found: dict[str, int] = {}
    for seed in range(40):
        with on_disk(seed, story) as virtual:
            names = " ".join(sorted(virtual.disk().files))
        assert "kept" in names
        found[names] = found.get(names, 0) + 1
    assert sorted(found) == ["kept", "kept new", "kept new old", "kept old"]


def test_a_kill_loses_nothing_that_was_written() -> None:
    async def story(virtual: Virtual, storage: Any) -> None:
        storage.append_to("journal").write(b"not synced")
        [process] = [one for one in virtual.loop.processes if one.name == "daemon#1"]
        virtual.kill(process)
        with pytest.raises(Dead):
            storage.names()

    with on_disk(1, story) as virtual:
        assert bytes(virtual.disk().files["journal"].seen) == b"not synced"


def test_a_failed_sync_forgets_for_good_and_a_full_disk_writes_half() -> None:
    async def story(virtual: Virtual, storage: Any) -> None:
        disk = virtual.disk()
        file = storage.append_to("journal")
        await storage.sync_names()
        file.write(b"doubtful")
        disk.broken = {"sync"}
        with pytest.raises(OSError, match="Input/output"):
            await file.sync()
        disk.broken = set()
        other = storage.append_to("other")
        disk.room = 3
        with pytest.raises(OSError, match="No space left") as full:
            other.write(b"abcdef")
        assert full.value.errno == errno.ENOSPC
        assert storage.read("other") == b"abc"
        disk.lose_processes()
        file = storage.append_to("journal")
        await file.sync()  # well now, and yet
        virtual.power_cut()

    with on_disk(1, story) as virtual:
        assert bytes(virtual.disk().files["journal"].seen) == b""


def test_the_nth_call_fails_once_or_for_ever() -> None:
    async def story(virtual: Virtual, storage: Any) -> None:
        disk = virtual.disk()
        for for_ever in (False, True):
            disk.fail_at, disk.for_ever = len(disk.calls) + 2, for_ever
            failed = []
            for number in range(4):
                try:
                    storage.names()
                except OSError:
                    failed.append(number)
            assert failed == ([1, 2, 3] if for_ever else [1])

    on_disk(1, story).close()


# -- the whole thing --------------------------------------------------------------------------------------------------

DECKS = tuple(f"iso-{number}" for number in range(1, 6))
KINDS = find_kinds()[0]
INES = Person("ines", Role.OPERATOR)


def hall() -> Site:
    """Five recorders and nothing else."""
    return Site(
        name="Tidewater Hall",
        slug="tidewater-hall",
        path=Path("tidewater-hall.yaml"),
        devices={
            name: DeviceEntry(name, "text-deck", f"10.0.1.{number}", 9993, name, {}, {}, number)
            for number, name in enumerate(DECKS, 1)
        },
        groups={"iso": DECKS},
        pictures=Pictures({}, {}),
        sound=Sound({}, {}),
        stations={},
        limits=(),
        protect=(),
        people={"ines": Role.OPERATOR},
        mqtt=MqttEntry(),
        scenes=Path("/nowhere"),
    )


class Hall:
    """Five decks and a daemon, in one virtual world."""

    def __init__(self, virtual: Virtual, http: tuple[str, int] | None = None) -> None:
        self.virtual = virtual
        self.http = http
        self.decks: list[VirtualBox] = []
        self.process: Process
        self.daemon: Daemon

    async def open(self) -> "Hall":
        house = HouseClock()
        for name, entry in hall().devices.items():
            model = build_model("text-deck", name, {}, self.virtual.chance.stream(name), house)
            self.decks.append(await self.virtual.serve_box(name, model, entry.host, entry.port))
        await self.start()
        return self

    async def start(self) -> None:
        self.process = self.virtual.process("daemon")
        settings = Settings(Path("/nowhere"), http=self.http, mqtt=False)
        world = self.virtual.world(self.process)
        self.daemon = await self.virtual.spawn(self.process, Daemon.start(hall(), KINDS, settings, world))
        await until(lambda: all(box.adopted for box in self.daemon.devices.boxes.values()), 10)

    async def press(self, verb: str, **args: Any) -> Group:
        async def press() -> Group:
            group = await self.daemon.house.submit(Wish(INES, "http", "takes", verb, args))
            assert await group.wait(30)
            return group

        return await self.virtual.spawn(self.process, press())

    def rolling(self) -> list[bool]:
        return [box.state_at(self.virtual.now)["transport"] == "record" for box in self.decks]

    def asked_since(self, at: float) -> set[bytes]:
        """The words of all requests that reached a deck after a moment."""
        lines = [
            line
            for box in self.decks
            for heard in box.heard_segments
            if heard.at > at
            for line in heard.data.split(b"\n")
        ]
        return {line.strip().split(b":")[0] for line in lines}


def two_takes(seed: int, *, takes: int = 2, keep_trace: bool = False) -> Virtual:
    """A daemon adopts five decks, rolls and cuts; every verdict must be verified and true."""
    virtual = build(seed, keep_trace=keep_trace)

    async def story() -> None:
        studio = await Hall(virtual).open()
        for number in range(1, takes + 1):
            rolled = await studio.press("roll")
            assert (rolled.worst, rolled.count) == (Ended.VERIFIED, "5 of 5")
            assert studio.rolling() == [True] * 5
            await asyncio.sleep(5)
            cut = await studio.press("cut", take=str(number))
            assert (cut.worst, cut.count) == (Ended.VERIFIED, "5 of 5")
            assert studio.rolling() == [False] * 5
            await asyncio.sleep(2)

    with tripwire() as wire:
        virtual.run(story())
    wire.check()
    assert virtual.loop.slips == []
    assert virtual.loop.unfetched() == []
    return virtual


def test_the_whole_daemon_rolls_and_cuts_in_the_virtual_world() -> None:
    with two_takes(1) as virtual:
        assert virtual.now > 1014


def test_a_killed_daemon_adopts_what_rolls_and_stops_nothing() -> None:
    for seed in range(3):
        with build(seed) as virtual:

            async def story(virtual: Virtual = virtual, seed: int = seed) -> None:
                studio = await Hall(virtual).open()
                assert (await studio.press("roll")).worst is Ended.VERIFIED
                await asyncio.sleep(3)
                ended = virtual.now
                if seed == 1:
                    virtual.power_cut()
                else:
                    virtual.kill(studio.process)
                await asyncio.sleep(1)
                await studio.start()
                assert studio.rolling() == [True] * 5
                asked = studio.asked_since(ended)
                assert b"transport info" in asked
                assert not asked & {b"stop", b"record", b"play"}
                take = studio.daemon.house.takes.open
                assert take is not None
                assert (take.number, len(take.lanes)) == (1, 5)
                cut = await studio.press("cut", take="1")
                assert (cut.worst, cut.count) == (Ended.VERIFIED, "5 of 5")
                assert studio.rolling() == [False] * 5

            virtual.run(story())
            assert virtual.loop.slips == []


def asked_over_http(seed: int) -> tuple[str, bytes]:
    """The trace's hash and what the daemon's own HTTP door answered in the virtual world."""
    with build(seed) as virtual:

        async def ask() -> bytes:
            reader, writer = await asyncio.open_connection("127.0.0.1", 8420)
            writer.write(b"GET /v1/nowhere HTTP/1.1\r\nHost: 127.0.0.1:8420\r\nConnection: close\r\n\r\n")
            async with asyncio.timeout(5):
                answer = await reader.read()
            writer.close()
            return answer

        async def story() -> bytes:
            await Hall(virtual, ("127.0.0.1", 8420)).open()
            return await virtual.spawn(virtual.process("ines"), ask())

        with tripwire() as wire:
            answer = virtual.run(story())
        wire.check()
        assert virtual.loop.slips == []
        return virtual.trace.hash, answer


def test_the_http_door_stands_on_the_virtual_net_and_tells_the_virtual_time() -> None:
    first, answer = asked_over_http(1)
    assert answer.startswith(b"HTTP/1.1 404")
    assert b"Date: Fri, 12 Mar 2027 14:00:0" in answer
    assert asked_over_http(1) == (first, answer)


def test_the_same_seed_is_the_same_run_to_the_last_byte() -> None:
    hashes = []
    for seed in (1, 1, 2):
        with two_takes(seed) as virtual:
            hashes.append(virtual.trace.hash)
    assert hashes[0] == hashes[1] != hashes[2]


def test_the_same_seed_is_the_same_run_in_processes_that_hash_otherwise() -> None:
    program = "from tests.studio.test_world import two_takes; print(two_takes(3).trace.hash)"
    hashes = [
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            timeout=50,
        ).stdout
        for seed in ("1", "4711")
    ]
    assert hashes[0] == hashes[1]
    assert len(hashes[0].strip()) == 32
