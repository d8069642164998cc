"""Are processes, time and disks of the virtual world like the real ones where it matters?

Source: own construction after the common practice of Linux and the promises of asyncio.
"""

import asyncio
import errno
import random
import socket
import threading
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from tests.studio.loop import Dead, StuckError, VirtualLoop
from tests.studio.net import Network
from tests.studio.test_net import linked
from tests.studio.tripwire import RealityError, tripwire
from tests.studio.world import Virtual, build

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
