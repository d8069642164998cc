"""What stands in one installation: devices, groups, wiring, stations, guards, people?

Plain data, checked against itself and frozen; `stagectl.site.load` makes it from a file.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

from stagectl.control.access import Role
from stagectl.driverkit.driver import BoxKind
from stagectl.model.capabilities.base import Capability
from stagectl.model.conditions import Condition, Leaf
from stagectl.site.copyentries import CopyEntry, StoreEntry


@dataclass(frozen=True, slots=True)
class DeviceEntry:
    """One box.

    Attributes:
        id: in sentences, URLs and topics.
        box: its kind, a key of the kinds that were handed in.
        port: TCP; the kind's if the file names none.
        called: what people call it; the id if the file says nothing.
        options: the keys its kind takes, as written.
        expect: what it must say of itself: "identity.model", "identity.serial".
        line: in the site file, from one.
        store: where a recorder's clips are read; None: nowhere.
    """

    id: str
    box: str
    host: str
    port: int
    called: str
    options: Mapping[str, str]
    expect: Mapping[str, str]
    line: int
    store: StoreEntry | None = None


@dataclass(frozen=True, slots=True)
class TieLine:
    """A cable from an output of one router to an input of another; both count from one.

    Attributes:
        delay: frames it costs; a processor's.
        takes: picture formats that pass; empty: all.
        gives: the format behind it; empty: as it came.
        kept_for: places that it is kept for; empty: all.
        called: what people call a processor; empty: a mere cable.
    """

    from_router: str
    output: int
    to_router: str
    input: int
    delay: int = 0
    takes: tuple[str, ...] = ()
    gives: str = ""
    kept_for: tuple[str, ...] = ()
    called: str = ""


VIDEO: Final = "video"  # the level that every router has unless the site says otherwise; it is not written at places


def place(name: str, level: str) -> str:
    """What a source or destination is called at a level: "program", or "program sound". No name has a space."""
    return name if level in ("", VIDEO) else f"{name} {level}"


@dataclass(frozen=True, slots=True)
class Level:
    """What is switched beside the pictures, such as sound: by routers of its own, under the same names.

    Attributes:
        routers: that switch it.
        sources: name -> (router of this level, input).
        destinations: name -> (router of this level, output).
    """

    routers: tuple[str, ...]
    sources: Mapping[str, tuple[str, int]]
    destinations: Mapping[str, tuple[str, int]]


@dataclass(frozen=True, slots=True)
class Pictures:
    """Which picture comes in and goes out where, and what goes along with it.

    Attributes:
        sources: name -> (router, input).
        destinations: name -> (router, output); a recorder's name means its input.
        tie_lines: between routers, of all levels, in the file's order.
        on_air: destinations that the audience sees.
        gives: source -> the format it gives, as far as the site says.
        takes: destination -> formats that serve it; one that is not listed takes all.
        levels: beside video, by name.
    """

    sources: Mapping[str, tuple[str, int]]
    destinations: Mapping[str, tuple[str, int]]
    tie_lines: tuple[TieLine, ...] = ()
    on_air: tuple[str, ...] = ()
    gives: Mapping[str, str] = field(default_factory=dict)
    takes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    levels: Mapping[str, Level] = field(default_factory=dict)

    def all_sources(self) -> list[str]:
        """Every name that comes in, at whatever level."""
        return list(dict.fromkeys((*self.sources, *(name for one in self.levels.values() for name in one.sources))))

    def all_destinations(self) -> dict[str, dict[str, tuple[str, int]]]:
        """Every name that something goes out to: its (router, output) by level."""
        found: dict[str, dict[str, tuple[str, int]]] = {}
        for level, ports in (
            (VIDEO, self.destinations),
            *((name, one.destinations) for name, one in self.levels.items()),
        ):
            for name, port in ports.items():
                found.setdefault(name, {})[level] = port
        return found


@dataclass(frozen=True, slots=True)
class Sound:
    """Which sound stands where.

    Attributes:
        sources: name -> (mixer, strip).
        buses: name -> (mixer, bus).
        mixes: name -> sources that are meant together: program, for one.
    """

    sources: Mapping[str, tuple[str, int]]
    buses: Mapping[str, tuple[str, int]]
    mixes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StationEntry:
    """A place that sees a picture destination and hears a sound bus; empty: it sees or hears nothing."""

    name: str
    called: str
    sees: str
    hears: str
    line: int


@dataclass(frozen=True, slots=True)
class PlaybackEntry:
    """What comes off a recorder when it plays: a picture source, a sound source; empty: it is nowhere to be had."""

    recorder: str
    picture: str
    sound: str
    line: int


@dataclass(frozen=True, slots=True)
class ProtectEntry:
    """Points that are guarded.

    Attributes:
        points: (device, point name).
        because: a clause for the refusal.
        while_: it guards while this is yes or not known; None: always.
        may_lift: the least role that may pass; None: nobody.
    """

    points: tuple[tuple[str, str], ...]
    because: str
    while_: Condition | None
    may_lift: Role | None
    line: int


@dataclass(frozen=True, slots=True)
class AlarmEntry:
    """What the site wants to be told of one device; `of` a group makes one for each member.

    Attributes:
        name: with the device it makes the alarm's id.
        grade: "now", "soon" or "later".
        says, remedy: a sentence each; "{called}" stands for the device.
    """

    device: str
    name: str
    when: Condition
    grade: str
    says: str
    remedy: str
    line: int

    @property
    def points(self) -> frozenset[str]:
        """Names of the device's points that it looks at; empty if it looks at others too."""
        leaves = list(self.when.leaves())
        own = all(leaf.device in (None, self.device) for leaf in leaves)
        return frozenset(leaf.spec.name for leaf in leaves) if own else frozenset()


@dataclass(frozen=True, slots=True)
class CameraEntry:
    """What is declared of a camera: `locked` by the house's reference, its head `moves`, its moves are `tracked`."""

    name: str
    locked: bool
    moves: bool
    tracked: bool
    line: int


@dataclass(frozen=True, slots=True)
class PlannedTake:
    """A take of the day, `times` as often, each of so many seconds."""

    name: str
    lasts_s: float
    times: int = 1


@dataclass(frozen=True, slots=True)
class CheckEntry:
    """A check of the site's own. `device` empty: of none alone; `must`: else it is told and keeps nobody waiting."""

    device: str
    name: str
    check: Condition
    remedy: str
    must: bool
    line: int


@dataclass(frozen=True, slots=True)
class LineupEntry:
    """What must be so before the first take; what is empty is not asked.

    Attributes:
        format: of the picture at every recorder.
        codec, channels: what every recorder records.
        timecode: rate and count of labels, a name of `stagectl.model.timecode.RATES`.
        timecode_source: as the recorders call it.
        reference: the recorder whose timecode is right; empty: the median of all.
        offset_frames: how far apart timecodes may be.
        lags: recorder -> fixed lag in frames, taken off.
        jam: the label at which the generator is set anew each day.
        spare: part of the plan that is to be left over.
        reserve_bytes: of each medium, not counted.
        rates: codec -> bytes a second that a recording takes in all, where the site knows better.
        kept_s: how long a waived check stays waived.
        leave_out: names of checks that are not asked here.
    """

    format: str = ""
    codec: str = ""
    channels: int | None = None
    timecode: str = ""
    timecode_source: str = ""
    reference: str = ""
    offset_frames: int = 1
    lags: Mapping[str, int] = field(default_factory=dict)
    jam: str = ""
    spare: float = 0.15
    reserve_bytes: int = 10**9
    rates: Mapping[str, float] = field(default_factory=dict)
    kept_s: float = 12 * 3600.0
    plan: tuple[PlannedTake, ...] = ()
    checks: tuple[CheckEntry, ...] = ()
    leave_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MqttEntry:
    """Where MQTT goes: nowhere, to a broker that runs at `host`:`port`, or to one that we start.

    Attributes:
        login: file of our name and password there; None: it asks for none.
        ca: file of the authority that vouches for it; None: no TLS.
    """

    broker: Literal["off", "external", "managed"] = "off"
    host: str = ""
    port: int = 0
    login: Path | None = None
    ca: Path | None = None

    @property
    def at(self) -> str:
        """Address as "host:port"; empty unless the broker is external."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}" if self.host else ""


@dataclass(frozen=True, slots=True)
class HttpEntry:
    """Where the web door opens.

    Attributes:
        host, port: its address; another than this machine's own only with a certificate.
        names: what it is called beside the address; none: what the certificate says.
        certificate, key: files in PEM; None: it speaks no TLS.
    """

    host: str
    port: int
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class Site:
    """One installation.

    Attributes:
        name: what people call it.
        slug: for topics and file names, 1 to 32 of a-z, 0-9 and hyphen.
        path: the file it was read from.
        groups: name -> ids of devices; groups within groups are resolved, no device twice, the file's order.
        limits: (device, claim "at most" or "at least" with its target open).
        playback: recorder -> what comes off it, the one people want to see first.
        people: name -> role; who is not listed is decided by the door.
        scenes: the folder that holds set-ups and scenes.
        alarms: the site's own, beside those of every house.
        http: where the web door opens; None: whoever starts the daemon says so.
        copy: where clips are copied to, and when.
        numbered: within what takes are counted on the slate.
    """

    name: str
    slug: str
    path: Path
    devices: Mapping[str, DeviceEntry]
    groups: Mapping[str, tuple[str, ...]]
    pictures: Pictures
    sound: Sound
    stations: Mapping[str, StationEntry]
    limits: tuple[tuple[str, Leaf], ...]
    protect: tuple[ProtectEntry, ...]
    people: Mapping[str, Role]
    mqtt: MqttEntry
    scenes: Path
    alarms: tuple[AlarmEntry, ...] = ()
    cameras: Mapping[str, CameraEntry] = field(default_factory=dict)
    playback: Mapping[str, PlaybackEntry] = field(default_factory=dict)
    lineup: LineupEntry = field(default_factory=LineupEntry)
    http: HttpEntry | None = None
    copy: CopyEntry = field(default_factory=CopyEntry)
    numbered: Literal["per slate", "per day"] = "per day"

    def vocabulary(self, kinds: Mapping[str, BoxKind], parts: Mapping[str, Capability]) -> "SiteVocabulary":
        """Whom sentences may speak of here: devices and house parts.

        Points of a part with an index "destination", "station", "recorder" or "camera" exist for the names of this site
        alone.
        """
        devices = {name: kinds[entry.box].capability for name, entry in self.devices.items()}
        recorders = [name for name, kind in devices.items() if kind.kind == "recorder"]
        names: dict[str, Collection[str]] = {"destination": self.pictures.destinations, "station": self.stations}
        names |= {"recorder": recorders, "camera": self.cameras}
        return SiteVocabulary(
            {**devices, **{name: _narrowed(part, names) for name, part in parts.items()}}, self.groups
        )


@dataclass(frozen=True, slots=True)
class SiteVocabulary:
    """The `stagectl.model.sentences.Vocabulary` of a site."""

    capabilities: Mapping[str, Capability]
    members: Mapping[str, tuple[str, ...]]

    def devices(self) -> Mapping[str, Capability]:
        return self.capabilities

    def groups(self) -> Mapping[str, tuple[str, ...]]:
        return self.members


def _narrowed(part: Capability, names: Mapping[str, Collection[str]]) -> Capability:
    """The part with its named indexes filled in, so that a name that is nowhere is an unknown point."""
    points = []
    for spec in part.points:
        kind = next((kind for kind in names if f"{{{kind}}}" in spec.name), None)
        if kind is None or spec.name.count("{") > 1:
            points.append(spec)
        else:
            points.extend(spec.at(name) for name in names[kind])
    return Capability(part.kind, part.version, tuple(points), part.verbs, part.doubts)
