"""How do a copy run, its plan and its report look?"""

from typing import Annotated, Any, Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import Id, In, Lax, Name, Number, Out, Word

Day = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$", examples=["2026-11-28"])]
_MOST = 64  # recorders, days or takes that are named in one request


class CopyBody(In):
    """Which clips; what is left out means all."""

    recorders: list[Word] = Field([], max_length=_MOST, description="recorders and groups", examples=[["iso"]])
    days: list[Day] = Field([], max_length=_MOST)
    takes: list[Number] = Field([], max_length=_MOST)


class VerifyBody(In):
    """At which places; none: at all."""

    places: list[Name] = Field([], max_length=8)


class ReportQuery(Lax):
    """Which clips, separated by commas; what is left out means all."""

    recorder: str = Field("", pattern="^[A-Za-z0-9 ,._-]*$", max_length=100, examples=["iso-1,mix-rec"])
    day: str = Field("", pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2}(,[0-9]{4}-[0-9]{2}-[0-9]{2})*)?$", max_length=100)
    take: str = Field("", pattern=r"^([0-9]{1,9}(,[0-9]{1,9})*)?$", max_length=100, examples=["1,2"])


class CopyRunPath(Lax):
    """A run or a verification."""

    id: Id


class CopyDeckNow(Out):
    """What is done with one recorder; bytes, and bytes a second."""

    device: str
    called: str
    busy: str
    clip: str
    done: int
    of: int
    rate: int
    why: str


class CopyRunOut(Out):
    """A run or a verification; bytes, bytes a second, seconds left. `found`: of a verification, by place."""

    id: str
    kind: Literal["copy", "verify"]
    by: str
    say: str
    started: str
    ended: str | None
    outcome: Literal["", "done", "failed", "stopped"]
    done: int
    of: int
    rate: int
    left_s: float | None
    recorders: list[CopyDeckNow]
    found: dict[str, dict[str, Any]]


class CopyPlace(Out):
    """A place that clips are copied to."""

    name: str
    called: str


class CopyRoom(CopyPlace):
    """Bytes that are to come to a place and that it has left; free null: it can't tell. why: it does not fit."""

    need: int
    free: int | None
    why: str


class CopyDeck(Out):
    """One recorder: clips and bytes; clear: a person may clear its media."""

    device: str
    called: str
    clips: int
    bytes: int
    waiting: int
    waiting_bytes: int
    failed: int
    published: int
    safe: int
    clear: bool
    say: str
    clear_say: str


class CopyOut(Out):
    """How copying off stands."""

    state: Literal["idle", "copying", "waiting"]
    say: str
    schedule: str
    places: list[CopyPlace]
    recorders: list[CopyDeck]
    run: CopyRunOut | None


class CopyCopy(Out):
    """One copy of a clip at a place."""

    place: str
    path: str
    state: str
    reason: str
    why: str
    doubt: str
    hash: str
    published: str | None
    list: str


class CopyClip(Out):
    """A clip and its copies; size in bytes, take null: none is known to hold it."""

    job: str
    recorder: str
    called: str
    clip: str
    slot: int
    size: int
    day: str
    take: int | None
    slate: str
    good: bool
    present: bool
    state: str
    verified: int
    copies: list[CopyCopy]


class CopySilent(Out):
    """A recorder whose clips could not be listed."""

    device: str
    called: str
    why: str


class CopyPlanOut(Out):
    """What a run would copy, in its order; the first 500 rows. Bytes."""

    say: str
    clips: int
    bytes: int
    rows: list[CopyClip]
    places: list[CopyRoom]
    silent: list[CopySilent]


class CopyRows(Out):
    """Clips of one kind: all are counted, the first 500 are told."""

    count: int
    rows: list[dict[str, Any]]


class CopyReportOut(Out):
    """What stands verified, is not copied yet, could not be, is doubtful, is in takes and on no recorder, or double."""

    say: str
    recorders: list[CopyDeck]
    copied: CopyRows
    open: CopyRows
    failed: CopyRows
    doubtful: CopyRows
    missing: CopyRows
    double: CopyRows
