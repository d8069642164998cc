"""How does a take look, and what can be written to it?"""

from typing import Annotated

from pydantic import AfterValidator, Field

from stagectl.inlets.http.models.shapes import In, Lax, Line, Number, Out, one_line
from stagectl.shoot.take import MarkKind


class TakePath(Lax):
    """Which take."""

    n: Number = Field(examples=[1])


class DayPath(Lax):
    """Which day, as the house's clock has it."""

    day: str = Field(pattern="^(today|[0-9]{4}-[0-9]{2}-[0-9]{2})$", examples=["today"])


class MarkBody(In):
    """Rate a take good, take that back, or mark this place in it, with a note or without; one of them at least."""

    good: bool | None = None
    kind: MarkKind | None = Field(default=None, strict=False, examples=["problem"])
    note: Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(one_line)] | None = None


class SlateBody(In):
    """Name the next take."""

    name: Line


class MarkPath(TakePath):
    """Which mark of which take, counted from one."""

    m: Number = Field(examples=[1])


class MarkChangeBody(In):
    """What of a mark is corrected; what is left out stays. `struck`: it counts no more, and is kept."""

    kind: MarkKind | None = Field(default=None, strict=False, examples=["problem"])
    note: Annotated[str, Field(max_length=1000), AfterValidator(one_line)] | None = None
    struck: bool | None = None


class TakeSlateBody(In):
    """Another slate for a take; `slate_take`: its number there, left out: the next that is free."""

    name: Line
    slate_take: Number | None = None


class ChangeOut(Out):
    """A correction: what of the take, how that was and is, who, when."""

    what: str
    was: str
    now: str
    who: str
    at: str


class SpreadOut(Out):
    """How far apart recorders began, in frames, give or take `give`."""

    frames: int
    give: int
    of: int
    exact: bool


class MarkOut(Out):
    """A place in a take that somebody marked; `label`: timecode of the recorder `device` then, empty: not known."""

    kind: MarkKind
    text: str
    who: str
    at: str
    label: str
    device: str
    n: int = 0


class LaneOut(Out):
    """One recording of one recorder."""

    device: str
    called: str
    rolled: str
    clip: str
    start: str
    start_exact: bool
    ended: str | None
    offset: int | None


class TakeOut(Out):
    """One take."""

    take: int
    name: str
    slate_take: int
    by: str
    opened: str
    closed: str | None
    running: bool
    good: bool
    notes: list[str]
    marks: list[MarkOut]
    struck: list[MarkOut]
    changes: list[ChangeOut]
    wanted: list[str]
    rolling: list[str]
    say: str
    spread: SpreadOut | None
    common: dict[str, str | int] | None
    lanes: list[LaneOut]


class SharedOut(Out):
    """What all recorders hold, by labels; `end` is the frame after `last`."""

    first: str
    last: str
    end: str
    frames: int


class PlacedOut(Out):
    """A clip against what all share.

    `into`: frames from its first to where that begins; `over`: how many it goes on after it.
    """

    device: str
    called: str
    clip: str
    slot: int
    first: str
    end: str
    frames: int | None
    into: int | None
    over: int | None


class OverlapOut(Out):
    """Where the clips of a take overlap; `troubles`: what an editor must know, a sentence each."""

    rate: str
    common: SharedOut | None
    clips: list[PlacedOut]
    troubles: list[str]


class TakeWhole(TakeOut):
    """One take with its overlap; None: it still rolls."""

    overlap: OverlapOut | None


class TakesOut(Out):
    """The newest takes, newest first, and the next one."""

    next: dict[str, int | str]
    takes: list[TakeOut]
