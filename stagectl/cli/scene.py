"""Which verbs list scenes, and run one?"""

import select
import sys
from collections.abc import Iterable, Mapping
from typing import Any, Final

import click

from stagectl.cli.client import PATIENCE_S, RefusalError
from stagectl.cli.codes import Exit, of_group
from stagectl.cli.face import Face, client_verb, progress
from stagectl.cli.tables import columns
from stagectl.cli.verdicts import sentence

STEP_S: Final = 0.1  # between two looks at a run
_STANDS: Final[Mapping[str, str]] = {"failed": "FAILED", "unconfirmed": "NOT KNOWN"}


@client_verb("scenes")
def scenes(face: Face) -> int:
    """The scenes of this site."""
    answer = face.client.get("scenes")
    rows = [
        (one["name"], str(one.get("called") or ""), _arguments(one.get("args") or ()), str(one.get("problem") or ""))
        for one in answer["scenes"]
    ]
    face.answer(answer, columns(rows) or ["This site has no scene."])
    return Exit.DONE


def _arguments(args: Any) -> str:
    """What a run may be told, as it is typed: "name=Masterclass"."""
    if isinstance(args, Mapping):
        return " ".join(f"{name}={value}" for name, value in args.items())
    return " ".join(f"{one['name']}={one.get('default') or ''}" for one in args)


@client_verb("scene", waits_for="the scene to end", acts=True)
@click.argument("name")
@click.argument("given", nargs=-1, metavar="[K=V..]")
@click.option("--dry", is_flag=True, help="Only say what it would change, and what it would end.")
def scene(face: Face, name: str, given: tuple[str, ...], dry: bool) -> int:
    """Run a scene and wait for its end; K=V are its arguments."""
    body = {"args": _pairs(given)}
    if dry:
        plan = face.client.post("scenes", name, "runs", body=body, dry="true")
        face.answer(plan, [*_planned(plan["steps"]), str(plan["say"])])
        return Exit.DONE
    run = _until_ended(face, face.client.post("scenes", name, "runs", body=body))
    face.answer(run, [*_ran(run["steps"]), *(f"  put back: {one}" for one in run["back"]), str(run["say"])])
    return of_group(run["ended"], ())


def _until_ended(face: Face, run: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a run to its end; what it asks a person is asked here."""
    told: set[str] = set()
    looks = 0
    while run["ended"] is None:
        for question in run["questions"]:
            step = str(question["step"])
            if step not in told:
                told.add(step)
                _ask(face, run, step, str(question["of"]))
        looks += 1
        if looks == round(PATIENCE_S / STEP_S) and not told:
            progress("Waiting for the scene to end. Ctrl-C ends the waiting only.")
        select.select([], [], [], STEP_S)
        run = face.client.get("scenes", "runs", run["id"])
    return run


def _ask(face: Face, run: Mapping[str, Any], step: str, of: str) -> None:
    """Put a question of the run to who sits here, or say that it waits for an answer."""
    words = next((str(one["question"]) for one in run["steps"] if one["step"] == step), "")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        progress(f"It asks {of}: {words}")
        return
    yes = click.confirm(f"It asks {of}: {words}", err=True)
    try:
        face.client.post("scenes", "runs", run["id"], "answers", body={"answer": yes, "step": step})
    except RefusalError as refused:  # somebody else was quicker, or it asks somebody else
        progress(sentence(str(refused), refused.remedy))


def _pairs(given: Iterable[str]) -> dict[str, str]:
    args: dict[str, str] = {}
    for pair in given:
        name, is_one, value = pair.partition("=")
        if not is_one or not name:
            raise click.UsageError(f'"{pair}" is no argument of a scene. Write it like name="Third movement".')
        args[name] = value
    return args


def _ran(steps: Iterable[Mapping[str, Any]]) -> list[str]:
    rows = []
    for step in steps:
        after = f"{step['after_s']:.2f} s" if step["after_s"] is not None else ""
        told = sentence(str(step["why"]), str(step["remedy"]))
        rows.append((f"  {step['step']}", step["say"], _STANDS.get(step["stand"], step["stand"]), after, f" {told}"))
    return columns(rows, right=[3])


def _planned(steps: Iterable[Mapping[str, Any]]) -> list[str]:
    lines = []
    for step in steps:
        truth = f" ({step['truth']} now)" if step["truth"] else ""
        only = f" (its `only if` is {step['only_if']} now)" if step["only_if"] else ""
        lines.append(f"  {step['step']}  {step['say']}{truth}{only}")
        if step["refused"]:
            lines.append(f"       refused: {step['refused']}")
        lines.extend(f"       {_change(change)}" for change in step["changes"] if not change["heading"])
    return lines


def _change(change: Mapping[str, Any]) -> str:
    """One change: what is seen now, and what it becomes."""
    if change["refused"]:
        return f"{change['device']} {change['say']}: refused. {change['refused']}"
    if change["moot"]:
        return f"{change['device']} {change['say']}: so already"
    now = f", now {change['seen']}" if change["seen"] else ""
    end = f", ENDS TAKE {change['ends_take']}" if change["ends_take"] is not None else ""
    loud = ", LOUD" if change["loud"] else ""
    moves = ", MOVES" if change["moves"] else ""
    return f"{change['device']} {change['say']}{now}{end}{loud}{moves}"
