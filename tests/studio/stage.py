"""Where does a run play? The virtual world with its boxes, the lives of the daemon in it, and the record of it all."""

import base64
import hashlib
import json
import random
from collections.abc import Callable, Coroutine, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from stagectl.control import people
from stagectl.control.access import Role
from stagectl.control.people import Account
from stagectl.daemon import Daemon, Settings
from stagectl.site import DeviceEntry, MqttEntry, Pictures, Site, Sound
from stagectl_drivers.block_router import BOX as ROUTER
from stagectl_drivers.text_deck import BOX as DECK
from stagectl_simulators import block_router, text_deck
from stagectl_simulators.house_clock import HouseClock, rate_named
from tests.studio.boxes import WatchedBox
from tests.studio.disk import Mount
from tests.studio.histories import FOREVER, Answer, Asked, Histories, SceneRun, Trail, Truth
from tests.studio.loop import START_S
from tests.studio.plan import Op, Plan
from tests.studio.world import WALL, Virtual, VirtualBox

DESK: Final = "desk"  # the host of the daemon
ROOM: Final = "room"  # the host of the people's own machines
MODEL: Final = "Two-slot deck"
PEOPLE: Final = {"ines": Role.OPERATOR, "ben": Role.OPERATOR, "guest": Role.VIEWER}
KINDS: Final = {"text-deck": DECK, "block-router": ROUTER}
SCENES: Final = Path(__file__).parent / "scenes"


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
        self.reach: dict[str, int] = {}
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
        self.off_s: dict[str, float] = {}  # how far the clocks of people's own machines are off
        self._mended: dict[str, list[Callable[[], Any]]] = {}
        self.tokens: dict[str, str] = {}  # who -> what they came in with last
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
        self.reach[what] = self.reach.get(what, 0) + 1

    def chance(self, name: str) -> random.Random:
        return random.Random(f"{self.plan.seed}:{name}")

    def spawn_people(self, coro: Coroutine[Any, Any, Any], name: str) -> Any:
        return self._loop.spawn(self._people, coro, name)

    def wall_of(self, who: str) -> datetime:
        """Ines sits at the daemon's own machine; the others' keep the right time, unless theirs is off."""
        if who == "ines":
            return self.virtual.clock(DESK).wall()
        return WALL + timedelta(seconds=self.now() + self.off_s.get(who, 0.0))

    # -- boxes --------------------------------------------------------------------------------------------------------

    def host(self, device: str) -> str:
        return "10.0.5.21" if device == "hall" else f"10.0.5.{10 + int(device.removeprefix('iso-'))}"

    def box(self, device: str) -> WatchedBox:
        return self._boxes[device]

    async def open_boxes(self) -> None:
        start, _, rate = self.plan.starts.partition(" ")
        house = HouseClock(rate_named(rate or "25"), start)
        if rate or not start.startswith("10:"):
            self.reached("D15")
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

    def jump_label(self, device: str, frames: int) -> None:
        """The timecode of a deck jumps."""
        deck = self._boxes[device].model.deck  # type: ignore[attr-defined]
        deck.setup = replace(deck.setup, offset_frames=frames)

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
        settings = Settings(Path("/data"), http=None, mqtt=False, scenes=SCENES)
        try:
            daemon = await Daemon.start(self._site(), KINDS, settings, world)
        except Exception as error:  # noqa: BLE001 - whatever it is, the daemon did not start
            self.mark("no start", note=repr(error))
            return
        if self.life == life:
            self._daemon = daemon
            self._overhear_answers(daemon)
            daemon.scenes.on_change.append(lambda one: self._scene_told(one, life))
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

            # a box has slots and no dict: what is overheard goes into a class of its own, of the same layout
            own = {"__slots__": (), "_answered": lambda _, sent, reply: note(sent, reply)}
            box.__class__ = type("OverheardBox", (type(box),), own)

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
        known = dict(PEOPLE)
        pictures = Pictures({"stage-left": ("hall", 1), "hands": ("hall", 2)}, {"program": ("hall", 3)})
        return Site(
            "Tidewater Hall", "tidewater-hall", Path("site.yaml"), devices, {"iso": decks, "recorder": decks}, pictures,
            Sound({}, {}), {}, (), (), known, MqttEntry(), SCENES,
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

    async def make_accounts(self) -> None:
        """Give everybody a password, as the terminal does before the first start. Their cost is low: it is no door."""
        kept = {}
        for who, role in PEOPLE.items():
            self.run.secrets[self.password(who)] = f"{who}'s password"
            salt, made = base64.b64encode(who.encode().ljust(16)), cheaply(self.password(who), who.encode().ljust(16))
            kept[who] = Account(who, role, f"scrypt$16$8$1${salt.decode()}${made}")
        await people.write(Mount(self.disk, self._loop.root), kept)

    def password(self, who: str) -> str:
        return f"canary of {who} {self.plan.seed}"

    def _scene_told(self, run: Any, life: int) -> None:
        """A run of a scene changed: keep how it stands, and what it asked for as acts of the person who began it."""
        one = self.run.scenes.setdefault(run.id, SceneRun(run.id, run.scene.name, run.person.name, life, self.now()))
        one.steps = [(step.number, str(step.stand), step.why) for step in run.results.values()]
        one.stopped_by = run.stopped_by
        if run.ended is not None and not one.ended:
            one.ended, one.ended_at = str(run.ended), self.now()
        for step in run.results.values():
            for group in step.groups:
                self._scene_asked(one, group, life)

    def _scene_asked(self, run: SceneRun, group: Any, life: int) -> None:
        targets = tuple(command.ask.target for command in group.commands)
        at = group.born - self._base
        asked = self.run.asked.get(group.id)
        if asked is None:
            asked = Asked(f"{run.scene} at {at:.3f}", run.who, group.verb, targets, at, id=group.id, take=group.take)
            asked.arg, asked.scene = int(group.args.get("value", 0) or 0), run.id
            asked.tries.append(
                Answer(at, life, "accepted", accepted_at=at, number=group.number, served=at, door="scene")
            )
            self.run.asked[group.id] = asked
        asked.devices = asked.devices or targets
        if group.ended and not asked.tries[0].boxes:
            asked.tries[0].ends = self.now()
            asked.tries[0].boxes = boxes_of(group)

    def _note_death(self, why: str) -> None:
        if self._process is not None and self._process.alive:
            for place in self._suspended():
                self.reached(f"crash at {place}")
        if self._daemon is not None:
            for run in self._daemon.scenes.running:
                self._scene_told(run, self.life)
                self.run.scenes[run.id].died = True
                self.reached("scene cut short by the daemon's end")
            house = self._daemon.house
            if house.commands.judge._open:
                self.reached("crash with a command open")
            if house.takes.open is not None:
                self.reached(f"{why} with a take running")
        self._daemon = None
        self.mark("dead", note=why)

    def _suspended(self) -> Iterator[str]:
        """At which awaits of ours its tasks stand: "house.py:241"."""
        for task in self._process.tasks.values():
            coro = task.get_coro() if not task.done() else None
            while coro is not None:
                frame = getattr(coro, "cr_frame", None)
                if frame is not None and "/stagectl/" in frame.f_code.co_filename:
                    yield f"{Path(frame.f_code.co_filename).name}:{frame.f_lineno}"
                coro = getattr(coro, "cr_await", None)

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

    def doze(self, until: float) -> None:
        """Run for 10 ms, stand still for 90, until a time."""
        process = self._process
        if self.now() >= until or not process.alive:
            return
        if not process.paused:
            self._loop.pause(process)
            self.later(0.09, lambda: self._loop.resume(process) if process.alive and self._dozes(process) else None)
        self.later(0.1, lambda: self.doze(until))

    def _dozes(self, process: Any) -> bool:
        """It stands still because it dozes, not because it was stopped for longer."""
        return not any(end == FOREVER for _, end in self.run.spans("paused", "resumed")) and process.paused

    def no_handles(self, on: bool) -> None:
        self.net.no_handles = DESK if on else ""

    def flood(self, number: int, x: float) -> None:
        """One of many asks that come at once, by somebody who may."""
        op = Op(self.now(), "ben", "set", "hall", f"k{5000 + number + int(x * 1000) * 200}", arg=1 + number % 8)
        self.spawn_people(self.on_op(op), op.id)

    on_op: Callable[[Op], Coroutine[Any, Any, None]]

    def let_slip(self, device: str, *, for_ever: bool) -> None:
        """Its driver raises: the next time it hears anything, or each time."""
        if self._daemon is None:
            return
        box: Any = self._daemon.house.boxes[device]
        make, left = box.kind.make, [10**9 if for_ever else 1]
        self._mended.setdefault(device, []).append(lambda: (left.clear(), left.append(0)))

        def slipping(options: Any) -> Any:
            return _Slipping(make(options), left)

        box.kind = replace(box.kind, make=slipping)
        box._driver = _Slipping(box._driver, left)

    def mend(self, device: str) -> None:
        """Its driver is a good one again; who put it in quarantine takes it out."""
        for mend in self._mended.pop(device, []):
            mend()
        if (daemon := self._daemon) is not None and self._process.alive:
            self.virtual.inside(self._process, lambda: daemon.devices.retry(device))

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

    def _read_texts(self) -> None:
        """All that is on the disk, in the logs, and that a daemon tells at the end."""
        texts = self.run.texts
        texts.extend((name, bytes(file.seen).decode("latin-1")) for name, file in self.disk.files.items())
        texts.extend((f"log {log.event}", str(log.fields)) for log in self.virtual.logs)
        texts.extend((f"an answer to {key}", try_.why) for key, one in self.run.asked.items() for try_ in one.tries)
        texts.extend(("an exception", text) for text in self.run.loose)
        if (daemon := self.answering()) is not None:
            house = daemon.house
            texts.extend(("what is wrong", text) for text in house.trouble.values())
            texts.extend(("a take", json.dumps(take.plain())) for take in house.takes.takes.values())
            texts.extend(("a group", repr(group)) for group in house.commands.groups.values())
            texts.append(("who is here", repr((house.gate.accounts, house.gate.tokens.all()))))

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
        self._read_texts()
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
        if not any(fault.kind == "driver_slips" for fault in self.plan.faults):
            run.loose += [f"{log.event} {log.fields}" for log in self.virtual.logs if log.event == "driver_failed"]
        return run


class _Slipping:
    """A driver that raises when it hears, as often as `left` says."""

    def __init__(self, driver: Any, left: list[int]) -> None:
        self._driver = driver
        self._left = left

    def __getattr__(self, name: str) -> Any:
        return getattr(self._driver, name)

    def hear(self, *args: Any) -> Any:
        if self._left[0]:
            self._left[0] -= 1
            raise RuntimeError("a planted slip")
        return self._driver.hear(*args)


def boxes_of(group: Any) -> dict[str, tuple[str, bool, str, str]]:
    """Device -> (ended, refused, code, why) of what is judged."""
    return {
        command.ask.target: (str(verdict.ended), verdict.refused, verdict.code, verdict.why)
        for command in group.commands
        if (verdict := command.verdict) is not None
    }


def cheaply(password: str, salt: bytes) -> str:
    """The hash that is kept of a password, at the least cost the product reads."""
    return base64.b64encode(hashlib.scrypt(password.encode(), salt=salt, n=16, r=8, p=1, dklen=32)).decode()


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
