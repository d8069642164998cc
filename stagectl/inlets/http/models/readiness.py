"""How do the line-up check, the clocks and the media look?"""

from typing import Any, Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import In, Line, Out


class WaiverBody(In):
    """Let a check pass for this shoot; no reason takes that back."""

    check: str = Field(pattern=r"^[A-Za-z0-9._-]{1,100}$", description="its id", examples=["iso-1.timecode"])
    because: Line = ""


class LineupRow(Out):
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


class LineupOut(Out):
    """Every check, what fails first; ready: no must fails, is not known, or is not waived."""

    ready: bool
    say: str
    at: str
    passed: int
    failed: int
    unknown: int
    rows: list[LineupRow]


class ClockRow(Out):
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


class ClockOut(Out):
    """Every recorder's timecode beside the reference."""

    reference: str
    reference_by: str
    rate: str
    within: int
    clocks: list[ClockRow]


class MediaRow(Out):
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


class MediaOut(Out):
    """Every recorder's record time, and what is still planned, in seconds."""

    planned: float
    spare: float
    plan: list[dict[str, Any]]
    media: list[MediaRow]
