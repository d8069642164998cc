"""What is Tidewater Hall made of, for tests of what a shoot needs? Sites, and boxes without a wire."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from stagectl.control.access import Lock, Role
from stagectl.control.chronicle import Chronicle
from stagectl.control.commands import Commands
from stagectl.control.devices import Devices
from stagectl.driverkit.asked import Prepared
from stagectl.driverkit.kinds import find_kinds
from stagectl.driverkit.real import RealChance
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import MIXER, SEND_LEVEL, STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import (
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    CODEC,
    INPUT_FORMAT,
    INPUT_PRESENT,
    RECORDER,
    REMOTE,
    SLOT_STATE,
    TIMECODE,
    TRANSPORT,
    Cue,
    Cut,
    Play,
    Roll,
    SlotState,
    Stop,
    Transport,
)
from stagectl.model.capabilities.router import OUTPUT_SOURCE, ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.timecode import RATES, Label, frame_number, label_at
from stagectl.model.verbs import Set, Verb
from stagectl.model.world import World
from stagectl.shoot.house import House
from stagectl.shoot.paths import PATHS, Paths
from stagectl.shoot.stations import STATIONS, Stations
from stagectl.shoot.takes import TAKES, Takes
from stagectl.site import DeviceEntry, MqttEntry, Pictures, Site, Sound, StationEntry, TieLine, load_site

DEMO = Path(__file__).parents[2] / "scenes"

SOURCES = {
    "stage-left": ("hall", 1),
    "stage-right": ("hall", 2),
    "hands": ("hall", 3),
    "wide": ("hall", 4),
    "iso-1": ("hall", 11),
    "titles": ("gallery", 8),
}
DESTINATIONS = {
    "iso-1": ("hall", 1),
    "iso-2": ("hall", 2),
    "program": ("gallery", 1),
    "mix-rec": ("gallery", 2),
    "director": ("gallery", 3),
}
TIES = (TieLine("hall", 15, "gallery", 1), TieLine("hall", 16, "gallery", 2), TieLine("gallery", 8, "hall", 16))
KINDS = {"hall": ROUTER, "gallery": ROUTER, "mixer": MIXER, "iso-1": RECORDER, "iso-2": RECORDER}


def site(
    sources: Mapping[str, tuple[str, int]] | None = None,
    destinations: Mapping[str, tuple[str, int]] | None = None,
    ties: Sequence[TieLine] = TIES,
) -> Site:
    """The hall, or one with other cables."""
    return Site(
        name="Tidewater Hall",
        slug="tidewater-hall",
        path=Path("tidewater-hall.yaml"),
        devices={name: DeviceEntry(name, "pretend", "127.0.0.1", 1, f"Box {name}", {}, {}, 1) for name in KINDS},
        groups={"iso": ("iso-1", "iso-2"), "recorder": ("iso-1", "iso-2")},
        pictures=Pictures(sources or SOURCES, destinations or DESTINATIONS, tuple(ties), ("program",)),
        sound=Sound(
            {"piano": ("mixer", 1), "presenter": ("mixer", 5)},
            {"director": ("mixer", 4), "bench": ("mixer", 3)},
            {"program": ("piano", "presenter")},
        ),
        stations={
            "director": StationEntry("director", "Director", "director", "director", 1),
            "bench": StationEntry("bench", "Piano bench", "", "bench", 1),
        },
        limits=(),
        protect=(),
        people={"ines": Role.OPERATOR, "tomas": Role.ENGINEER, "ada": Role.VIEWER},
        mqtt=MqttEntry(),
        scenes=Path(),
    )


class PretendBox:
    """A box without a wire: does what it is asked in the next turn of the loop, and can be told to misbehave.

    Attributes:
        sent: verbs whose bytes would have left; `left_at`: when.
        deaf: it says ok and does nothing.
        refuses: what it answers to everything, if not empty.
    """

    def __init__(self, name: str, capability: Capability, board: Board) -> None:
        self.name = name
        self.capability = capability
        self.up = self.adopted = True
        self.trouble = ""
        self.epoch = 1
        self.sent: list[Verb] = []
        self.left_at: list[float] = []
        self.deaf = False
        self.refuses = ""
        self.writer = board.writer(name)
        self.values: dict[str, Any] = {}
        self._line: list[Prepared] = []
        self._cued, self._plays_since = "", 0.0
        self._clock = board.clock

    def has(self, spec: PointSpec[Any], value: Any) -> None:
        """Somebody, or the box itself, brings a point to a value; it tells at once."""
        self.writer.declare(spec)
        self.values[spec.name] = value
        self._tell(spec.name)

    def lists(self, clip: str, start: str, length: str) -> None:
        """Its own clip list ends so: one answer tells all of it."""
        told = {CLIP_NAME.name: clip, CLIP_START.name: start, CLIP_LENGTH.name: length}
        self.writer.declare(CLIP_NAME, CLIP_START, CLIP_LENGTH)
        self.values.update(told)
        now = self._clock.now()
        for name in told:
            self._tell(name, now)

    def _tell(self, name: str, asked_at: float | None = None) -> None:
        now = self._clock.now()
        self.writer.asked_at, self.writer.read_at = (now if asked_at is None else asked_at), now
        if name == TIMECODE.name and self.values.get(TRANSPORT.name) is Transport.RECORDING:
            self.values[name] = _label(now)
        elif name == TIMECODE.name and self._cued and self.values.get(TRANSPORT.name) is Transport.PLAYING:
            self.values[name] = _on(self._cued, now - self._plays_since)
        self.writer.put(name, self.values[name])

    def translate(self, verbs: Sequence[Verb]) -> tuple[Verb, ...]:
        return tuple(self.prepare(verbs).verbs)

    def prepare(self, verbs: Sequence[Verb]) -> Prepared:
        if not self.up:
            raise RefusedError("stagectl can't reach it", code="no-link")
        for verb in verbs:
            if isinstance(verb, Cue):
                _cued(verb)
        return Prepared(verbs, tuple(verbs), [b"x"] * len(verbs), self.epoch)

    def flight(self, prepared: Prepared) -> tuple[Callable[[bytes], bool], bytes]:
        return (lambda data: True), b"x"

    def fly(self, prepared: Prepared) -> float:
        return self._clock.now()

    def flown(self, prepared: Prepared, at: float) -> None:
        self._carry_out(prepared)

    def enqueue(self, prepared: Prepared) -> None:
        self._line.append(prepared)
        self._clock.later(self._clock.now(), lambda: self._leave(prepared))

    def withdraw(self, prepared: Prepared, number: int) -> None:
        if len(prepared.verbs) == 1 and prepared in self._line:
            self._line.remove(prepared)

    def _leave(self, prepared: Prepared) -> None:
        if prepared not in self._line:
            return
        self._line.remove(prepared)
        prepared.on_sent(None, self._clock.now())
        self._carry_out(prepared)

    def _carry_out(self, prepared: Prepared) -> None:
        for number, verb in enumerate(prepared.verbs):
            self.sent.append(verb)
            self.left_at.append(self._clock.now())
            if self.refuses:
                prepared.on_no(number if len(prepared.verbs) > 1 else None, self.refuses)
            elif not self.deaf:
                self._clock.later(self._clock.now(), lambda verb=verb: self._do(verb))

    def _do(self, verb: Verb) -> None:
        match verb:
            case Set():
                self.has(verb.point, verb.value)
            case Roll():
                self.has(TRANSPORT, Transport.RECORDING)
            case Cut() | Stop():
                self.has(TRANSPORT, Transport.STOPPED)
            case Play():
                self._cued, self._plays_since = str(self.values[TIMECODE.name]), self._clock.now()
                self.has(TRANSPORT, Transport.PLAYING)
            case Cue(label=label):
                if self.values.get(TRANSPORT.name) is Transport.PLAYING:
                    self.has(TRANSPORT, Transport.STOPPED)
                self.has(TIMECODE, label)

    def look_now(self, names: Any, done: Callable[[], None] | None = None) -> object:
        asked_at = self._clock.now()

        def answer() -> None:
            for name in names or self.values:
                if name in self.values:
                    self._tell(name, asked_at)
            if done is not None:
                done()

        self._clock.later(asked_at, answer)
        return self

    def glance(self, names: tuple[str, ...]) -> None:
        self.look_now(names)


def _cued(verb: Cue) -> None:
    """Raises RefusedError: no recorder goes there."""
    try:
        Label.parse(verb.label)
    except ValueError as error:
        raise RefusedError(str(error), code="value") from error


def _label(now: float) -> str:
    frames = int(now * 25)
    return f"10:{frames // 1500 % 60:02d}:{frames // 25 % 60:02d}:{frames % 25:02d}"


def _on(label: str, seconds: float) -> str:
    """A label so much later, at 25."""
    return str(label_at(frame_number(Label.parse(label), RATES["25"]) + int(seconds * 25), RATES["25"]))


class PaperJournal:
    """Fulfils `Writer`: what was written, in memory."""

    def __init__(self) -> None:
        self.records: list[tuple[str, str, dict[str, Any]]] = []

    def write(self, kind: str, who: str, **data: Any) -> int:
        self.records.append((kind, who, data))
        return len(self.records)

    async def synced(self, n: int) -> bool:
        return True


class CountedIds:
    def __init__(self) -> None:
        self._n = 0

    def new(self) -> str:
        self._n += 1
        return f"id{self._n}"


def shipped(clock: Any, change: Callable[[Site], Site] = lambda own: own) -> House:
    """The house of the shipped site file, or of what `change` makes of it; every box pretended."""
    found, _ = find_kinds()
    own = load_site(DEMO / "tidewater-hall.yaml", found, {"takes": TAKES, "paths": PATHS, "stations": STATIONS})
    own = change(own)
    return house(clock, own, {name: found[entry.box].capability for name, entry in own.devices.items()})


def house(clock: Any, own: Site | None = None, kinds: Mapping[str, Capability] = KINDS) -> House:
    """A whole house with pretended boxes; everything known, nothing rolls, each ISO shows its camera."""
    own = own or site()
    board = Board(clock)
    chronicle = Chronicle(PaperJournal(), clock)
    boxes: dict[str, Any] = {name: PretendBox(name, kind, board) for name, kind in kinds.items()}
    for name, kind in kinds.items():
        settle(boxes[name], kind)
    commands = Commands(board, clock, chronicle, boxes)
    recorders = {name: own.devices[name].called for name, kind in kinds.items() if kind is RECORDER}
    houses: list[House] = []
    takes = Takes(
        board,
        clock,
        chronicle,
        recorders,
        lambda device, names: boxes[device].look_now(names),
        lambda word: houses[0].resolve(word),  # noqa: PLW0108 - the house comes after its parts
    )
    commands.guards[Cut] = takes.guard
    for guarded in own.protect:
        watch = board.watch(guarded.while_, lambda truth: None) if guarded.while_ is not None else None
        commands.locks.append(Lock(frozenset(guarded.points), guarded.because, watch=watch, may_lift=guarded.may_lift))
    world = World(clock, None, None, RealChance(), CountedIds(), None)  # type: ignore[arg-type] - no box has a wire
    houses.append(
        House(
            world,
            own,
            board,
            commands,
            devices=Devices(boxes, clock, lambda device, what, why: None),
            chronicle=chronicle,
            takes=takes,
            parts={"takes": takes, "paths": Paths(board, own), "stations": Stations(board, own)},
            epoch=1,
        )
    )
    return houses[0]


def settle(box: PretendBox, kind: Capability) -> None:
    """Let a box say all it knows."""
    if kind is ROUTER:
        for output in range(1, 17 if box.name == "hall" else 9):
            box.has(OUTPUT_SOURCE.at(output), min(output, 4))
    elif kind is MIXER:
        for strip in (1, 3, 5, 15):
            box.has(STRIP_MUTED.at(strip), False)
            box.has(STRIP_LEVEL.at(strip), -10.0)
            for bus in (3, 4):
                box.has(SEND_LEVEL.at(strip, bus), "off")
    else:
        box.has(REMOTE, True)
        box.has(INPUT_PRESENT, True)
        box.has(INPUT_FORMAT, "1080p25")
        box.has(CODEC, "vc3-185")
        box.has(SLOT_STATE.at(1), SlotState.READY)
        box.has(SLOT_STATE.at(2), SlotState.EMPTY)
        box.has(TIMECODE, "10:00:00:00")
        box.has(TRANSPORT, Transport.STOPPED)
