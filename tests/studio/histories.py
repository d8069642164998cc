"""What happened, by three witnesses who do not ask each other: the boxes (G), the disk (J) and the clients (H)?

All times are virtual seconds since the start of the run. The reader of the disk is written apart from the product's, so
that a slip in the one does not hide in the other.
"""

import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Any, Final

from tests.studio.plan import Plan

FOREVER: Final = float("inf")
_CHAIN: Final = len(',"chain":"' + "0" * 32 + '"}')


# --- G: ground truth, from the boxes --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Event:
    """One entry of a box's own history: when, what, by whom ("wire:3", "panel", "self"), and its details."""

    at: float
    what: str
    cause: str
    details: Mapping[str, Any]

    @property
    def wire(self) -> bool:
        return self.cause.startswith("wire:")


@dataclass(slots=True)
class Clip:
    """One recording as it really was."""

    device: str
    name: str
    start: str
    begun: float
    ended: float = FOREVER
    by: str = ""  # cause of its begin
    cut_by: str = ""  # cause of its end


@dataclass(slots=True)
class Truth:
    """What really happened to one box."""

    device: str
    events: list[Event]
    clips: list[Clip] = field(default_factory=list)
    final: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, device: str, told: Mapping[str, Any]) -> "Truth":
        """From a model's `truth`."""
        events = []
        for entry in told["history"]:
            rest = {key: value for key, value in entry.items() if key not in ("n", "at_s", "what", "cause")}
            events.append(Event(float(entry["at_s"]), str(entry["what"]), str(entry["cause"]), rest))
        truth = cls(device, events, final=told)
        truth._fold()
        return truth

    def _fold(self) -> None:
        for event in self.events:
            match event.what:
                case "rolling":
                    details = event.details
                    self.clips.append(
                        Clip(self.device, str(details["clip"]), str(details["start"]), event.at, by=event.cause)
                    )
                case "stopped" if "frames" in event.details and self.clips:
                    self.clips[-1].ended, self.clips[-1].cut_by = event.at, event.cause
                case "spilled" if self.clips:
                    self.clips[-1].ended, self.clips[-1].cut_by = event.at, "spill"
                    self.clips.append(Clip(self.device, str(event.details["clip"]), "", event.at, by="spill"))

    def recorded(self, since: float, until: float) -> bool:
        """Did it record at some time in [since, until]?"""
        return any(clip.begun <= until and clip.ended >= since for clip in self.clips)

    def rested(self, since: float, until: float) -> bool:
        """Did it not record at some time in [since, until]?"""
        at = since
        for clip in sorted(self.clips, key=lambda one: one.begun):
            if clip.begun > at:
                return True
            at = max(at, clip.ended)
        return at < until or not self.clips

    def was_recording(self, at: float) -> bool:
        return any(clip.begun <= at < clip.ended for clip in self.clips)


# --- J: what the disk says after the run ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """One record of the journal."""

    n: int
    mono: float
    kind: str
    who: str
    data: Mapping[str, Any]
    epoch: int


@dataclass(slots=True)
class Trail:
    """The journal as an outsider reads it. `breaks` names each place where it is not whole."""

    lines: list[Line] = field(default_factory=list)
    breaks: list[str] = field(default_factory=list)
    heads: list[tuple[int, int]] = field(default_factory=list)  # (segment, epoch)

    def of(self, *kinds: str) -> Iterator[Line]:
        return (line for line in self.lines if line.kind in kinds)

    def commands(self) -> dict[str, Line]:
        return {str(line.data["id"]): line for line in self.of("command")}

    def lanes(self) -> list[Mapping[str, Any]]:
        """Every lane as last written, with its take's number."""
        found: dict[tuple[int, str, int], Mapping[str, Any]] = {}
        for line in self.of("take"):
            if line.data.get("what") == "lanes":
                for lane in line.data["lanes"]:
                    found[line.data["take"], lane["device"], lane["i"]] = {**lane, "take": line.data["take"]}
        return list(found.values())

    @classmethod
    def of_files(cls, files: Mapping[str, bytes]) -> "Trail":
        """Read all segments: checksum of each line, chain over all of them."""
        trail = cls()
        known: dict[str, None] = {"0" * 32: None}
        for name in sorted(files):
            if name.startswith("journal-") and name.endswith(".log"):
                trail._segment(name, files[name], known)
        return trail

    def _segment(self, name: str, data: bytes, known: dict[str, None]) -> None:
        lines = data.split(b"\n")
        if lines.pop():
            self.breaks.append(f"{name}: torn end")
        chain, epoch = "", 0
        for number, raw in enumerate(lines):
            body = raw[9:]
            if len(raw) < 9 + _CHAIN or b"%08x " % zlib.crc32(body) != raw[:9]:
                self.breaks.append(f"{name}:{number + 1}: checksum")
                return
            fields = json.loads(body)
            if number == 0:
                chain, epoch = fields["chain"], fields["epoch"]
                self.heads.append((fields["segment"], epoch))
                if chain not in known:
                    self.breaks.append(f"{name}: follows nothing")
                continue
            bare = body[:-_CHAIN] + b"}"
            chain = blake2b(chain.encode() + bare, digest_size=16).hexdigest()
            if chain != fields["chain"]:
                self.breaks.append(f"{name}:{number + 1}: chain")
                return
            if chain not in known:
                known[chain] = None
                self.lines.append(
                    Line(fields["n"], fields["mono"], fields["kind"], fields["who"], fields["data"], epoch)
                )


# --- H: what clients asked, heard and saw -----------------------------------------------------------------------------


@dataclass(slots=True)
class Answer:
    """What one try of an act came to.

    Attributes:
        at: when it was sent; `ends`: when its last word came.
        life: which start of the daemon it met.
        told: "refused", "accepted" or "" (nobody answered).
        boxes: device -> (ended, refused, code, why), once judged.
        served: when the house was asked, once the door knew who it is.
        confirm: the word that was said with it; `word`: the one that its refusal showed.
        door: through which it came.
    """

    at: float
    life: int
    told: str = ""
    ends: float = FOREVER
    accepted_at: float = FOREVER
    durable: bool | None = None
    code: str = ""
    why: str = ""
    number: int = 0
    served: float = FOREVER
    confirm: str = ""
    word: str = ""
    door: str = ""
    boxes: dict[str, tuple[str, bool, str, str]] = field(default_factory=dict)


@dataclass(slots=True)
class Asked:
    """One act of a client, over all its tries."""

    key: str
    who: str
    verb: str
    devices: tuple[str, ...]  # whom it means
    at: float
    id: str = ""
    take: int | None = None
    name: str = ""
    arg: int = 0
    scene: str = ""  # the run that asked it, of a scene
    tries: list[Answer] = field(default_factory=list)

    @property
    def last(self) -> float:
        """When it could have had its last effect: its last try, with the time for it to be carried out."""
        return max((answer.at for answer in self.tries), default=self.at)

    @property
    def answers(self) -> Sequence[Answer]:
        return [answer for answer in self.tries if answer.told]

    @property
    def may_act(self) -> bool:
        """Accepted, or never answered: it may have been carried out."""
        return any(answer.told != "refused" for answer in self.tries)


@dataclass(slots=True)
class SceneRun:
    """What became of one run of a scene.

    Attributes:
        steps: (number, how it stands, its verdict's words) of each, as last shown.
        ended: its verdict; empty: it ran when the daemon ended, or none was given.
        died: the daemon ended before the run did.
    """

    id: str
    scene: str
    who: str
    life: int
    at: float
    steps: list[tuple[str, str, str]] = field(default_factory=list)
    ended: str = ""
    ended_at: float = FOREVER
    died: bool = False
    stopped_by: str = ""


@dataclass(frozen=True, slots=True)
class Point:
    """A reading as a page shows it."""

    value: Any
    quality: str
    rev: int


@dataclass(frozen=True, slots=True)
class Seen:
    """What a page showed at one time."""

    at: float
    life: int
    epoch: int
    rev: int
    take: int
    running: bool
    points: Mapping[tuple[str, str], Point]
    gauges: Mapping[str, int]  # queues, tasks, memory: what has a bound
    trouble: tuple[str, ...]
    alarms: tuple[str, ...]  # ids of those that stand


@dataclass(frozen=True, slots=True)
class Mark:
    """Something the run did: a fault begins or ends, a daemon starts, is ready, dies, is paused."""

    at: float
    what: str
    dev: str = ""
    note: str = ""


@dataclass(slots=True)
class Histories:
    """All that the rules look at."""

    plan: Plan
    truths: dict[str, Truth] = field(default_factory=dict)
    journal: Trail = field(default_factory=Trail)
    asked: dict[str, Asked] = field(default_factory=dict)
    scenes: dict[str, SceneRun] = field(default_factory=dict)
    secrets: dict[str, str] = field(default_factory=dict)  # what nobody may ever read -> whose it is
    texts: list[tuple[str, str]] = field(default_factory=list)  # (where, text) of all that was written or told
    seen: list[Seen] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    wire: dict[str, list[tuple[float, int, str, str]]] = field(default_factory=dict)
    sent: list[tuple[float, str, bytes]] = field(default_factory=list)  # by the daemon: when, to whom, what
    paired: list[tuple[float, str, float, float]] = field(default_factory=list)
    loose: list[str] = field(default_factory=list)  # exceptions that nobody fetched
    routes: list[tuple[float, int]] = field(default_factory=list)  # what output 3 of the router showed since when
    ended: float = 0.0

    def mark(self, at: float, what: str, dev: str = "", note: str = "") -> None:
        self.marks.append(Mark(at, what, dev, note))

    def spans(self, begin: str, end: str, dev: str | None = None) -> list[tuple[float, float]]:
        """Intervals between two kinds of mark."""
        spans: list[tuple[float, float]] = []
        since: float | None = None
        for mark in self.marks:
            if dev is not None and mark.dev != dev:
                continue
            if mark.what == begin and since is None:
                since = mark.at
            elif mark.what == end and since is not None:
                spans.append((since, mark.at))
                since = None
        if since is not None:
            spans.append((since, FOREVER))
        return spans

    def spans_of(self, fault: str, dev: str) -> list[tuple[float, float]]:
        """When a fault of this kind was in force at this device."""
        begun = [mark.at for mark in self.marks if (mark.what, mark.dev, mark.note) == ("fault", dev, fault)]
        over = [mark.at for mark in self.marks if (mark.what, mark.dev, mark.note) == ("healed", dev, fault)]
        return [(at, next((one for one in over if one >= at), FOREVER)) for at in begun]

    def away(self) -> list[tuple[float, float]]:
        """When no daemon answered: from a death or pause until the next one is ready or this one goes on."""
        first = next((mark.at for mark in self.marks if mark.what == "ready"), FOREVER)
        return sorted([(0.0, first), *self.spans("dead", "ready"), *self.spans("paused", "resumed")])

    def was_away(self, since: float, until: float) -> bool:
        return any(begin <= until and end >= since for begin, end in self.away())

    def awake_since(self, at: float, awake_s: float) -> float:
        """The time from which on it was not paused for `awake_s` seconds until `at`."""
        since, left_s = at, awake_s
        for begin, end in reversed(self.spans("paused", "resumed")):
            if begin >= since:
                continue
            awake = since - min(end, since)
            if awake >= left_s:
                break
            since, left_s = begin, left_s - awake
        return since - left_s

    def faulty(self, since: float, until: float, dev: str = "", *kinds: str) -> bool:
        """Was a fault in force in [since, until]: of these kinds (none named: any), at this device (empty: any)?"""
        for mark in self.marks:
            if mark.what != "fault" or (kinds and mark.note not in kinds) or (dev and mark.dev not in (dev, "")):
                continue
            end = next(
                (
                    one.at
                    for one in self.marks
                    if one.what == "healed" and (one.dev, one.note) == (mark.dev, mark.note) and one.at >= mark.at
                ),
                FOREVER,
            )
            if mark.at <= until and end >= since:
                return True
        return False
