"""What can be known and asked of a recorder."""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final

from stagectl.model.capabilities.base import Capability, Doubt, Health
from stagectl.model.conditions import Condition, every, some
from stagectl.model.points import Flags, PointSpec, Unit
from stagectl.model.verbs import Verb, VerbSpec


class Transport(StrEnum):
    """What the recorder's mechanism does."""

    STOPPED = "stopped"
    PREVIEW = "preview"
    PLAYING = "playing"
    SHUTTLING = "shuttling"
    CUEING = "cueing"
    RECORDING = "recording"


class SlotState(StrEnum):
    """What a medium's slot holds."""

    EMPTY = "empty"
    MOUNTING = "mounting"
    READY = "ready"
    ERROR = "error"


TRANSPORT: Final[PointSpec[Transport]] = PointSpec("transport", Transport, flags=Flags.ACT)
SPEED: Final[PointSpec[float]] = PointSpec("speed", float, Unit.RATIO)
TIMECODE: Final[PointSpec[str]] = PointSpec("timecode", str, moves_s=0.12, flags=Flags.FAST)

_AT_REST: Final = TRANSPORT.is_not(Transport.RECORDING)

REMOTE: Final[PointSpec[bool]] = PointSpec("remote", bool, settable=True)
INPUT_SOURCE: Final[PointSpec[str]] = PointSpec("input.source", str, settable=True, needs=_AT_REST, deadline_s=2)
INPUT_FORMAT: Final[PointSpec[str]] = PointSpec("input.format", str)
INPUT_PRESENT: Final[PointSpec[bool]] = PointSpec("input.present", bool)
TIMECODE_SOURCE: Final[PointSpec[str]] = PointSpec("timecode.source", str, settable=True, needs=_AT_REST, deadline_s=2)
CODEC: Final[PointSpec[str]] = PointSpec("record.codec", str, settable=True, needs=_AT_REST, deadline_s=2)
CONTAINER: Final[PointSpec[str]] = PointSpec("record.container", str, settable=True, needs=_AT_REST, deadline_s=2)
CHANNELS: Final[PointSpec[int]] = PointSpec(
    "record.channels", int, low=0, high=64, settable=True, needs=_AT_REST, deadline_s=2
)
REFERENCE: Final[PointSpec[bool]] = PointSpec("reference.locked", bool)
SLOT_ACTIVE: Final[PointSpec[int]] = PointSpec(
    "slot.active", int, low=1, settable=True, needs=_AT_REST, deadline_s=3, flags=Flags.ACT
)
SLOT_STATE: Final[PointSpec[SlotState]] = PointSpec("slot.{slot}.state", SlotState)
SLOT_NAME: Final[PointSpec[str]] = PointSpec("slot.{slot}.name", str)
SLOT_LEFT: Final[PointSpec[int]] = PointSpec("slot.{slot}.left", int, Unit.S)
SLOT_FREE: Final[PointSpec[int]] = PointSpec("slot.{slot}.free", int, Unit.BYTES)
# Name, first label and length are believed as one answer told them: a driver puts those of one clip together.
CLIP_NAME: Final[PointSpec[str]] = PointSpec("clip.name", str)  # the clip being or last written
CLIP_START: Final[PointSpec[str]] = PointSpec("clip.start", str)  # its first label, by the box's own list
CLIP_LENGTH: Final[PointSpec[str]] = PointSpec("clip.length", str)  # its duration so far, written as a label
CLIP_COUNT: Final[PointSpec[int]] = PointSpec("clip.count", int)
DROPPED: Final[PointSpec[int]] = PointSpec("dropped", int, Unit.FRAMES)


@dataclass(frozen=True, slots=True)
class Roll(Verb):
    """Start recording. `name` is asked of the box and never part of the effect: boxes append suffixes."""

    spec: ClassVar[VerbSpec] = VerbSpec("roll", 2, "rolled", flags=Flags.FIRST)
    name: str = ""

    def effect(self) -> Condition:
        return _ROLLS

    def needs(self) -> Condition:
        return _MAY_ROLL

    def moot(self) -> Condition:
        return _RECORDING

    def touches(self) -> tuple[str, ...]:
        return ("transport",)


_RECORDING: Final = TRANSPORT.is_(Transport.RECORDING)
_ROLLS: Final = every(_RECORDING, TIMECODE.advances())
_MAY_ROLL: Final = every(
    REMOTE.is_(True),
    TRANSPORT.is_not(Transport.PLAYING),
    some(SLOT_STATE.at(1).is_(SlotState.READY), SLOT_STATE.at(2).is_(SlotState.READY)),
)


@dataclass(frozen=True, slots=True)
class Cut(Verb):
    """End the recording that belongs to `take`; the command path refuses it for any other take."""

    spec: ClassVar[VerbSpec] = VerbSpec("cut", 2, "cut", flags=Flags.FIRST | Flags.ENDS_TAKE)
    take: int

    def effect(self) -> Condition:
        return _AT_REST

    def touches(self) -> tuple[str, ...]:
        return ("transport",)


@dataclass(frozen=True, slots=True)
class Spill(Verb):
    """Go on recording on the next medium."""

    spec: ClassVar[VerbSpec] = VerbSpec("spill", 3, "spilled", flags=Flags.FIRST)

    def effect(self) -> Condition:
        return every(SLOT_ACTIVE.changed(), _RECORDING)

    def needs(self) -> Condition:
        return _RECORDING


@dataclass(frozen=True, slots=True)
class Play(Verb):
    """Play from where the recorder stands. `speed` is a ratio; below 0 backwards."""

    spec: ClassVar[VerbSpec] = VerbSpec("play", 2, "played")
    speed: float = 1.0

    def effect(self) -> Condition:
        return every(TRANSPORT.is_(Transport.PLAYING), TIMECODE.advances())

    def needs(self) -> Condition:
        return _AT_REST

    def moot(self) -> Condition:
        return _NEVER  # a second play may change the speed; it harms nothing

    def touches(self) -> tuple[str, ...]:
        return ("transport",)


@dataclass(frozen=True, slots=True)
class Shuttle(Verb):
    """Move the picture fast, forwards or backwards. `speed` is a ratio."""

    spec: ClassVar[VerbSpec] = VerbSpec("shuttle", 2, "shuttled")
    speed: float

    def effect(self) -> Condition:
        return TRANSPORT.one_of(Transport.SHUTTLING, Transport.PLAYING)

    def needs(self) -> Condition:
        return _AT_REST

    def moot(self) -> Condition:
        return _NEVER


@dataclass(frozen=True, slots=True)
class Stop(Verb):
    """End playback or shuttling. Refused while it records: that is a cut, which names its take."""

    spec: ClassVar[VerbSpec] = VerbSpec("stop", 2, "stopped", overtakes=("play", "shuttle", "cue"))

    def effect(self) -> Condition:
        return TRANSPORT.one_of(Transport.STOPPED, Transport.PREVIEW)

    def needs(self) -> Condition:
        return _AT_REST


@dataclass(frozen=True, slots=True)
class Cue(Verb):
    """Stand at a label, or at the start of a clip counted from one. Exactly one of the two is given."""

    spec: ClassVar[VerbSpec] = VerbSpec("cue", 10, "cued")
    label: str = ""
    clip: int = 0

    def effect(self) -> Condition:
        return TIMECODE.is_(self.label) if self.label else every(CLIP_AT.is_(self.clip), _STANDS)

    def needs(self) -> Condition:
        return _AT_REST

    def touches(self) -> tuple[str, ...]:
        return ("transport", "timecode", "clip.at")


CLIP_AT: Final[PointSpec[int]] = PointSpec("clip.at", int)  # the clip the recorder stands in, counted from one
_STANDS: Final = TRANSPORT.one_of(Transport.STOPPED, Transport.PREVIEW)
_NEVER: Final = some(TRANSPORT.one_of(), TRANSPORT.one_of())


@dataclass(frozen=True, slots=True)
class Identify(Verb):
    """Flash the front panel, so that a person finds the box. The box can't report it: `sent`."""

    spec: ClassVar[VerbSpec] = VerbSpec("identify", 2, "identified")
    on: bool = True

    def effect(self) -> Condition:
        return IDENTIFYING.is_(self.on)


IDENTIFYING: Final[PointSpec[bool]] = PointSpec("identifying", bool)


@dataclass(frozen=True, slots=True)
class Format(Verb):
    """Erase a medium: an engineer's act in two steps. `token` is what the box gave in the first; empty asks for it."""

    spec: ClassVar[VerbSpec] = VerbSpec("format", 120, "formatted", flags=Flags.ERASES, answers=True)
    slot: int
    token: str = ""

    def effect(self) -> Condition:
        return FORMAT_TOKEN.known() if not self.token else CLIP_COUNT.is_(0)

    def needs(self) -> Condition:
        return _AT_REST

    def moot(self) -> Condition:
        return _NEVER

    def touches(self) -> tuple[str, ...]:
        return ("*",)


FORMAT_TOKEN: Final[PointSpec[str]] = PointSpec("format.token", str)

RECORDER: Final = Capability(
    "recorder",
    1,
    (
        *(REMOTE, TRANSPORT, SPEED, TIMECODE, INPUT_SOURCE, INPUT_FORMAT, INPUT_PRESENT, TIMECODE_SOURCE),
        *(CODEC, CONTAINER, CHANNELS, REFERENCE, SLOT_ACTIVE, SLOT_STATE, SLOT_NAME, SLOT_LEFT, SLOT_FREE),
        *(CLIP_NAME, CLIP_START, CLIP_LENGTH, CLIP_COUNT, CLIP_AT, DROPPED, IDENTIFYING, FORMAT_TOKEN),
    ),
    (Roll, Cut, Spill, Play, Shuttle, Stop, Cue, Identify, Format),
    (
        Doubt(
            every(_RECORDING, TIMECODE.stands().lasting(1)),
            Health.DOUBTFUL,
            "says it rolls, but its timecode stands still",
            "Look at its front.",
            "timecode-stands",
        ),
        Doubt(
            some(SLOT_STATE.at(1).is_(SlotState.ERROR), SLOT_STATE.at(2).is_(SlotState.ERROR)),
            Health.NEEDS_CARE,
            "a medium is in error",
            "Look at its slots.",
            "medium-in-error",
        ),
        Doubt(REMOTE.is_(False), Health.LOCAL, "remote is off", "Switch remote on at its front.", "remote-off"),
    ),
)
