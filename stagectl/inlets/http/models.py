"""Which shapes go in and out of this door? The only place where pydantic models of HTTP stand.

What comes in is checked against these; what goes out is written from plain dicts, and the tests hold it to these.
"""

import unicodedata
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SecretStr

from stagectl.shoot.house import ID_LONGEST

NUMBER_MOST = 1_000_000_000


_UNSEEN = ("Cc", "Cs", "Zl", "Zp")
_TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def _line(text: str) -> str:
    """One line for people: no control characters, nothing that turns the direction of writing."""
    for char in text:
        if (
            unicodedata.category(char) in ("Cc", "Cs", "Zl", "Zp")
            or char in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        ):
            raise ValueError("it holds a control character or a line end.")
    return text


Line = Annotated[str, Field(max_length=200), AfterValidator(_line)]
Word = Annotated[str, Field(min_length=1, max_length=64), AfterValidator(_line)]
Number = Annotated[int, Field(ge=1, le=NUMBER_MOST)]
Id = Annotated[str, Field(pattern=rf"^[A-Za-z0-9._-]{{1,{ID_LONGEST}}}$")]
Confirm = Annotated[
    str, Field(pattern="^[A-Z0-9]{0,16}$", description="the word of the refusal, to have it done all the same")
]
Name = Annotated[str, Field(pattern="^[a-z0-9][a-z0-9-]{0,31}$")]
PointName = Annotated[str, Field(pattern="^[a-z0-9_-]+([.][a-z0-9_-]+)*$", max_length=100)]
Scalar = bool | int | float | Line
Argument = Scalar | Annotated[list[Word], Field(max_length=256)]
Arguments = Annotated[dict[Word, Argument], Field(max_length=32)]


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Lax(BaseModel):
    """From a path or a query: numbers arrive as text."""

    model_config = ConfigDict(extra="forbid")


class _Out(BaseModel):
    model_config = ConfigDict(extra="allow")


# -- paths and queries ------------------------------------------------------------------------------------------------


class DevicePath(_Lax):
    """Which box."""

    id: Name = Field(examples=["iso-1"])


class PointPath(_Lax):
    """Which point of which box or part."""

    device: Name = Field(examples=["hall"])
    name: PointName = Field(examples=["output.3.source"])


class KindPath(_Lax):
    """Which kind of box or part."""

    kind: Name = Field(examples=["recorder"])


class ListPath(_Lax):
    """Which list of which box."""

    id: Name = Field(examples=["iso-1"])
    what: Name = Field(examples=["clips"])


class CommandPath(_Lax):
    """Which command."""

    id: Id


class TakePath(_Lax):
    """Which take."""

    n: Number = Field(examples=[1])


class ScenePath(_Lax):
    """Which scene."""

    n: Name = Field(examples=["roll-all"])


class SetupPath(_Lax):
    """A set-up, by its name or what people call it; with @ and a name one of its versions."""

    n: Annotated[str, Field(min_length=1, max_length=96), AfterValidator(_line)]


class SetupQuery(_Lax):
    """Which part of a set-up: "paths, iso, mixer strip 5"."""

    only: Line | None = None


class RunPath(_Lax):
    """Which run of a scene."""

    id: Id


class HookPath(_Lax):
    """Which hook: its secret."""

    key: str = Field(pattern="^[A-Za-z0-9_-]{16,128}$", examples=["x" * 43])


class InletPath(_Lax):
    """Which inlet; its name stands in the journal."""

    inlet: Name = Field(examples=["pedal"])


class FilePath(_Lax):
    """Which built file of the page."""

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$", examples=["main-B2cd3e.js"])


class ViewPath(_Lax):
    """Which view of the page."""

    view: Literal["paths", "sound", "kit", "journal", "wall", "card", "lineup", "setups"]


class ViewQuery(_Lax):
    """What a view shows; the page reads it, the daemon only takes it."""

    take: Number | None = None
    box: Name | None = None
    find: Line | None = None
    look: Literal["table", "print"] | None = None


class TokenPath(_Lax):
    """Which token; its id opens nothing."""

    id: Id


class WaitQuery(_Lax):
    """How long to wait."""

    wait: Literal["verdict"] | None = Field(None, description="answer only when every box has its verdict")


class PointsQuery(_Lax):
    """Which points."""

    device: Name | None = None
    name: PointName | None = None


class LiveQuery(_Lax):
    """What is followed."""

    device: Annotated[str, Field(pattern="^[a-z0-9-]{1,32}(,[a-z0-9-]{1,32}){0,63}$")] | None = Field(
        None, description="only these devices and parts, separated by commas"
    )


class CountQuery(_Lax):
    """How many."""

    count: int = Field(100, ge=1, le=1000)


class RowsQuery(_Lax):
    """Which rows."""

    first: int = Field(1, ge=1, le=NUMBER_MOST, description="counted from one")
    count: int = Field(100, ge=1, le=1000)


class JournalQuery(_Lax):
    """Which entries."""

    since: int | None = Field(None, ge=0, le=2**53, description="entries after this number; none: the newest")
    count: int = Field(100, ge=1, le=1000)


class RunQuery(_Lax):
    """How a scene is run."""

    dry: bool = Field(False, description="only say what it would do")
    wait: Literal["verdict"] | None = Field(None, description="answer only when the run has ended")


# -- bodies -----------------------------------------------------------------------------------------------------------


class RollBody(_In):
    """Roll all recorders as one take, or those named in `on`."""

    name: Line = Field("", description="of the take", examples=["Warm-up"])
    on: list[Word] = Field([], max_length=256, description="devices, groups, or what people call them")


class CutBody(_In):
    """End a take. Its number is the guard: a repeated request for an older take ends nothing."""

    take: Number | None = Field(None, description="the take that ends; left out, it is refused with the right number")
    on: list[Word] = Field([], max_length=256)
    confirm: Confirm = ""


class CommandBody(_In):
    """Any verb for any device, group or part; "set" takes `point` and `value`."""

    target: Word = Field(examples=["hall"])
    verb: Word = Field(examples=["set"])
    args: Arguments = Field({}, examples=[{"point": "output.3.source", "value": 2}])
    confirm: Confirm = ""


class MarkBody(_In):
    """Mark a take good, take the mark back, or write a note; one of them at least."""

    good: bool | None = None
    note: Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_line)] | None = None


class SlateBody(_In):
    """Name the next take."""

    name: Line


class RunBody(_In):
    """Arguments of the scene by name."""

    args: Arguments = {}


class ApplyBody(_In):
    """Which part of a set-up is applied; left out: all of it."""

    only: Annotated[list[Word], Field(max_length=64)] = []


class UndoBody(_In):
    """Nothing is said."""


class CaptureBody(_In):
    """What is kept of what the boxes show. `add`: also what the set-up says nothing of, a new set-up too."""

    of: Annotated[list[Word], Field(max_length=64)] = []
    add: bool = False
    version: Annotated[str, Field(max_length=48), AfterValidator(_line)] = ""
    called: Line = ""
    dry: bool = False


class AnswerBody(_In):
    """What a person answers to the question a run waits with."""

    answer: bool = Field(description="yes or no")
    step: Annotated[str, Field(max_length=64)] | None = Field(
        None, description="the step that asked; none: the open one"
    )


class InBody(_In):
    """What an outside controller asks, in the small vocabulary all inlets share."""

    verb: Literal["roll", "cut", "mark", "scene", "route", "level"]
    args: Arguments = {}
    id: Id | None = None
    edge: Literal["press", "release", "pulse"] = "pulse"
    confirm: Confirm = ""


class LoginBody(_In):
    """Who comes in."""

    name: Name
    password: SecretStr = Field(min_length=1, max_length=256)


class TokenBody(_In):
    """A token for a program: a viewer only reads; an operator does these verbs on these devices."""

    name: Name = Field(examples=["pedal"])
    role: Literal["viewer", "operator"]
    verbs: list[Word] = Field([], max_length=64, examples=[["roll", "good"]])
    devices: list[Word] = Field([], max_length=256, description="devices, groups and parts")
    days: int = Field(90, ge=1, le=90)


class HookBody(_In):
    """An address that does one thing: roll {name, on}, route {src, dst}, or mark {good, note} the newest take."""

    name: Name = Field(examples=["doorbell"])
    verb: Literal["roll", "mark", "route"]
    args: Arguments = {}
    days: int = Field(90, ge=1, le=90)


class GuestBody(_In):
    """A token for a guest."""

    name: Name = Field("guest", description="what the guest is called in the journal")
    acts: list[Word] = Field(min_length=1, max_length=8, examples=[["roll", "good", "call"]])
    hours: int = Field(4, ge=1, le=24)


class DeskBody(_In):
    """What is done with the desk."""

    act: Literal["take", "ask", "give", "keep"]
    to: Name | Literal[""] = Field("", description="whom it is given to; nobody if left out")


class CallBody(_In):
    """Why somebody is called."""

    say: Line = ""


# -- answers ----------------------------------------------------------------------------------------------------------


class FieldOut(_Out):
    """What is wrong in one place."""

    field: str
    says: str


class Problem(_Out):
    """What went wrong (RFC 9457), with what to do about it."""

    type: str
    title: str
    status: int
    detail: str
    code: str
    remedy: str
    confirm: str | None = Field(None, description="the word that makes the same request pass, for 10 s")
    field: str | None = None
    errors: list[FieldOut] = []


class PointOut(_Out):
    """One observed value; `at` is when it became this one, `by` whose act that was."""

    device: str
    name: str
    value: bool | int | float | str | None
    quality: Literal["good", "stale", "unknown", "asked"]
    unit: str
    at: str | None
    by: str
    rev: int


class PointsOut(_Out):
    """Many points, as of one revision."""

    epoch: int
    rev: int
    points: list[PointOut]


class DeviceOut(_Out):
    """One box and its link."""

    id: str
    called: str
    kind: str
    box: str
    at: str
    up: bool
    adopted: bool
    health: str
    why: str
    quarantined: str | None
    groups: list[str]


class DeviceWhole(DeviceOut):
    """One box with its points and what happened on its wire."""

    counts: dict[str, int]
    points: list[PointOut]


class DevicesOut(_Out):
    """Every box."""

    devices: list[DeviceOut]


class SiteOut(_Out):
    """The installation."""

    name: str
    slug: str
    devices: list[str]
    groups: dict[str, list[str]]
    people: dict[str, str]
    sources: list[str]
    destinations: list[str]
    stations: list[str]
    parts: list[str]
    epoch: int
    rev: int
    started: str
    version: str


class SpecOut(_Out):
    """What is promised of one point."""

    name: str
    type: str
    unit: str
    settable: bool
    words: list[str]
    low: float | None
    high: float | None


class VerbOut(_Out):
    """What is promised of one verb."""

    name: str
    about: str
    args: list[dict[str, Any]]
    deadline_s: float
    flags: list[str]


class CapabilityOut(_Out):
    """What can be known and asked of a kind of box."""

    kind: str
    version: int
    points: list[SpecOut]
    verbs: list[VerbOut]


class RowsOut(_Out):
    """A page of a list."""

    device: str
    what: str
    first: int
    total: int
    rows: list[dict[str, Any]]


class BoxOut(_Out):
    """How the command ended for one box. `ended` null: not yet."""

    device: str
    called: str
    verb: str
    ended: Literal["verified", "sent", "unconfirmed", "failed"] | None
    words: str
    say: str
    why: str
    remedy: str
    after_s: float | None
    missing: list[str]
    code: str
    refused: bool
    moot: bool


class GroupOut(_Out):
    """One press: its sentence, the worst verdict and the count, then each box."""

    id: str
    say: str
    wish: str
    who: str
    inlet: str
    verb: str
    take: int | None
    ended: Literal["verified", "sent", "unconfirmed", "failed"] | None
    count: str
    durable: bool | None
    boxes: list[BoxOut]


class GroupsOut(_Out):
    """The newest commands, newest first."""

    commands: list[GroupOut]


class SpreadOut(_Out):
    """How far apart recorders began, in frames, give or take `give`."""

    frames: int
    give: int
    of: int
    exact: bool


class LaneOut(_Out):
    """One recording of one recorder."""

    device: str
    called: str
    rolled: str
    clip: str
    start: str
    start_exact: bool
    ended: str | None
    offset: int | None


class TakeOut(_Out):
    """One take."""

    take: int
    name: str
    by: str
    opened: str
    closed: str | None
    running: bool
    good: bool
    notes: list[str]
    wanted: list[str]
    rolling: list[str]
    say: str
    spread: SpreadOut | None
    common: dict[str, str | int] | None
    lanes: list[LaneOut]


class TakesOut(_Out):
    """The newest takes, newest first, and the next one."""

    next: dict[str, int | str]
    takes: list[TakeOut]


class EntryOut(_Out):
    """One journal entry."""

    n: int
    at: str
    kind: str
    who: str
    data: dict[str, Any]
    say: str = Field(description="in a sentence; empty: only of use to a program")


class JournalOut(_Out):
    """Journal entries, oldest first."""

    entries: list[EntryOut]
    last: int


class AsideOut(_Out):
    """An alarm was put aside."""

    until: str
    by: str
    reason: str


class AlarmOut(_Out):
    """One alarm; `is` says who has seen it, `under` which other one is its cause."""

    id: str = Field(examples=["iso-1.no-input"])
    number: int = Field(description="short name of its newest occurrence; 0: never told by itself")
    device: str = Field(description="empty: the daemon itself, or a cause behind several devices")
    called: str
    state: Literal["on", "known", "aside", "back", "off"] = Field(
        alias="is", description="back: it is over, and nobody has seen it"
    )
    grade: Literal["now", "soon", "later"]
    say: str
    remedy: str
    since: str | None
    ended: str | None
    kept: bool = Field(description="what it rests on is not known at present")
    clearing: bool = Field(description="it is not so any more, and will be over unless it comes back at once")
    known_by: str
    aside: AsideOut | None
    under: str
    under_it: list[str]
    take: int | None


class RatesOut(_Out):
    """How many alarms an operator was told, causes only."""

    ten_minutes: int
    flood: bool = Field(description="more than ten in ten minutes")
    worst: int = Field(description="the most in any ten minutes since start")
    total: int
    now: int
    soon: int
    later: int
    standing: int
    aside: int
    back: int
    stale: int = Field(description="standing for more than a day")
    chattering: list[str] = Field(description="told three times or more within a minute")


class AlarmsOut(_Out):
    """All alarms that stand, are put aside, or are over and not seen."""

    at: str
    alarms: list[AlarmOut]
    rates: RatesOut


class AlarmPath(_Lax):
    """Which alarm: its id, or the number of its newest occurrence."""

    id: str = Field(pattern=r"^[A-Za-z0-9._-]{1,100}$", examples=["iso-1.no-input"])


class AsideBody(_In):
    """Put an alarm aside."""

    until: str = Field(description="RFC 3339 with zone, 8 h ahead at most", examples=["2026-11-25T18:00:00Z"])
    reason: Line = Field(description="why it can wait, in a few words")


class AlarmSaid(AlarmOut):
    """An alarm after an act, and what was done to it."""

    done: str


class WrongsOut(_Out):
    """All that is wrong, worst first; `back`: what is over, and nobody has seen."""

    wrong: list[AlarmOut]
    back: list[AlarmOut]


class NowOut(_Out):
    """The house now."""

    say: str
    at: str
    can_roll: int
    recorders: int
    take: dict[str, Any] | None
    last: str
    next: dict[str, int | str]
    wrong: list[AlarmOut]
    desk: str = Field("", description="who holds the desk, in a sentence; empty: nobody")


class SaidOut(_Out):
    """What an inlet is told: `is` is heard, done, partly, failed, unsure or sent."""

    model_config = ConfigDict(extra="allow")
    say: str


class Plain(_Out):
    """An object whose words may grow."""


class SceneOut(_Out):
    """One scene; `problem` says why it can't be run."""

    name: str
    called: str
    about: str
    role: str
    args: list[dict[str, str]]
    problem: str


class ScenesOut(_Out):
    """Every scene file of the site."""

    scenes: list[SceneOut]


class SceneWhole(SceneOut):
    """One scene with its steps."""

    steps: list[dict[str, str]]


class SetupOut(_Out):
    """A set-up and how much of it differs now; `problem`: why its file can't be read."""

    name: str
    called: str
    about: str
    includes: list[str]
    values: int
    differ: int
    unknown: int
    versions: list[str]
    problem: str


class SetupsOut(_Out):
    """Every set-up; `held`: the one applied last, `drifts`: what changed away from it."""

    say: str
    held: str
    drifts: list[dict[str, Any]]
    setups: list[SetupOut]


class DiffRow(_Out):
    """One wanted value; `say` is empty if it is so. `stage`: what it goes out with."""

    device: str
    point: str
    say: str
    truth: Literal["yes", "no", "unknown"]
    seen: str
    quality: str
    wanted: str
    stage: str
    by_hand: bool
    refused: str
    remedy: str


class DiffOut(_Out):
    """What differs from a set-up, in the order in which it would be put right."""

    setup: str
    called: str
    say: str
    rows: list[DiffRow]


class UndoOut(_Out):
    """What an undo would put back and leave alone."""

    say: str
    back: list[str]
    left: list[str]


class CapturedOut(_Out):
    """What was written into a set-up's file."""

    say: str
    file: str
    changes: list[dict[str, str]]
    unknown: list[str]


class RunOut(_Out):
    """A run of a scene, or with `dry` the plan of one."""

    scene: str
    say: str
    steps: list[dict[str, Any]]


class RunsOut(_Out):
    """The newest runs, newest first."""

    runs: list[RunOut]


class RoutesBody(_In):
    """Routes to be planned together."""

    routes: Annotated[list[Line], Field(min_length=1, max_length=256)] = Field(
        description="a destination and its source each", examples=[["director = wide", "program = hands"]]
    )


class WaiverBody(_In):
    """Let a check pass for this shoot; no reason takes that back."""

    check: str = Field(pattern=r"^[A-Za-z0-9._-]{1,100}$", description="its id", examples=["iso-1.timecode"])
    because: Line = ""


class LineupRow(_Out):
    """One check and how it stands: pass, fail or not known."""

    id: str
    device: str
    called: str
    check: str
    asks: str
    stands: Literal["pass", "fail", "not known"]
    must: bool
    found: str
    remedy: str
    age_s: float | None
    waiver: dict[str, str] | None


class LineupOut(_Out):
    """Every check, what fails first; ready: no must fails, is not known, or is not waived."""

    ready: bool
    say: str
    at: str
    passed: int
    failed: int
    unknown: int
    rows: list[LineupRow]


class ClockRow(_Out):
    """One recorder's timecode; offset and its give in frames, drift in frames an hour; null: not known."""

    device: str
    called: str
    state: str
    why: str
    label: str
    rate: str
    offset: float | None
    give: float | None
    drift: float | None
    answers: int


class ClockOut(_Out):
    """Every recorder's timecode beside the reference."""

    reference: str
    reference_by: str
    rate: str
    within: int
    clocks: list[ClockRow]


class MediaRow(_Out):
    """One recorder's record time in seconds; null: not known."""

    device: str
    called: str
    left: float | None
    basis: str
    why: str
    per_s: float | None
    measured_per_s: float | None
    confidence: str
    writes: str
    slots: list[dict[str, Any]]
    enough: bool | None


class MediaOut(_Out):
    """Every recorder's record time, and what is still planned, in seconds."""

    planned: float
    spare: float
    plan: list[dict[str, Any]]
    media: list[MediaRow]


class RoutePlanRow(_Out):
    """One destination of a plan: its way, or why there is none."""

    destination: str
    source: str
    way: list[str]
    delay: int
    stands: bool
    why: str
    remedy: str


class RoutePlanOut(_Out):
    """Ways found together; `routes` is what to ask of `paths` with the verb `route`."""

    say: str
    served: int
    of: int
    exact: bool
    method: str
    freed: list[str]
    rev: int
    routes: list[str]
    rows: list[RoutePlanRow]


class AliveOut(_Out):
    """The process answers."""

    alive: bool


class ReadyOut(_Out):
    """The daemon can be relied on."""

    ready: bool
    devices: int
    adopted: int


class SayOut(_Out):
    """What was done, in a sentence."""

    say: str


class TokenOut(_Out):
    """A token without what opens anything; `verbs` and `devices` null: all that the role may."""

    id: str
    name: str
    kind: Literal["person", "machine", "guest", "hook"]
    role: str
    verbs: list[str] | None
    devices: list[str] | None
    does: dict[str, Any] | None = Field(description="of a hook: its one verb and its arguments")
    by: str
    made: str
    until: str


class IssuedOut(TokenOut):
    """A fresh token; `token` is told this once."""

    token: str
    say: str


class GuestOut(IssuedOut):
    """A fresh token of a guest, and how it reaches a phone."""

    link: str = Field(description="the page of the guest, with the token behind its #; whoever has it may use it")
    qr: list[str] = Field(description='the link as a QR code, row by row: "1" dark, "0" light; leave 4 light around it')


class HookOut(TokenOut):
    """A fresh hook; its address is told this once."""

    url: str
    say: str


class TokensOut(_Out):
    """The tokens that are out."""

    tokens: list[TokenOut]


class MeOut(_Out):
    """Who this is; `accounts` false: nobody needs a token here."""

    name: str
    role: str
    kind: str
    sees: bool
    verbs: list[str] | None
    devices: list[str] | None
    until: str | None
    accounts: bool


class DeskOut(_Out):
    """Who holds the desk; empty: nobody. `free_s`: until who asked may take it."""

    holder: str
    asker: str
    free_s: float | None
    say: str
