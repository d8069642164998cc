"""What is a scene? An ordered tree of steps: acts, and claims about points.

Plain frozen data with every argument filled in; `stagectl.shoot.scenefile` reads it, `scenerun` runs it, `sceneplan`
tells what it would do.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from stagectl.control.access import Role
from stagectl.filetree import Table
from stagectl.model.conditions import Condition
from stagectl.model.points import PointSpec

RUNNING = "running"  # as `take` of a verb: the take that runs when the step begins


class Fails(StrEnum):
    """What a scene does when a step fails."""

    STOP = "stop here"
    GO_ON = "go on"
    PUT_BACK = "put back"  # stop, and undo the settings this run changed; never a roll or a cut


@dataclass(frozen=True, slots=True)
class Head:
    """What every step has.

    Attributes:
        number: "2", "2.1": its place in the tree, counted from one.
        say: the step in words.
        line: in the file, from one.
        only_if: skipped while this is no.
        otherwise: what people read if it fails; may hold {called}.
        goes_on: if it fails, that is no failure of the scene.
    """

    number: str
    say: str
    line: int
    only_if: Condition | None = None
    otherwise: str = ""
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class Check:
    """A claim that must be yes now."""

    head: Head
    claim: Condition


@dataclass(frozen=True, slots=True)
class WaitFor:
    """A claim that must become yes within `within_s` seconds."""

    head: Head
    claim: Condition
    within_s: float


@dataclass(frozen=True, slots=True)
class Want:
    """One point and the value it is to have."""

    device: str
    spec: PointSpec[Any]
    value: Any


@dataclass(frozen=True, slots=True)
class SetPoints:
    """Points brought to values, all at once."""

    head: Head
    wants: tuple[Want, ...]


@dataclass(frozen=True, slots=True)
class Do:
    """One verb for a device, a part or every device of a group. `args` as written; see RUNNING."""

    head: Head
    target: str
    verb: str
    args: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class AskPerson:
    """A question to a role or a named person; goes on with yes."""

    head: Head
    question: str
    of: str
    within_s: float


@dataclass(frozen=True, slots=True)
class Pause:
    """Time that passes."""

    head: Head
    seconds: float


@dataclass(frozen=True, slots=True)
class PutBack:
    """The settings this run changed so far get the values they had before, where they are still ours."""

    head: Head


@dataclass(frozen=True, slots=True)
class InTurn:
    """Steps one after another."""

    head: Head
    steps: tuple["Step", ...]


@dataclass(frozen=True, slots=True)
class Together:
    """Steps side by side; passed when all of them are."""

    head: Head
    steps: tuple["Step", ...]


Step = Check | WaitFor | SetPoints | Do | AskPerson | Pause | PutBack | InTurn | Together


@dataclass(frozen=True, slots=True)
class Argument:
    """What a run may be told. `default` serves where nothing is; `reads` is one of KINDS or a list of the site."""

    name: str
    about: str
    default: str
    reads: str


@dataclass(frozen=True, slots=True)
class Scene:
    """One scene with its arguments filled in.

    Attributes:
        name: the file's name without its ending; what doors call it.
        called: what people call it.
        role: the least role that may start it.
        given: the arguments this copy is filled with.
        ends: what must hold at the end; None: the steps alone decide.
        root: the file's tree, from which a run makes its own copy.
    """

    name: str
    called: str
    about: str
    role: Role
    arguments: Mapping[str, Argument]
    given: Mapping[str, str]
    steps: tuple[Step, ...]
    ends: Condition | None
    ends_say: str
    fails: Fails
    root: Table = field(repr=False)

    def every_step(self) -> Iterator[Step]:
        """All steps of the tree, in the file's order; the ones that hold others first."""
        yield from walk(self.steps)


def walk(steps: tuple[Step, ...]) -> Iterator[Step]:
    """Every step of a tree, in the file's order."""
    for step in steps:
        yield step
        if isinstance(step, (InTurn, Together)):
            yield from walk(step.steps)
