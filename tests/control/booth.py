"""What does a command path need around it in a test? Real boxes on a network in memory, far ends that can misbehave.

Its wire, own construction: `get NAME` is answered `is NAME JSON`; `set NAME JSON`, `do VERB JSON` and `salvo JSON` are
answered `ok` or `no WORDS`; `now NAME JSON` comes unasked.
"""

import asyncio
import json
import random
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from stagectl.control.access import Person, Role
from stagectl.control.commands import Commands
from stagectl.control.groups import Command, Group
from stagectl.driverkit.box import Box
from stagectl.driverkit.driver import BoxKind, Look, Reply
from stagectl.model.board import Board, BoardWriter
from stagectl.model.capabilities.base import MODEL, Capability
from stagectl.model.capabilities.mixer import MIXER, STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import (
    CODEC,
    IDENTIFYING,
    RECORDER,
    REMOTE,
    SLOT_ACTIVE,
    SLOT_STATE,
    TIMECODE,
    TRANSPORT,
    Cut,
    Roll,
)
from stagectl.model.capabilities.router import OUTPUT_SOURCE, ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Set, Verb, Verdict
from tests.driverkit.memory import MemoryNetwork, MemoryTransport, Peer, VirtualClock, until

INES = Person("ines", Role.OPERATOR)
TOMAS = Person("tomas", Role.ENGINEER)
ADA = Person("ada", Role.VIEWER)

POINTS: dict[str, tuple[PointSpec[Any], ...]] = {
    "recorder": (*(TRANSPORT, TIMECODE, REMOTE, SLOT_STATE.at(1), SLOT_STATE.at(2), SLOT_ACTIVE, CODEC, IDENTIFYING),),
    "router": tuple(OUTPUT_SOURCE.at(output) for output in range(1, 9)),
    "mixer": tuple(point.at(strip) for strip in range(1, 13) for point in (STRIP_LEVEL, STRIP_MUTED)),
}
AT_REST: dict[str, dict[str, Any]] = {
    "recorder": {
        "transport": "stopped",
        "timecode": "",
        "remote": True,
        "slot.1.state": "ready",
        "slot.2.state": "empty",
        "slot.active": 1,
        "record.codec": "vc3-185",
    },
    "router": {f"output.{output}.source": 1 for output in range(1, 9)},
    "mixer": {
        name: value
        for strip in range(1, 13)
        for name, value in ((f"strip.{strip}.level", -10.0), (f"strip.{strip}.muted", False))
    },
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line, either way."""

    text: str


class LineCodec:
    def __init__(self) -> None:
        self._tail = b""

    def feed(self, data: bytes) -> list[Line]:
        *lines, self._tail = (self._tail + data).split(b"\n")
        return [Line(line.decode()) for line in lines]

    def gap(self) -> list[Line]:
        return []

    def encode(self, request: Line) -> bytes:
        if "\n" in request.text:
            raise ValueError("A line end in a field would smuggle in a second command.")
        return f"{request.text}\n".encode()


class PlainDriver:
    """Any kind of box, spoken to in lines. Says nothing of points of another kind."""

    capability: ClassVar[Capability] = RECORDER
    looks: ClassVar[tuple[Look, ...]] = ()
    window: ClassVar[int] = 4
    reply_s: ClassVar[float] = 3.0
    beat_s: ClassVar[float] = 0
    gap_s: ClassVar[float] = 0
    packs: ClassVar[bool] = False
    cannot: ClassVar[str] = ""  # a verb it refuses

    @property
    def _specs(self) -> tuple[PointSpec[Any], ...]:
        return POINTS[self.capability.kind]

    def look(self, names: Collection[str] | None) -> Sequence[Line]:
        if names is None:
            return [Line("get identity.model"), *(Line(f"get {spec.name}") for spec in self._specs if _told(spec))]
        known = {spec.name: spec for spec in self._specs}
        return [Line(f"get {name}") for name in names if name in known and _told(known[name])]

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Line]:
        lines = []
        for verb in verbs:
            if verb.spec.name == self.cannot:
                raise RefusedError(f"This box can't {self.cannot}.", code="cannot")
            if isinstance(verb, Set):
                lines.append(f"set {verb.point.name} {json.dumps(verb.value)}")
            else:
                lines.append(f"do {verb.spec.name} {json.dumps(verb.arguments())}")
        if self.packs and len(lines) > 1:
            return [Line("salvo " + json.dumps([line.removeprefix("set ") for line in lines]))]
        return [Line(line) for line in lines]

    def hear(self, event: Line, board: BoardWriter, awaiting: Line | None) -> Reply[Line] | None:
        word, _, rest = event.text.partition(" ")
        if word in ("is", "now"):
            name, _, told = rest.partition(" ")
            self._put(name, told, board)
        if word == "no":
            return Reply(rest)
        return Reply() if word in ("is", "ok") else None

    def _put(self, name: str, told: str, board: BoardWriter) -> None:
        if not board.has(self._specs[0].name):
            board.declare(*(spec for spec in self._specs if spec is not IDENTIFYING))
            if IDENTIFYING in self._specs:
                board.declare(IDENTIFYING, blind=True)
        spec = next((spec for spec in self._specs if spec.name == name), MODEL)
        board.put(name, json.loads(told), lambda value: _read(spec, value))

    def beat(self, now_s: float) -> Sequence[Line]:
        return []

    def reads(self, request: Line) -> bool:
        return request.text.startswith("get ")


def _read(spec: PointSpec[Any], value: Any) -> Any:
    try:
        return spec.check(value)
    except RefusedError as refused:
        raise ValueError(value) from refused


def _told(spec: PointSpec[Any]) -> bool:
    return spec is not IDENTIFYING


def plain_kind(capability: Capability = RECORDER, **change: Any) -> BoxKind:
    """A kind of box; `change` sets class variables of its driver: window=1."""
    polled = ("transport", "timecode", "remote") if capability is RECORDER else (POINTS[capability.kind][0].name,)
    looks = (Look(polled, 1.0),)
    made: Any = type("Changed", (PlainDriver,), {"capability": capability, "looks": looks} | change)
    return BoxKind("plain", capability, 4000, lambda options: made(), lambda options: LineCodec(), {})


class FarEnd:
    """What really happens at a box. `truth` is its own record: (seconds, point, value) of every change.

    Attributes:
        deaf: says ok and does nothing.
        refuses: says no to every act, with these words.
        refuses_but_does: does it all the same.
        silent: hears, never answers.
        slow_s: an answer to an act takes this long; so does what it does.
        roll_s: from the record command to recording.
        frozen: its timecode stands.
        mute: never tells of its own accord.
        hold: answers are kept back until `release`.
        limp: points it says ok to and leaves alone.
    """

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.values: dict[str, Any] = {"identity.model": "Plain 1"} | AT_REST[kind]
        self.truth: list[tuple[float, str, Any]] = []
        self.acts: list[tuple[float, str]] = []
        self.deaf = self.refuses_but_does = self.silent = self.frozen = self.mute = self.hold = False
        self.refuses = ""
        self.slow_s = 0.0
        self.roll_s = 0.0
        self.limp: set[str] = set()
        self.peer: Peer | None = None
        self._held: list[bytes] = []

    def answers(self, line: str) -> bytes | None:
        word, _, rest = line.partition(" ")
        if word == "get":
            self._label()
            answer = f"is {rest} {json.dumps(self.values[rest])}\n".encode()
            if self.hold:
                self._held.append(answer)
                return None
            return None if self.silent else answer
        self.acts.append((now(), line))
        if not self.deaf and (not self.refuses or self.refuses_but_does):
            self._after(self.slow_s, lambda: self._carry_out(word, rest))
        if self.silent:
            return None
        answer = f"no {self.refuses}\n".encode() if self.refuses else b"ok\n"
        if self.hold:
            self._held.append(answer)
            return None
        if not self.slow_s:
            return answer
        self._after(self.slow_s, lambda: self._say(answer))
        return None

    def release(self) -> None:
        """Give the answers that were kept back, as they were then."""
        self.hold = False
        held, self._held = self._held, []
        for answer in held:
            self._say(answer)

    def has(self, point: PointSpec[Any] | str, value: Any, *, tell: bool = True) -> None:
        """It comes to this value, by a hand at its front or by itself."""
        name = point if isinstance(point, str) else point.name
        if self.values.get(name) != value:
            self.values[name] = value
            self.truth.append((now(), name, value))
            if tell and not self.mute and not self.silent:
                self._say(f"now {name} {json.dumps(value)}\n".encode())

    def showed(self, name: str, value: Any, begin: float, end: float) -> bool:
        """Did it truly stand at `value` at some time from `begin` to `end`?"""
        if any(at <= end and at >= begin and point == name and one == value for at, point, one in self.truth):
            return True
        before = [one for at, point, one in self.truth if point == name and at < begin]
        return bool((before[-1] if before else AT_REST[self.kind].get(name)) == value)

    def _say(self, data: bytes) -> None:
        if self.peer is not None and not self.peer.ended and self.peer.transport is not None:
            self.peer.say(data)

    @staticmethod
    def _after(seconds: float, do: Callable[[], None]) -> None:
        asyncio.get_running_loop().call_later(seconds, do) if seconds else do()

    def _label(self) -> None:
        if self.kind == "recorder" and not self.frozen and self.values["transport"] in ("recording", "playing"):
            frames = int(now() * 25)
            self.values["timecode"] = f"10:{frames // 1500 % 60:02d}:{frames // 25 % 60:02d}:{frames % 25:02d}"

    def _carry_out(self, word: str, rest: str) -> None:
        if word == "salvo":
            for one in json.loads(rest):
                self._carry_out("set", one)
            return
        name, _, told = rest.partition(" ")
        value = json.loads(told)
        if word == "set":
            if name not in self.limp:
                self.has(name, value)
        elif name == "roll":
            self._after(self.roll_s, lambda: self.has(TRANSPORT, "recording"))
        elif name in ("cut", "stop"):
            self.has(TRANSPORT, "stopped")
        elif name == "play":
            self.has(TRANSPORT, "playing")


def now() -> float:
    return asyncio.get_running_loop().time()


class PaperLog:
    """A journal in memory. `gate`: a sync waits until it is set; `safe`: what a sync says."""

    def __init__(self, order: list[str]) -> None:
        self.records: list[tuple[str, str, dict[str, Any]]] = []
        self.gate: asyncio.Event | None = None
        self.safe = True
        self._order = order

    def write(self, kind: str, who: str, **data: Any) -> int:
        self.records.append((kind, who, data))
        self._order.append(f"journal {kind}")
        return len(self.records)

    async def synced(self, n: int) -> bool:
        if self.gate is not None:
            async with asyncio.timeout(60):
                await self.gate.wait()
        self._order.append("synced")
        return self.safe

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [data for one, _, data in self.records if one == kind]


class _Wire(MemoryNetwork):
    """Notes when bytes leave, not when they arrive, and tells the far end who it speaks with."""

    def __init__(self, name: str, far: FarEnd, order: list[str]) -> None:
        super().__init__(far.answers)
        self._name, self._far, self._order = name, far, order

    async def connect(
        self, factory: Callable[[], asyncio.BufferedProtocol], host: str, port: int, *, user_timeout_s: float
    ) -> tuple[asyncio.Transport, asyncio.BufferedProtocol]:
        transport, protocol = await super().connect(factory, host, port, user_timeout_s=user_timeout_s)
        assert isinstance(transport, MemoryTransport)
        write = transport.write

        def noted(data: bytes | bytearray | memoryview) -> None:
            self._order.extend(
                f"{self._name} {line}" for line in bytes(data).decode().splitlines() if not line.startswith("get ")
            )
            write(data)

        transport.write = noted  # type: ignore[method-assign]
        self._far.peer = self.peers[-1]
        return transport, protocol


class Booth:
    """A command path over real boxes; `order` lists journal lines, syncs and acts as they left, in their order."""

    def __init__(self, **kinds: BoxKind) -> None:
        self.clock = VirtualClock(asyncio.get_running_loop())
        self.board = Board(self.clock)
        self.order: list[str] = []
        self.log = PaperLog(self.order)
        self.far: dict[str, FarEnd] = {}
        self.wires: dict[str, _Wire] = {}
        self.boxes: dict[str, Box] = {}
        self.tasks: dict[str, asyncio.Task[None]] = {}
        for word, kind in kinds.items():
            self._stand(word.replace("_", "-"), kind)
        self.commands = Commands(self.board, self.clock, self.log, self.boxes)
        self.judge = self.commands.judge
        self._ids = 0

    def _stand(self, name: str, kind: BoxKind) -> None:
        far = self.far[name] = FarEnd(kind.capability.kind)
        wire = self.wires[name] = _Wire(name, far, self.order)
        box = self.boxes[name] = Box(
            name,
            kind,
            {},
            ("10.0.0.9", 4000),
            self.board.writer(name),
            clock=self.clock,
            network=wire,
            chance=random.Random(7),
        )
        self.tasks[name] = asyncio.create_task(box.run())

    async def up(self) -> "Booth":
        """Every box is adopted, and what was noted so far is forgotten."""
        await until(lambda: all(box.adopted for box in self.boxes.values()))
        await asyncio.sleep(0.01)
        self.order.clear()
        self.baseline = self.watching()
        return self

    async def drop(self, name: str) -> None:
        """The box ends its link; it comes back when it may."""
        self.wires[name].peers[-1].cut()
        await until(lambda: not self.boxes[name].adopted)

    # -- asking

    def ask(self, target: str, verb: Verb, who: str = "ines", take: int | None = None) -> Ask:
        return Ask("", who, "test", target, verb, take)

    def group(self, say: str = "", verb: str = "") -> Group:
        self._ids += 1
        return Group(f"id{self._ids}", "ines", "test", verb, say, f"content {self._ids}", self.clock.now())

    def press(self, *asks: Ask, person: Person = INES) -> Group:
        """Arm and go, as verbs with right of way do."""
        group = self.group()
        self.commands.go(group, self.commands.arm(person, asks))
        return group

    async def settled(self, *asks: Ask, person: Person = INES) -> Group:
        """Arm and go as other verbs do, up to "accepted"."""
        group = self.group()
        await self.commands.go_durable(group, self.commands.arm(person, asks))
        return group

    async def verdict(self, group: Group, within_s: float = 60) -> Verdict:
        """The verdict of a group's only command."""
        assert await group.wait(within_s)
        (command,) = group.commands
        assert command.verdict is not None
        return command.verdict

    # -- looking

    def acts(self, name: str) -> list[str]:
        """What reached the far end but questions."""
        return [line for _, line in self.far[name].acts]

    def watching(self) -> Mapping[tuple[str, str], int]:
        """How many follow each point but the lazy ones: they are not of commands."""
        found = {}
        for device, slots in self.board._devices.items():
            for name, slot in slots.items():
                if count := sum(one is not self.board.later for one in (*slot.watches, *slot.turns)):
                    found[device, name] = count
        return found

    def at_rest(self) -> None:
        """Nothing is kept of commands that ended, beyond what is said of whose act a change was."""
        judge = self.judge
        assert judge._open == {}
        assert judge._inflight == {}
        assert judge._later == {}
        assert judge._followed == {}
        assert judge.overdue() == 0
        assert self.watching() == self.baseline

    async def rest(self) -> None:
        """Wait until nothing is followed any more, and see that nothing is left and every group ended once."""
        await until(lambda: not self.judge._open and not self.judge._later, 120)
        self.at_rest()
        asked = sorted(data["id"] for data in self.log.of("command"))
        assert sorted(data["id"] for data in self.log.of("verdict")) == asked
        await asyncio.sleep(5)
        assert self.judge._timer is None


def roll(booth: Booth, target: str = "iso-1", name: str = "T001", who: str = "ines") -> Ask:
    return booth.ask(target, Roll(name), who)


def cut(booth: Booth, target: str = "iso-1", take: int = 1, who: str = "ines") -> Ask:
    return booth.ask(target, Cut(take), who)


def put(booth: Booth, target: str, point: PointSpec[Any], value: Any, who: str = "ines") -> Ask:
    return booth.ask(target, Set(point, value), who)


def deck() -> BoxKind:
    return plain_kind(RECORDER)


def router(**change: Any) -> BoxKind:
    return plain_kind(ROUTER, **change)


def mixer(**change: Any) -> BoxKind:
    return plain_kind(MIXER, **change)


def only(group: Group) -> Command:
    (command,) = group.commands
    return command
