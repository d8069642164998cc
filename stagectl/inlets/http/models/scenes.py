"""How does a scene look, and a run of it?"""

from typing import Annotated, Any, Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import Arguments, Id, In, Lax, Name, Out


class ScenePath(Lax):
    """Which scene."""

    n: Name = Field(examples=["roll-all"])


class RunPath(Lax):
    """Which run of a scene."""

    id: Id


class RunQuery(Lax):
    """How a scene is run."""

    dry: bool = Field(False, description="only say what it would do")
    wait: Literal["verdict"] | None = Field(None, description="answer only when the run has ended")


class RunBody(In):
    """Arguments of the scene by name."""

    args: Arguments = Field({})


class AnswerBody(In):
    """What a person answers to the question a run waits with."""

    answer: bool = Field(description="yes or no")
    step: Annotated[str, Field(max_length=64)] | None = Field(
        None, description="the step that asked; none: the open one"
    )


class SceneOut(Out):
    """One scene; `problem` says why it can't be run."""

    name: str
    called: str
    about: str
    role: str
    args: list[dict[str, str]]
    problem: str


class ScenesOut(Out):
    """Every scene file of the site."""

    scenes: list[SceneOut]


class SceneWhole(SceneOut):
    """One scene with its steps."""

    steps: list[dict[str, str]]


class RunOut(Out):
    """A run of a scene, or with `dry` the plan of one."""

    scene: str
    say: str
    steps: list[dict[str, Any]]


class RunsOut(Out):
    """The newest runs, newest first."""

    runs: list[RunOut]
