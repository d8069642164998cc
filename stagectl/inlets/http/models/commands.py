"""How is something asked for, and how is told what became of it?"""

from typing import Literal

from pydantic import ConfigDict, Field

from stagectl.inlets.http.models.shapes import Arguments, Confirm, Id, In, Lax, Line, Name, Number, Out, Word


class CommandPath(Lax):
    """Which command."""

    id: Id


class InletPath(Lax):
    """Which inlet; its name stands in the journal."""

    inlet: Name = Field(examples=["pedal"])


class WaitQuery(Lax):
    """How long to wait."""

    wait: Literal["verdict"] | None = Field(None, description="answer only when every box has its verdict")


class RollBody(In):
    """Roll all recorders as one take, or those named in `on`."""

    name: Line = Field("", description="of the take", examples=["Warm-up"])
    on: list[Word] = Field([], max_length=256, description="devices, groups, or what people call them")


class CutBody(In):
    """End a take. Its number is the guard: a repeated request for an older take ends nothing."""

    take: Number | None = Field(None, description="the take that ends; left out, it is refused with the right number")
    on: list[Word] = Field([], max_length=256)
    confirm: Confirm = ""


class CommandBody(In):
    """Any verb for any device, group or part; "set" takes `point` and `value`, "stay" a `point` that rises."""

    target: Word = Field(examples=["hall"])
    verb: Word = Field(examples=["set"])
    args: Arguments = Field({}, examples=[{"point": "output.3.source", "value": 2}])
    confirm: Confirm = ""


class InBody(In):
    """What an outside controller asks, in the small vocabulary all inlets share."""

    verb: Literal["roll", "cut", "mark", "scene", "route", "level", "stay", "play", "stop"]
    args: Arguments = Field({})
    id: Id | None = None
    edge: Literal["press", "release", "pulse"] = "pulse"
    confirm: Confirm = ""


class BoxOut(Out):
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


class GroupOut(Out):
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


class GroupsOut(Out):
    """The newest commands, newest first."""

    commands: list[GroupOut]


class SaidOut(Out):
    """What an inlet is told: `is` is heard, done, partly, failed, unsure or sent."""

    model_config = ConfigDict(extra="allow", defer_build=True)
    say: str
