"""How does a set-up look, and what differs from it?"""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from stagectl.inlets.http.models.shapes import In, Lax, Line, Out, Word, one_line


class SetupPath(Lax):
    """A set-up, by its name or what people call it; with @ and a name one of its versions."""

    n: Annotated[str, Field(min_length=1, max_length=96), AfterValidator(one_line)]


class SetupQuery(Lax):
    """Which part of a set-up: "paths, iso, mixer strip 5"."""

    only: Line | None = None


class ApplyBody(In):
    """Which part of a set-up is applied; left out: all of it."""

    only: Annotated[list[Word], Field(max_length=64)] = Field([])


class UndoBody(In):
    """Nothing is said."""


class CaptureBody(In):
    """What is kept of what the boxes show. `add`: also what the set-up says nothing of, a new set-up too."""

    of: Annotated[list[Word], Field(max_length=64)] = Field([])
    add: bool = False
    version: Annotated[str, Field(max_length=48), AfterValidator(one_line)] = ""
    called: Line = ""
    dry: bool = False


class SetupOut(Out):
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


class SetupsOut(Out):
    """Every set-up; `held`: the one applied last, `drifts`: what changed away from it."""

    say: str
    held: str
    drifts: list[dict[str, Any]]
    setups: list[SetupOut]


class DiffRow(Out):
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


class DiffOut(Out):
    """What differs from a set-up, in the order in which it would be put right."""

    setup: str
    called: str
    say: str
    rows: list[DiffRow]


class UndoOut(Out):
    """What an undo would put back and leave alone."""

    say: str
    back: list[str]
    left: list[str]


class CapturedOut(Out):
    """What was written into a set-up's file."""

    say: str
    file: str
    changes: list[dict[str, str]]
    unknown: list[str]
