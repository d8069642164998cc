"""Where does a run play? The virtual world with its boxes, the lives of the daemon in it, and the record of it all."""

import random
from collections.abc import Callable, Coroutine
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from stagectl.control.access import Role
from stagectl.daemon import Daemon, Settings
from stagectl.site import DeviceEntry, MqttEntry, Pictures, Site, Sound
from stagectl_drivers.block_router import BOX as ROUTER
from stagectl_drivers.text_deck import BOX as DECK
from stagectl_simulators import block_router, text_deck
from stagectl_simulators.house_clock import HouseClock
from tests.studio.boxes import WatchedBox
from tests.studio.histories import Histories, Trail, Truth
from tests.studio.loop import START_S
from tests.studio.plan import Plan
from tests.studio.world import WALL, Virtual, VirtualBox

DESK: Final = "desk"  # the host of the daemon
ROOM: Final = "room"  # the host of the people's own machines
MODEL: Final = "Two-slot deck"
KINDS: Final = {"text-deck": DECK, "block-router": ROUTER}
EMPTY: Final = Path(__file__).parent / "no-scenes"


class Stage:
    """One run.

    Attributes:
        run: what happened.
        life: which start of the daemon this is, from one.
        reach: what was reached of the things that a campaign must reach.
    """

    def __init__(self, virtual: Virtual, plan: Plan) -> None:
        self.virtual = virtual
        self.plan = plan
        self.run = Histories(plan)
        self.devices = plan.devices
        self.net = virtual.net
        self.life = 0
        self.reach: dict[str, None] = {}
        self._loop = virtual.loop
        self._base = START_S
        self._people = virtual.process("people", ROOM)
        self._daemon: Daemon | None = None
        self._process: Any = None
        self._boxes: dict[str, WatchedBox] = {}
        self._servers: dict[str, VirtualBox] = {}
        self._hosts: dict[str, str] = {}
        self._off: dict[str, None] = {}
        self._requests: dict[str, int] = {}
        self._seen_takes: dict[int, None] = {}
        self._starting = 0
        virtual.loop.trace.on_line.append(self._overhear)

    # -- time and record ----------------------------------------------------------------------------------------------

    def now(self) -> float:
        return self._loop.time() - self._base

    def later(self, after_s: float, do: Callable[[], None]) -> None:
        """In the world's own hands: no process's death stops it."""
        self._loop.call_later(after_s, do, context=self._loop.root.context())

    def mark(self, what: str, dev: str = "", note: str = "") -> None:
        self.run.mark(self.now(), what, dev, note)
        self._loop.trace.note("studio", f"{what} {dev} {note}")

    def reached(self, what: str) -> None:
        self.reach[what] = None

    def chance(self, name: str) -> random.Random:
        return random.Random(f"{self.plan.seed}:{name}")

    def spawn_people(self, coro: Coroutine[Any, Any, Any], name: str) -> Any:
        return self._loop.spawn(self._people, coro, name)

    def wall_of(self, who: str) -> datetime:
        """Ines sits at the daemon's own machine; the others' keep the right time."""
        return self.virtual.clock(DESK).wall() if who == "ines" else WALL + timedelta(seconds=self.now())

    # -- boxes --------------------------------------------------------------------------------------------------------

    def host(self, device: str) -> str:
        return "10.0.5.21" if device == "hall" else f"10.0.5.{10 + int(device.removeprefix('iso-'))}"

    def box(self, device: str) -> WatchedBox:
        return self._boxes[device]

    async def open_boxes(self) -> None:
        house = HouseClock()
        for device in self.devices:
            chance = self.chance(f"box:{device}")
            if device == "hall":
                model: Any = block_router.build(device, {}, chance, house)
            else:
                model = text_deck.build(device, {"model": MODEL, "unique_id": f"unit {device}"}, chance, house)
            watched = WatchedBox(model, text=device != "hall")
            self._boxes[device] = watched
            self._hosts[self.host(device)] = device
            kind = ROUTER if device == "hall" else DECK
            server = await self.virtual.serve_box(device, watched, self.host(device), kind.port)
            server.log.note = _unread  # type: ignore[method-assign]
            self._servers[device] = server
        for device in self.plan.mute:
            self.turn(device, "no_notices", True)
        for device in self.plan.rolling_at_start:
            self.panel(device, "record")

    def turn(self, device: str, switch: str, value: bool | float) -> None:
        """Turn a fault switch of the simulator."""
        if switch in self._boxes[device].faults.read():
            self._servers[device].turn(switch, value)

    def panel(self, device: str, act: str, **arguments: object) -> None:
        """Somebody's hand; what the box refuses, it refuses."""
        if device in self._off:
            return
        try:
            self._servers[device].panel(act, arguments)
        except ValueError as refused:
            self._loop.trace.note("hand", f"{device} {act}: {refused}")

    def refuse_more(self, device: str, on: bool) -> None:
        """Another controller holds its only session, or lets go of it."""
        self._boxes[device].taken = on

    def fill_active_slot(self, device: str) -> None:
        deck = self._boxes[device].model.deck  # type: ignore[attr-defined]
        if deck.rolling is not None:
            deck.rolling.full_at_s = self.now()
            self._servers[device].turn("dropped_frames", 0.0)

    def power_off(self, device: str, off_s: float) -> None:
        """Its power goes, and comes back."""
        if device not in self._off:
            self._off[device] = None
            self._loop.spawn(self._loop.root, self._powerless(device, off_s), f"{device} off")

    async def _powerless(self, device: str, off_s: float) -> None:
        await self._servers[device].lose_power(off_s)
        self._off.pop(device, None)

    # -- the daemon's lives -------------------------------------------------------------------------------------------

    def start_daemon(self) -> None:
        """Start it, unless it lives."""
        if self._process is not None and self._process.alive:
            return
        self.life += 1
        life = self.life
        self._process = self.virtual.process("daemon", DESK)
        if self.on_life is not None:
            self.on_life(self._process)
        self.mark("starting")
        self._loop.spawn(self._process, self._live(life), "main")

    on_life: Callable[[Any], None] | None = None

    async def _live(self, life: int) -> None:
        world = self.virtual.world(self._process)
        settings = Settings(Path("/data"), http=None, mqtt=False, scenes=EMPTY)
        try:
            daemon = await Daemon.start(self._site(), KINDS, settings, world)
        except Exception as error:  # noqa: BLE001 - whatever it is, the daemon did not start
            self.mark("no start", note=repr(error))
            return
        if self.life == life:
            self._daemon = daemon
            self._overhear_answers(daemon)
            self.mark("ready")

    def _overhear_answers(self, daemon: Daemon) -> None:
        """Note which of its answers a deck had said when, and which question each was taken for (rule 9)."""

        def overhear(device: str, box: Any) -> None:
            answered, watched = box._answered, self._boxes[device]
            heard = [0, 0, 0]  # the link's number, the box's number of the client, answers on this link so far

            def note(sent: Any, reply: Any) -> None:
                if heard[0] != box.epoch:
                    heard[:] = [box.epoch, watched.opened[-1][1], 0]
                said = watched.said.get(heard[1], [])
                if heard[2] < len(said):
                    asked_at, said_at = sent.asked_at - self._base, said[heard[2]]
                    if said_at < asked_at:
                        self.run.paired.append((self.now(), device, asked_at, said_at))
                heard[2] += 1
                answered(sent, reply)

            box._answered = note

        for device, box in daemon.house.boxes.items():
            if device != "hall":
                overhear(device, box)

    def _site(self) -> Site:
        devices = {
            name: DeviceEntry(
                name,
                "block-router" if name == "hall" else "text-deck",
                self.host(name),
                9990 if name == "hall" else 9993,
                name,
                {},
                {} if name == "hall" else {"identity.model": MODEL},
                1,
            )
            for name in self.devices
        }
        decks = tuple(name for name in self.devices if name != "hall")
        people = {"ines": Role.OPERATOR, "ben": Role.OPERATOR, "guest": Role.VIEWER}
        pictures = Pictures({"stage-left": ("hall", 1), "hands": ("hall", 2)}, {"program": ("hall", 3)})
        return Site(
            "Tidewater Hall", "tidewater-hall", Path("site.yaml"), devices, {"iso": decks, "recorder": decks}, pictures,
            Sound({}, {}), {}, (), (), people, MqttEntry(), EMPTY,
        )  # fmt: skip

    def answering(self) -> Daemon | None:
        """The daemon that answers now: alive, ready, not paused."""
        alive = self._process is not None and self._process.alive and not self._process.paused
        return self._daemon if alive else None

    def ask_daemon(self, make: Callable[[Daemon], Coroutine[Any, Any, None]]) -> bool:
        """Let it serve something. False: nobody listens. A paused one listens, and answers when it goes on."""
        if self._daemon is None or not self._process.alive:
            return False
        self._loop.spawn(self._process, make(self._daemon), None)
        return True

    def kill(self, *, restart_s: float, why: str = "kill") -> None:
        """SIGKILL, and a supervisor that starts it again."""
        if self._process is not None and self._process.alive:
            self._note_death(why)
            self.virtual.kill(self._process)
        self.later(restart_s, self.start_daemon)

    def power_cut(self, *, restart_s: float) -> None:
        """The daemon's machine loses power; its disk may lose what was not synced."""
        self._note_death("power_cut")
        self.virtual.power_cut(DESK)
        self.later(restart_s, self.start_daemon)

    def _note_death(self, why: str) -> None:
        if self._daemon is not None:
            house = self._daemon.house
            if house.commands.judge._open:
                self.reached("crash with a command open")
            if house.takes.open is not None:
                self.reached(f"{why} with a take running")
        self._daemon = None
        self.mark("dead", note=why)

    def stop_daemon(self, *, restart_s: float) -> None:
        """SIGTERM: its own shutdown, then its end; a supervisor starts it again."""
        daemon, process = self._daemon, self._process
        if daemon is not None and process.alive:
            if daemon.house.takes.open is not None:
                self.reached("stop with a take running")
            self._daemon = None
            self.mark("dead", note="stop")
            stopping = self._loop.spawn(process, daemon.stop(), "stop")
            stopping.add_done_callback(
                lambda _: self.later(0.0, lambda: self._ended(process, stopping)), context=self._loop.root.context()
            )
            self.later(max(restart_s, 6.0) - 0.001, lambda: self._ended(process, stopping))
        self.later(max(restart_s, 6.0), self.start_daemon)

    def _ended(self, process: Any, stopping: Any) -> None:
        if process.alive:
            if not stopping.done():  # a supervisor kills it then
                if not any(end > self.now() - 6.5 for _, end in self.run.spans("paused", "resumed")):
                    self.run.loose.append("its shutdown took longer than 6 s")
            elif stopping.exception() is not None:
                self.run.loose.append(f"its shutdown failed: {stopping.exception()!r}")
            self.virtual.kill(process)

    def pause(self) -> None:
        if self._process.alive:
            self.mark("paused")
            self._loop.pause(self._process)

    def resume(self) -> None:
        if self._process.alive:
            self._loop.resume(self._process)
        self.mark("resumed")

    def tasks(self) -> int:
        return sum(not task.done() for task in self._process.tasks.values())

    def rate(self, device: str, requests: int, over_s: float) -> int:
        """Requests a second since the last look."""
        before = self._requests.get(device, 0)
        self._requests[device] = requests
        return int(max(0, requests - before) / over_s)

    def takes_seen(self) -> list[int]:
        """Numbers of the takes that people have seen running, oldest first."""
        for seen in self.run.seen[-120:]:
            if seen.running:
                self._seen_takes[seen.take] = None
        return list(self._seen_takes)

    # -- disk and clock -----------------------------------------------------------------------------------------------

    @property
    def disk(self) -> Any:
        return self.virtual.disk(DESK)

    def disk_fails(self, what: str, *, for_ever: bool) -> None:
        """The next call of this kind fails, or all until the disk is well."""
        disk = self.disk
        disk.broken.add(what)
        if not for_ever:

            def once() -> None:
                if disk.calls and disk.calls[-1] == what:
                    disk.broken.discard(what)

            disk.on_call = once

    def disk_full(self, *, room: int) -> None:
        self.disk.room = room
        if self._daemon is not None and self._daemon.house.takes.open is not None:
            self.reached("disk full with a take running")

    def disk_slow(self, seconds: float) -> None:
        self.disk.slow_s = seconds

    def disk_well(self) -> None:
        disk = self.disk
        disk.broken.clear()
        disk.on_call, disk.room, disk.slow_s = None, None, 0.0

    def flip_bit(self, x: float) -> None:
        """One bit of the newest journal file."""
        names = [name for name in sorted(self.disk.files) if name.startswith("journal-")]
        if names and (data := self.disk.files[names[-1]].seen):
            at = int(x * (len(data) - 1))
            data[at] ^= 1 << int(x * 997) % 8
            if at < len(self.disk.files[names[-1]].safe):
                self.disk.files[names[-1]].safe[at] = data[at]

    def step_wall(self, seconds: float) -> None:
        self.virtual.clock(DESK).step_s += seconds

    # -- the end ------------------------------------------------------------------------------------------------------

    def _overhear(self, at: float, process: str, what: str) -> None:
        if what.startswith("tx 10.") and process.startswith("daemon#"):
            _, where, shown = what.split(" ", 2)
            device = self._hosts.get(where.partition(":")[0])
            if device is not None and shown[:2] in ("b'", 'b"'):
                self.run.sent.append((at - self._base, device, shown[2:22].encode()))

    def collect(self) -> Histories:
        """Read the boxes and the disk, at the very end."""
        run = self.run
        run.ended = self.now()
        for device, box in self._boxes.items():
            told = box.truth(self.now())
            if device != "hall":
                run.truths[device] = Truth.of(device, told)
            else:
                run.routes = _routes(told)
            run.wire[device] = box.asked
        disk = self.disk
        run.journal = Trail.of_files({name: bytes(file.seen) for name, file in disk.files.items()})
        run.loose += [f"{text} ({process} at {at - self._base:.3f})" for at, process, text in self._loop.slips]
        run.loose += self._loop.unfetched()
        run.loose += [f"{log.event} {log.fields}" for log in self.virtual.logs if log.event == "driver_failed"]
        return run


def _unread(*_: object) -> None:
    """Nobody reads a simulator's wire log here: the trace has it all."""


def _routes(told: dict[str, Any]) -> list[tuple[float, int]]:
    """What output 3 showed from when on, by the router's own record."""
    routes = [
        (float(entry["at_s"]), int(str(entry["what"]).rpartition(" ")[2]))
        for entry in told["history"]
        if str(entry["what"]).startswith("output 3 shows")
    ]
    return [(0.0, 3), *routes]
