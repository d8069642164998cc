"""Does the whole daemon live in the virtual world, and live there the same each time?

Source: the product's own promises; the truth comes from the simulated decks.
"""

import asyncio
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

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
from tests.studio.loop import Process
from tests.studio.tripwire import tripwire
from tests.studio.world import Virtual, VirtualBox, build

ROOT = Path(__file__).parents[2]

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
    program = "from tests.studio.test_daemon import two_takes; print(two_takes(3).trace.hash)"
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
