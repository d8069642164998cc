"""What is the virtual world made of? Hosts, processes, disks, clocks and boxes around one loop, from one seed."""

import asyncio
import gc
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Self

import structlog

from stagectl.model.world import World
from stagectl_simulators.model import History, Model, Sends
from stagectl_simulators.server import BoxServer
from tests.studio.chance import Chance, Ids
from tests.studio.disk import Mount, StudioDisk
from tests.studio.loop import PROC, START_S, Process, Task, VirtualLoop
from tests.studio.net import Network, Server
from tests.studio.offload import Offload

WALL: Final = datetime(2027, 3, 12, 14, 0, tzinfo=UTC)  # what every wall clock reads at the start


class Clock:
    """Fulfils `Clock` for the processes of one host. `step_s` moves its wall clock and nothing else."""

    def __init__(self, loop: VirtualLoop) -> None:
        self._loop = loop
        self._last = 0.0
        self.step_s = 0.0

    def now(self) -> float:
        self._last = max(self._loop.time(), self._last + 1e-9)
        return self._last

    def wall(self) -> datetime:
        return WALL + timedelta(seconds=self._loop.time() - START_S + self.step_s)

    def later(self, at: float, do: Callable[[], None]) -> asyncio.TimerHandle:
        return self._loop.call_at(at, do)


@dataclass(frozen=True, slots=True)
class Heard:
    """Bytes that reached a box, by connection."""

    at: float
    client: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Change:
    """Something that truly happened to a box; `cause` is "wire:<client>", "panel" or "self"."""

    at: float
    what: str
    cause: str
    details: dict[str, Any]


class VirtualBox(BoxServer):
    """A shipped simulator's own server, in a process of its own, with the whole truth kept.

    All of its faults are turned with `turn`, hands at its front are `panel`; both may be called from anywhere.

    Attributes:
        heard_segments: every segment that reached it.
        changes: every entry of its model's history, without a bound.
        states: (virtual time, state) whenever the state differs from before.
        on_change: told each `Change`.
    """

    def __init__(self, name: str, model: Model, process: Process, loop: VirtualLoop) -> None:
        super().__init__(name, model, START_S)
        self.process = process
        self.heard_segments: list[Heard] = []
        self.changes: list[Change] = []
        self.states: list[tuple[float, dict[str, Any]]] = []
        self.on_change: list[Callable[[Change], None]] = []
        self._virtual = loop
        self._history = _history(model)
        self._note = self._history.note
        self._history.note = self._happened  # type: ignore[method-assign]
        self._look()

    def _happened(self, now_s: float, what: str, cause: str, **details: Any) -> None:
        self._note(now_s, what, cause, **details)
        change = Change(START_S + now_s, what, cause, details)
        self.changes.append(change)
        self._virtual.trace.note(self.process.name, f"truth {what} {cause} {details}")
        for tell in self.on_change:
            tell(change)

    def _look(self) -> None:
        state = _state(self.model)
        if not self.states or self.states[-1][1] != state:
            self.states.append((self._virtual.time(), state))

    def state_at(self, at: float) -> dict[str, Any]:
        """What was so at a virtual time."""
        found = self.states[0][1]
        for since, state in self.states:
            if since > at:
                break
            found = state
        return found

    def note(self, client: Any, way: str, data: bytes = b"") -> None:
        """The trace has every byte already; a wire log that people can read takes half of a seed's time."""

    def heard(self, client: Any, data: bytes) -> None:
        self.heard_segments.append(Heard(self._virtual.time(), client.number, data))
        super().heard(client, data)

    def _settle(self, sends: Sends) -> None:
        self._look()
        super()._settle(sends)

    def turn(self, fault: str, value: bool | float) -> None:
        self._virtual.trace.note(self.process.name, f"fault {fault} {value}")
        self.process.context().run(super().turn, fault, value)
        self._look()

    def panel(self, act: str, args: dict[str, object] | None = None) -> None:
        self._virtual.trace.note(self.process.name, f"panel {act} {args or {}}")
        self.process.context().run(super().panel, act, args or {})

    async def lose_power(self, off_s: float) -> None:
        """Off without a goodbye, and back: clients only learn it from what is then answered by a reset."""
        net: Network = self._virtual.net
        net.power_off(self.process.host)
        if self._due is not None:
            self._due.cancel()
            self._due = None
        self._server = None
        for client in list(self._clients.values()):
            self._forget(client, "lost")
        self.model.reboot(self.now_s)
        self._look()
        await asyncio.sleep(off_s)
        net.power_on(self.process.host)
        await self._virtual.spawn(self.process, self.open(*self.address))


def _history(model: Any) -> History:
    """The record that the model itself keeps."""
    found = model.deck.history if hasattr(model, "deck") else model._history
    assert isinstance(found, History)
    return found


def _state(model: Any) -> dict[str, Any]:
    """What a client could be shown of it, as plain values; no counters that always run."""
    if model.kind == "text-deck":
        deck = model.deck
        return {
            "transport": deck.status,
            "remote": deck.remote_enabled and not model.faults.remote_off,
            "slot.active": deck.active.number,
            "slots": [slot.status for slot in deck.slots],
            "clip": deck.rolling.clip.name if deck.rolling is not None else "",
        }
    return {name: value for name, value in model.truth(0.0).items() if name not in ("clients", "history")}


@dataclass
class Log:
    """One line of the product's own log."""

    at: float
    process: str
    event: str
    fields: dict[str, Any]


@dataclass(eq=False)
class Virtual:
    """One virtual world; `close` it. Make it with `build`.

    Attributes:
        logs: what the product logged.
        boxes: by name.
    """

    seed: int | str
    loop: VirtualLoop
    net: Network
    chance: Chance
    logs: list[Log] = field(default_factory=list)
    boxes: dict[str, VirtualBox] = field(default_factory=dict)
    _clocks: dict[str, Clock] = field(default_factory=dict)
    _disks: dict[str, StudioDisk] = field(default_factory=dict)
    _lives: dict[str, int] = field(default_factory=dict)

    @property
    def now(self) -> float:
        return self.loop.time()

    @property
    def trace(self) -> Any:
        return self.loop.trace

    def clock(self, host: str = "desk") -> Clock:
        """The clock of a host; `step_s` is its knob."""
        if host not in self._clocks:
            self._clocks[host] = Clock(self.loop)
        return self._clocks[host]

    def disk(self, host: str = "desk") -> StudioDisk:
        """The disk of a host: it outlives processes."""
        if host not in self._disks:
            self._disks[host] = StudioDisk(self.chance.stream(f"disk:{host}"))
        return self._disks[host]

    def process(self, name: str, host: str = "desk") -> Process:
        """A new process "name#n", n counting its lives. On its host, if that was off, the power comes back."""
        self.net.power_on(host)
        life = self._lives[name] = self._lives.get(name, 0) + 1
        return self.loop.process(f"{name}#{life}", host)

    def world(self, process: Process) -> World:
        """All doors of the product, for one process."""
        chance = Chance(self.seed, f"{process.name}:")
        clock = self.clock(process.host)
        return World(
            clock=clock,
            network=self.net.of(process),
            storage=Mount(self.disk(process.host), process),
            chance=chance,
            ids=Ids(clock.wall, chance.stream("ids")),
            offload=Offload(process, chance.stream("offload")),
        )

    def spawn(self, process: Process, coro: Coroutine[Any, Any, Any], name: str | None = None) -> Task:
        """Run a coroutine inside a process; the task may be awaited from outside."""
        return self.loop.spawn(process, coro, name)

    def inside(self, process: Process, do: Callable[..., Any], *args: Any) -> Any:
        """Call a function as if the process did it: what it starts belongs to the process."""
        return process.context().run(do, *args)

    def kill(self, process: Process) -> None:
        """SIGKILL: nothing written is lost, nothing runs on."""
        if process.alive:
            self.loop.kill(process)
            self.disk(process.host).lose_processes()

    def power_cut(self, host: str = "desk") -> None:
        """The machine stops in the middle; what was not synced has its fate. A new `process` on it powers it on."""
        self.net.power_off(host)
        for process in [one for one in self.loop.processes if one.host == host and one is not self.loop.root]:
            if process.alive:
                self.loop.kill(process)
        self.disk(host).lose_power()

    async def serve_box(self, name: str, model: Model, host: str, port: int) -> VirtualBox:
        """Put a simulator's model on the net, on a host of its own."""
        process = self.process(f"box:{name}", host)
        box = self.boxes[name] = VirtualBox(name, model, process, self.loop)
        await self.spawn(process, box.open(host, port))
        return box

    def listening(self, host: str, port: int) -> Server | None:
        """Who listens there."""
        return self.net.listeners.get((host, port))

    def run(self, story: Coroutine[Any, Any, Any], *, limit_s: float = 3600.0) -> Any:
        """Run a story of the studio itself (operators, faults, checks) to its end."""
        collector = gc.collect, gc.freeze
        gc.collect, gc.freeze = _leave_it, _leave_it  # a daemon that settles in would freeze the whole seed
        try:
            with _logging_to(self._log):
                return self.loop.run(story, limit_s=limit_s)
        finally:
            gc.collect, gc.freeze = collector

    def _log(self, _: Any, level: str, event: dict[str, Any]) -> Any:
        process = PROC.get() or self.loop.root
        text = str(event.pop("event", ""))
        self.logs.append(Log(self.now, process.name, text, dict(event)))
        plain = {key: value for key, value in event.items() if isinstance(value, str | int | float | bool)}
        self.trace.note(process.name, f"log {level} {text} {plain}")
        raise structlog.DropEvent

    def close(self) -> None:
        """End it; nothing is left for the next seed."""
        with _logging_to(_say_nothing):  # what is buried may complain
            self.loop.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@contextmanager
def _logging_to(processor: Callable[[Any, str, dict[str, Any]], Any]) -> Iterator[None]:
    """The product's log goes to `processor` and nowhere else."""
    before = structlog.get_config()
    structlog.configure(processors=[processor], cache_logger_on_first_use=False)
    try:
        yield
    finally:
        structlog.configure(**before)


def _say_nothing(*_: Any) -> Any:
    raise structlog.DropEvent


_FROZEN: list[bool] = []  # once in a real process


def _leave_it(*_: int) -> int:
    """The collector is the studio's: it runs between seeds."""
    return 0


def build(seed: int | str, *, keep_trace: bool = False) -> Virtual:
    """Make an empty world. `keep_trace` keeps its lines for reading; the hash is taken anyway."""
    if not _FROZEN:
        _FROZEN.append(True)
        gc.collect()
        gc.freeze()  # what was imported lives for ever: the collector need not look at it after every seed
    loop = VirtualLoop(seed, keep_trace=keep_trace)
    chance = Chance(seed)
    return Virtual(seed, loop, Network(loop, chance.stream), chance)
