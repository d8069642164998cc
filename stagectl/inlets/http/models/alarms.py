"""How does what is wrong look, and what can be done with it?"""

from typing import Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import In, Lax, Line, Out


class AsideOut(Out):
    """An alarm was put aside."""

    until: str
    by: str
    reason: str


class AlarmOut(Out):
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


class RatesOut(Out):
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


class AlarmsOut(Out):
    """All alarms that stand, are put aside, or are over and not seen."""

    at: str
    alarms: list[AlarmOut]
    rates: RatesOut


class AlarmPath(Lax):
    """Which alarm: its id, or the number of its newest occurrence."""

    id: str = Field(pattern=r"^[A-Za-z0-9._-]{1,100}$", examples=["iso-1.no-input"])


class AsideBody(In):
    """Put an alarm aside."""

    until: str = Field(description="RFC 3339 with zone, 8 h ahead at most", examples=["2026-11-25T18:00:00Z"])
    reason: Line = Field(description="why it can wait, in a few words")


class AlarmSaid(AlarmOut):
    """An alarm after an act, and what was done to it."""

    done: str


class WrongsOut(Out):
    """All that is wrong, worst first; `back`: what is over, and nobody has seen."""

    wrong: list[AlarmOut]
    back: list[AlarmOut]
