"""What is told of the house as a whole: now, the site, the journal, whether the daemon is well?"""

from typing import Annotated, Any

from pydantic import Field

from stagectl.inlets.http.models.alarms import AlarmOut
from stagectl.inlets.http.models.shapes import Lax, Out

Names = Annotated[str, Field(pattern="^[a-z0-9-]{1,32}(,[a-z0-9-]{1,32}){0,63}$")]


class LiveQuery(Lax):
    """What is followed."""

    device: Names | None = Field(None, description="only these devices and parts, separated by commas")
    points: Names | None = Field(None, description="points of these alone, but the entries of all")


class CountQuery(Lax):
    """How many."""

    count: int = Field(100, ge=1, le=1000)


class JournalQuery(Lax):
    """Which entries."""

    since: int | None = Field(None, ge=0, le=2**53, description="entries after this number; none: the newest")
    count: int = Field(100, ge=1, le=1000)


class FieldOut(Out):
    """What is wrong in one place."""

    field: str
    says: str


class Problem(Out):
    """What went wrong (RFC 9457), with what to do about it."""

    type: str
    title: str
    status: int
    detail: str
    code: str
    remedy: str
    confirm: str | None = Field(None, description="the word that makes the same request pass, for 10 s")
    field: str | None = None
    errors: list[FieldOut] = Field([])


class LimitOut(Out):
    """A bound the site puts on a point, in the point's unit; what lies beyond it is refused. One side is null."""

    device: str
    point: str
    least: float | None
    most: float | None


class SiteOut(Out):
    """The installation."""

    name: str
    slug: str
    devices: list[str]
    groups: dict[str, list[str]]
    people: dict[str, str]
    sources: list[str]
    destinations: list[str]
    levels: list[str] = Field(description="what routers switch of a name; empty where that is pictures alone")
    stations: list[str]
    parts: list[str]
    limits: list[LimitOut] = Field(description="bounds the site file puts on points")
    epoch: int
    rev: int
    started: str
    version: str


class EntryOut(Out):
    """One journal entry."""

    n: int
    at: str
    kind: str
    who: str
    data: dict[str, Any]
    say: str = Field(description="in a sentence; empty: only of use to a program")


class JournalOut(Out):
    """Journal entries, oldest first."""

    entries: list[EntryOut]
    last: int


class RiseOut(Out):
    """A level on its way up; `to` in its unit. The verb "stay" stops it where it is."""

    device: str
    point: str
    to: float
    who: str
    say: str


class NowOut(Out):
    """The house now."""

    say: str
    at: str
    can_roll: int
    recorders: int
    take: dict[str, Any] | None
    last: str
    next: dict[str, int | str]
    wrong: list[AlarmOut]
    rises: list[RiseOut] = Field(default_factory=list, description="levels on their way up")
    desk: str = Field("", description="who holds the desk, in a sentence; empty: nobody")


class Plain(Out):
    """An object whose words may grow."""


class AliveOut(Out):
    """The process answers."""

    alive: bool


class ReadyOut(Out):
    """The daemon can be relied on."""

    ready: bool
    devices: int
    adopted: int


class SayOut(Out):
    """What was done, in a sentence."""

    say: str
