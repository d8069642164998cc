"""Where are the parts wired together? Here, and nowhere else."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import structlog

from stagectl.control.access import Limit, Lock
from stagectl.control.chronicle import Chronicle
from stagectl.control.commands import Commands
from stagectl.control.devices import Devices
from stagectl.control.journal import Journal
from stagectl.control.journal_lines import Record
from stagectl.control.notes import Notes
from stagectl.control.recovery import Recovery
from stagectl.control.untold import Untold
from stagectl.copyoff.declared import copy_part, with_alarms
from stagectl.copyoff.part import COPY, CopyPart
from stagectl.driverkit.box import Box
from stagectl.driverkit.driver import BoxKind
from stagectl.driverkit.lag import Heart
from stagectl.driverkit.link import READ_BYTES
from stagectl.driverkit.real import RealOffload, elapsed_s, real_world
from stagectl.driverkit.sampler import LoopSampler
from stagectl.driverkit.sweep import Sweep
from stagectl.inlets.http.hub import FOLLOWERS
from stagectl.inlets.http.opening import Tls
from stagectl.inlets.http.server import HttpServer, serve
from stagectl.inlets.mqtt import MqttInlet
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import Cut
from stagectl.model.conditions import Truth
from stagectl.model.errors import SiteError
from stagectl.model.world import World
from stagectl.shoot.house import House
from stagectl.shoot.lineup.part import Lineup
from stagectl.shoot.parts import Part
from stagectl.shoot.paths import PATHS, Paths
from stagectl.shoot.playback.verbs import PLAYBACK
from stagectl.shoot.readiness import READINESS, readiness
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.setups.verbs import SETUPS
from stagectl.shoot.stalls import Stalls
from stagectl.shoot.stations import STATIONS, Stations
from stagectl.shoot.takenumbers import Numbering
from stagectl.shoot.takes import TAKES, Takes
from stagectl.site import Site

if TYPE_CHECKING:
    from stagectl.copyoff.runs import CopyOff

log = structlog.get_logger()

PARTS: Final[Mapping[str, Capability]] = {
    "takes": TAKES,
    "paths": PATHS,
    "stations": STATIONS,
    "setups": SETUPS,
    "playback": PLAYBACK,
    "copy": COPY,
    **READINESS,
}
# records that a start reads back
KEPT: Final = ("take", "command", "verdict", "desk", "alarm", "setup", "lineup", "playback")
SETTLES_S: Final = 10  # at most, until every box is there


@dataclass(slots=True)
class Settings:
    """How this daemon is run.

    Attributes:
        http: (host, port); port 0 takes a free one; None: no web door.
        elsewhere: the web door takes a free port beside it if its own is taken.
        data: folder for journal and state.
        mqtt: False leaves MQTT off whatever the site says.
        scenes: folder with scene files; None: the site file's own.
        tls: what the web door proves itself with; None: it stays on this machine.
        followers: so many pages and programs may follow the house live at once.
    """

    data: Path
    http: tuple[str, int] | None = ("127.0.0.1", 8420)
    elsewhere: bool = False
    mqtt: bool = True
    scenes: Path | None = None
    tls: Tls | None = None
    followers: int = FOLLOWERS


@dataclass(slots=True)
class Daemon:
    """A running daemon. Make it with `start`; `stop` lets go of everything and sends nothing to any box."""

    house: House
    journal: Journal
    devices: Devices
    scenes: Scenes
    http: HttpServer | None = None
    mqtt: MqttInlet | None = None
    heart: Heart | None = None
    sampler: LoopSampler | None = None
    sweep: Sweep | None = None
    copying: "CopyOff | None" = None
    _tasks: list[asyncio.Task[Any]] = field(default_factory=list)
    _threads: list[RealOffload] = field(default_factory=list)

    @classmethod
    async def start(
        cls, site: Site, kinds: Mapping[str, BoxKind], settings: Settings, world: World | None = None
    ) -> "Daemon":
        """Open the journal, wire the house, open the doors, and only then begin to look at boxes.

        Raises:
            SiteError: the file of accounts or tokens is open to others, or not what we wrote.
            OSError: the web door's address is taken.
        """
        real = world is None
        world = world or real_world(settings.data)
        began_at, began = world.clock.now(), world.clock.wall()
        trouble = Notes()
        journal = Journal(world.storage, world.clock, on_trouble=lambda text: _note(trouble, "journal", text))
        await journal.open(site=site.name)
        records, untold = _kept(journal)
        house, devices = wire(world, site, kinds, journal, trouble)
        house.began_at, house.started, house.untold = began_at, began, untold
        try:
            house.gate.load()
        except SiteError:
            await journal.close()
            raise
        house.gate.start()
        if journal.damage:
            _note(trouble, "journal-damage", f"The journal was damaged: {journal.damage[0]} The rest is kept.")
        house.takes.restore(record.data for record in records if record.kind == "take")
        house.desk.restore(record.data for record in records if record.kind == "desk")
        house.alarms.restore(record.data for record in records if record.kind == "alarm")
        lineup = house.parts["lineup"]
        assert isinstance(lineup, Lineup)
        lineup.restore(record.data for record in records if record.kind == "lineup")
        recovery = Recovery.read(records, world.clock.now(), safe=journal.past_safe)
        for group in recovery.groups.values():
            house.commands.remember(group)
        for group in recovery.open.values():
            if group.verb == "roll" and group.take is not None:
                wanted = tuple(command.ask.target for command in group.commands)
                house.takes.recall(group.take, str(group.args.get("name") or ""), group.who, wanted)
        house.setups.load(settings.scenes or site.scenes)
        house.setups.restore(record.data for record in records if record.kind == "setup")
        house.playback.restore(record.data for record in records if record.kind == "playback")
        del records
        scenes = Scenes(house, settings.scenes or site.scenes)
        scenes.load()
        daemon = cls(house, journal, devices, scenes)
        if real and site.copy.targets:
            await daemon._copy(settings.data)
        if settings.http is not None:
            daemon.http = await serve(
                house,
                *settings.http,
                scenes=scenes,
                tls=settings.tls,
                elsewhere=settings.elsewhere,
                followers=settings.followers,
            )
        if settings.mqtt and site.mqtt.broker != "off":
            daemon.mqtt = MqttInlet(house, scenes, settings.data)
            await daemon.mqtt.start()
        daemon._watch_the_loop(LoopSampler() if real else None)
        devices.start()
        daemon._tasks.append(asyncio.create_task(recovery.judge(house.commands, world.clock, house.chronicle)))
        daemon._tasks.append(asyncio.create_task(daemon._settle()))
        return daemon

    async def _copy(self, data: Path) -> None:
        """Begin to copy off; what keeps it from being done is told, and keeps nobody from rolling."""
        # a tenth of all there is to load, and who copies nothing off need not wait for it
        from stagectl.copyoff.runs import Rest  # noqa: PLC0415
        from stagectl.copyoff.wiring import Machine, copy_off  # noqa: PLC0415

        house = self.house
        part = house.parts[CopyPart.name]
        assert isinstance(part, CopyPart)
        rest = Rest(
            house.world.clock,
            house.world.ids,
            house.chronicle,
            takes=lambda: list(house.takes.takes.values()),  # threads read it
            called=house.called,
            troubled=lambda text: house.troubled("copy-soon", text),
        )
        try:
            copying = copy_off(part, house.site, rest, Machine(data, elapsed_s, self._own_threads))
            await copying.start()
        except SiteError as error:
            part.why = str(error)
            house.troubled("copy-soon", f"Nothing can be copied off: {error}")
            return
        house.on_roll.append(part.rolled)
        part.runs = self.copying = copying
        house.answers["copyoff"] = copying.answer

    def _own_threads(self, count: int) -> RealOffload:
        self._threads.append(RealOffload(count, behind=True))
        return self._threads[-1]

    async def _settle(self) -> None:
        """Once every box has told all it has: what lives now lives long, so the collector need not look at it again.

        With 1,000 boxes a look at all of it holds the loop up for 45 ms.
        """
        for _ in range(SETTLES_S):
            await asyncio.sleep(1.0)
            if all(box.adopted for box in self.house.boxes.values()):
                break
        await asyncio.sleep(1.0)
        self.sweep = Sweep(self.house.board)
        self.sweep.start()

    def _watch_the_loop(self, sampler: LoopSampler | None) -> None:
        """Measure how late the loop is, and name whoever holds it up (without a sampler: only that it was)."""
        self.sampler = sampler
        self.heart = Heart(self.house.world.clock, self.house.lag, sampler, Stalls(self.house, self.devices).stalled)
        if sampler is not None:
            sampler.start()
        self.heart.start()

    async def stop(self) -> None:
        """Close the doors, let go of the boxes, make the journal safe. What rolls goes on rolling."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if self.sweep is not None:
            self.sweep.stop()
        await self.scenes.close()
        await self.house.playback.close()
        if self.copying is not None:
            await self.copying.stop()
        for threads in self._threads:
            threads.close()
        self.house.chronicle.write("daemon", "", what="stop")
        if self.mqtt is not None:
            await self.mqtt.stop()
        if self.http is not None:
            await self.http.stop()
        await self.devices.stop()
        await self.house.gate.stop()
        await self.journal.close()
        if self.heart is not None:
            self.heart.stop()
        if self.sampler is not None:
            self.sampler.stop()


def _kept(journal: Journal) -> tuple[list[Record], Untold]:
    """The records of earlier daemons that a start reads back, and where some may be missing."""
    kept: list[Record] = []
    untold = Untold()
    for record in journal.replay():
        untold.read(record)
        if record.kind in KEPT:
            kept.append(record)
    return kept, untold


def wire(
    world: World, site: Site, kinds: Mapping[str, BoxKind], journal: Journal, trouble: Notes | None = None
) -> tuple[House, Devices]:
    """Make the house of a site: board, boxes, command path, parts. Nothing runs yet.

    `trouble`: what is wrong with the daemon itself already.
    """
    board = Board(world.clock)
    board.epoch = journal.epoch
    chronicle = Chronicle(journal, world.clock)
    boxes: dict[str, Box] = {}
    devices = Devices(boxes, world.clock, lambda device, what, why: _link(chronicle, device, what, why))
    commands = Commands(board, world.clock, chronicle, boxes)
    states: dict[str, str] = {}
    houses: list[House] = []
    room = memoryview(bytearray(READ_BYTES))
    for name, entry in site.devices.items():

        def on_link(what: str, why: str, device: str = name) -> None:
            if states.get(device) != f"{what} {why if what == 'foreign' else ''}":
                states[device] = f"{what} {why if what == 'foreign' else ''}"
                _link(chronicle, device, what, why)
            for house in houses:
                house.link_changed(device)

        boxes[name] = Box(
            name,
            kinds[entry.box],
            entry.options,
            (entry.host, entry.port),
            board.writer(name),
            clock=world.clock,
            network=world.network,
            chance=world.chance.stream(f"box:{name}"),
            expect=entry.expect,
            on_link=on_link,
            room=room,
        )
    recorders = {name: site.devices[name].called for name, box in boxes.items() if box.capability.kind == "recorder"}
    groups = site.groups
    takes = Takes(
        board,
        world.clock,
        chronicle,
        recorders,
        lambda device, names: _look(boxes, device, names),
        lambda word: houses[0].resolve(word) if houses else groups.get(word, [word]),
        Numbering(site.numbered),
    )
    commands.guards[Cut] = takes.guard
    commands.judge.so_by_log = takes.rolled_last
    parts: dict[str, Part] = {"takes": takes, "paths": Paths(board, site), "stations": Stations(board, site)}
    parts |= readiness(world, board, site, boxes, chronicle=chronicle, takes=takes)
    parts[CopyPart.name] = copy_part(board, world.clock, site)
    for device, bound in site.limits:
        commands.limits.append(Limit(device, bound))
    for guarded in site.protect:
        watch = board.watch(guarded.while_, _nothing, lazy=True) if guarded.while_ is not None else None
        commands.locks.append(Lock(frozenset(guarded.points), guarded.because, watch=watch, may_lift=guarded.may_lift))
    house = House(
        world,
        with_alarms(site),
        board,
        commands,
        devices=devices,
        chronicle=chronicle,
        takes=takes,
        parts=parts,
        epoch=journal.epoch,
        trouble=trouble,
    )
    houses.append(house)
    return house, devices


def _look(boxes: Mapping[str, Box], device: str, names: tuple[str, ...]) -> None:
    boxes[device].look_now(names)


def _link(chronicle: Chronicle, device: str, what: str, why: str) -> None:
    chronicle.write("link", "", device=device, what=what, why=why)
    (log.info if what in ("up", "adopted") else log.warning)(f"link_{what}", device=device, why=why)


def _note(trouble: Notes, part: str, text: str | None) -> None:
    if text is None:
        trouble.pop(part, None)
        log.info("trouble_over", part=part)
    else:
        trouble[part] = text
        log.warning("trouble", part=part, text=text)


def _nothing(truth: Truth) -> None:
    """A lock's watch is only looked at."""
