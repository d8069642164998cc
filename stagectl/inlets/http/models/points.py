"""How do boxes, their points, verbs and lists look?"""

from typing import Any, Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import NUMBER_MOST, Lax, Name, Out, PointName


class DevicePath(Lax):
    """Which box."""

    id: Name = Field(examples=["iso-1"])


class PointPath(Lax):
    """Which point of which box or part."""

    device: Name = Field(examples=["hall"])
    name: PointName = Field(examples=["output.3.source"])


class KindPath(Lax):
    """Which kind of box or part."""

    kind: Name = Field(examples=["recorder"])


class ListPath(Lax):
    """Which list of which box."""

    id: Name = Field(examples=["iso-1"])
    what: Name = Field(examples=["clips"])


class PointsQuery(Lax):
    """Which points."""

    device: Name | None = None
    name: PointName | None = None


class RowsQuery(Lax):
    """Which rows."""

    first: int = Field(1, ge=1, le=NUMBER_MOST, description="counted from one")
    count: int = Field(100, ge=1, le=1000)


class PointOut(Out):
    """One observed value; `at` is when it became this one, `by` whose act that was."""

    device: str
    name: str
    value: bool | int | float | str | None
    quality: Literal["good", "stale", "unknown", "asked"]
    unit: str
    at: str | None
    by: str
    rev: int


class PointsOut(Out):
    """Many points, as of one revision."""

    epoch: int
    rev: int
    points: list[PointOut]


class DeviceOut(Out):
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


class DevicesOut(Out):
    """Every box."""

    devices: list[DeviceOut]


class SpecOut(Out):
    """What is promised of one point."""

    name: str
    type: str
    unit: str
    settable: bool
    words: list[str]
    low: float | None
    high: float | None


class VerbOut(Out):
    """What is promised of one verb."""

    name: str
    about: str
    args: list[dict[str, Any]]
    deadline_s: float
    flags: list[str]


class CapabilityOut(Out):
    """What can be known and asked of a kind of box."""

    kind: str
    version: int
    points: list[SpecOut]
    verbs: list[VerbOut]


class RowsOut(Out):
    """A page of a list."""

    device: str
    what: str
    first: int
    total: int
    rows: list[dict[str, Any]]
