"""What can be asked of scenes? To list them, to say what one would do, to run one, to answer its questions."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from stagectl.control.access import Person
from stagectl.inlets.http.calls import Answer, Call, Door
from stagectl.inlets.http.models import AnswerBody, RunBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot.scene import Scene
from stagectl.shoot.scenerun import Run
from stagectl.shoot.scenes import Scenes

RUN_S: Final = 150.0  # longest wait for a run's end; then the answer says where to look


def _scenes(door: Door) -> Scenes:
    if door.scenes is None:
        raise ProblemError(404, "scene", "This house has no scenes.")
    return door.scenes


async def scenes(call: Call) -> Answer:
    """The scenes that can be run, and what is wrong with the files of others."""
    found = _scenes(call.door)
    broken = [
        {"name": Path(error.file).stem, "called": "", "about": "", "role": "", "args": [], "problem": str(error)}
        for error in found.errors
    ]
    return Answer({"scenes": [*map(_scene, found.scenes.values()), *broken]})


async def scene(call: Call) -> Answer:
    try:
        found = _scenes(call.door).find(call.path["n"])
    except RefusedError as error:
        raise refused(error) from error
    steps = [{"step": one.head.number, "say": one.head.say} for one in found.every_step()]
    return Answer(_scene(found) | {"steps": steps})


def _scene(one: Scene) -> dict[str, Any]:
    args = [{"name": arg.name, "about": arg.about, "default": arg.default} for arg in one.arguments.values()]
    return {
        "name": one.name,
        "called": one.called,
        "about": one.about,
        "role": str(one.role),
        "args": args,
        "problem": "",
    }


async def run(call: Call) -> Answer:
    """Start a run, or with `dry` say what it would do. The same key is the same run."""
    args = words(call.body_as(RunBody).args)
    name = call.path["n"]
    if call.query["dry"]:
        try:
            plan = _scenes(call.door).dry_run(name, args, call.person)
        except RefusedError as error:
            raise refused(error) from error
        return Answer(plan.plain())
    begun = start_run(call.door, call.person, name, args, call.key)
    if call.query["wait"] is not None:
        await begun.wait(RUN_S)
    where = {"Location": f"/api/v1/scenes/runs/{begun.id}"}
    return Answer(run_view(call.door, begun), 200 if begun.ended is not None else 202, where)


def start_run(door: Door, person: Person, name: str, args: Mapping[str, str], key: str) -> Run:
    """Begin a scene for `person`. Raises ProblemError."""
    try:
        return _scenes(door).start(name, person, args, key)
    except RefusedError as error:
        raise refused(error) from error


async def runs(call: Call) -> Answer:
    """The newest runs, newest first."""
    newest = list(reversed(_scenes(call.door).runs.values()))[: call.query["count"]]
    return Answer({"runs": [run_view(call.door, one) for one in newest]})


async def one_run(call: Call) -> Answer:
    try:
        return Answer(run_view(call.door, _scenes(call.door).run(call.path["id"])))
    except RefusedError as error:
        raise refused(error) from error


async def answer(call: Call) -> Answer:
    """Answer the question a run waits with."""
    body = call.body_as(AnswerBody)
    try:
        return Answer(
            run_view(call.door, _scenes(call.door).answer(call.path["id"], body.answer, call.person, body.step or ""))
        )
    except RefusedError as error:
        raise refused(error) from error


async def stop(call: Call) -> Answer:
    """Let a run end after its present step. It ends no take."""
    try:
        return Answer(run_view(call.door, _scenes(call.door).stop(call.path["id"], call.person)))
    except RefusedError as error:
        raise refused(error) from error


def run_view(door: Door, one: Run) -> dict[str, Any]:
    """A run with what it asks."""
    questions = [{"step": step, "of": of} for step, (of, _) in one.questions.items()]
    return {"id": one.id, "say": door.teller.run(one), **one.plain(), "questions": questions}


def words(args: Mapping[str, Any]) -> dict[str, str]:
    """Arguments as a scene file reads them: text."""
    told = {}
    for name, value in args.items():
        if isinstance(value, bool):
            told[name] = "yes" if value else "no"
        elif isinstance(value, list):
            told[name] = ", ".join(map(str, value))
        else:
            told[name] = str(value)
    return told
