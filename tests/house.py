"""A whole house for tests: toy boxes on real loopback TCP, the real command path and parts, a journal in memory."""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stagectl.control.access import Role
from stagectl.control.chronicle import Chronicle
from stagectl.control.commands import Commands
from stagectl.control.devices import Devices
from stagectl.driverkit.box import Box
from stagectl.driverkit.real import real_world
from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import Cut
from stagectl.shoot.house import House
from stagectl.shoot.parts import Part
from stagectl.shoot.paths import Paths
from stagectl.shoot.readiness import readiness
from stagectl.shoot.stations import Stations
from stagectl.shoot.takes import Takes
from stagectl.site import DeviceEntry, MqttEntry, Pictures, Site, Sound
from tests.news import until
from tests.toy_box import TOY_KINDS, ToyBox, toy_mixer, toy_recorder, toy_router

PEOPLE = {"ines": Role.OPERATOR, "tomas": Role.ENGINEER, "guest": Role.VIEWER}
WITHIN_S = 10.0


class MemoryJournal:
    """Fulfils what the chronicle writes to. `safe` False: nothing reaches the disk."""

    def __init__(self) -> None:
        self.records: list[tuple[str, str, dict[str, Any]]] = []
        self.safe = True

    def write(self, kind: str, who: str, **data: Any) -> int:
        self.records.append((kind, who, data))
        return len(self.records)

    async def synced(self, n: int) -> bool:
        await asyncio.sleep(0)
        return self.safe


@dataclass
class Toys:
    """A running house and its far ends.

    Attributes:
        boxes: device id -> the toy that plays it.
    """

    house: House
    journal: MemoryJournal
    boxes: Mapping[str, ToyBox]

    async def until(self, true: Callable[[], bool]) -> None:
        """Wait until something is so."""
        await until(self.house, true, WITHIN_S)

    def asked(self) -> list[tuple[str, dict[str, Any]]]:
        """Every act that reached a box: (device, line)."""
        return [(name, line) for name, toy in self.boxes.items() for line in toy.heard if "rows" not in line]


def toys_of(recorders: int) -> dict[str, ToyBox]:
    """`recorders` recorders iso-1.., a router "hall", a mixer "mixer"."""
    made = {f"iso-{number}": toy_recorder() for number in range(1, recorders + 1)}
    return {**made, "hall": toy_router(), "mixer": toy_mixer()}


@asynccontextmanager
async def toy_house(folder: Path, recorders: int = 3) -> AsyncIterator[Toys]:
    """A house whose boxes are adopted; leaving it stops everything."""
    boxes = toys_of(recorders)
    ports = {name: await toy.open() for name, toy in boxes.items()}
    journal = MemoryJournal()
    house = _wired(folder, boxes, ports, journal)
    house.devices.start()
    toys = Toys(house, journal, boxes)
    try:
        await toys.until(lambda: all(box.adopted for box in house.boxes.values()))
        yield toys
    finally:
        await house.devices.stop()
        for toy in boxes.values():
            await toy.close()


def _wired(folder: Path, toys: Mapping[str, ToyBox], ports: Mapping[str, int], journal: MemoryJournal) -> House:
    world = real_world(folder)
    devices = {name: _entry(name, toys[name], ports[name]) for name in toys}
    recorders = {name: entry.called for name, entry in devices.items() if entry.box == "toy-recorder"}
    site = _site(folder, devices, tuple(recorders))
    board = Board(world.clock)
    board.epoch = 1
    chronicle = Chronicle(journal, world.clock)
    boxes: dict[str, Box] = {}
    keeper = Devices(
        boxes, world.clock, lambda device, what, why: chronicle.write("link", "", device=device, what=what, why=why)
    )
    commands = Commands(board, world.clock, chronicle, boxes)
    houses: list[House] = []
    for name, entry in devices.items():
        boxes[name] = Box(
            name,
            TOY_KINDS[entry.box],
            {},
            (entry.host, entry.port),
            board.writer(name),
            clock=world.clock,
            network=world.network,
            chance=world.chance.stream(name),
            on_link=lambda what, why, name=name: houses[0].link_changed(name),
        )
    takes = Takes(
        board,
        world.clock,
        chronicle,
        recorders,
        lambda device, names: boxes[device].look_now(names),
        lambda word: houses[0].resolve(word),  # noqa: PLW0108 - the house is made after its takes
    )
    commands.guards[Cut] = takes.guard
    parts: dict[str, Part] = {"takes": takes, "paths": Paths(board, site), "stations": Stations(board, site)}
    parts |= readiness(world, board, site, boxes, chronicle=chronicle, takes=takes)
    houses.append(
        House(
            world,
            site,
            board,
            commands,
            devices=keeper,
            chronicle=chronicle,
            takes=takes,
            parts=parts,
            epoch=board.epoch,
        )
    )
    return houses[0]


def _entry(name: str, toy: ToyBox, port: int) -> DeviceEntry:
    kind = "recorder" if "transport" in toy.points else "router" if "present" in toy.points else "mixer"
    called = {"hall": "Hall router", "mixer": "Mixer"}.get(name, f"Rec {name.rpartition('-')[2]}")
    return DeviceEntry(name, f"toy-{kind}", "127.0.0.1", port, called, {}, {}, 1)


def _site(folder: Path, devices: Mapping[str, DeviceEntry], recorders: tuple[str, ...]) -> Site:
    pictures = Pictures(
        {"stage-left": ("hall", 1), "hands": ("hall", 2)}, {"iso-1": ("hall", 1), "director": ("hall", 3)}
    )
    return Site(
        name="Tidewater Hall",
        slug="tidewater-hall",
        path=folder / "site.yaml",
        devices=devices,
        groups={"iso": recorders, "recorder": recorders},
        pictures=pictures,
        sound=Sound({}, {}),
        stations={},
        limits=(),
        protect=(),
        people=PEOPLE,
        mqtt=MqttEntry(),
        scenes=folder,
    )
