"""Which verbs act on takes? Roll, cut, and what is written beside them."""

import select
import sys
from collections.abc import Iterable, Mapping
from typing import Any, Final

import click

from stagectl.cli import verdicts
from stagectl.cli.client import LostError, RefusalError, UnreachedError
from stagectl.cli.codes import Exit, of_group
from stagectl.cli.face import Face, client_verb

LABELS_S: Final = 1.5  # so long after its verdict a roll waits for exact first labels
STEP_S: Final = 0.25


@client_verb("roll", waits_for="proof from the recorders", acts=True)
@click.argument("boxes", nargs=-1, metavar="[BOX..]")
@click.option("--name", metavar="TEXT", help="Name of the take.")
def roll(face: Face, boxes: tuple[str, ...], name: str | None) -> int:
    """Roll all recorders, or those named, as one take; wait for proof."""
    body: dict[str, Any] = {}
    if name:
        body["name"] = name
    if boxes:
        body["on"] = list(boxes)
    group = _exact(face, face.client.post("roll", body=body, wait="verdict"))
    asked = f"Asked {_recorders(len(group['boxes']))}{_of_take(group)}."
    return ended(face, group, [asked, *verdicts.rows(face, group)])


def ended(face: Face, group: Mapping[str, Any], text: Iterable[str]) -> int:
    """Tell a press: `text`, then its sentence. Returns the exit code."""
    face.answer(verdicts.plain(group), [*text, *verdicts.warned(group)])
    return of_group(group["ended"], group["boxes"])


def _recorders(number: int) -> str:
    return f"{number} recorder" if number == 1 else f"{number} recorders"


def _of_take(group: Mapping[str, Any]) -> str:
    return f", take {group['take']}" if group.get("take") is not None else ""


def _exact(face: Face, group: Mapping[str, Any]) -> Mapping[str, Any]:
    """The press told anew once the recorders have said their first labels, or as it is then.

    What fails here costs the offsets and nothing else: the verdict is known.
    """
    left = round(LABELS_S / STEP_S)
    try:
        while left and _labels_open(group):
            select.select([], [], [], STEP_S)
            left -= 1
            group = face.client.get("commands", str(group["id"]))
    except (LostError, UnreachedError, RefusalError):
        pass
    return group


def _labels_open(group: Mapping[str, Any]) -> bool:
    """Did two or more roll, and is the exact first label of one of them still to come?"""
    rolled = [box["device"] for box in group["boxes"] if box["ended"] in verdicts.WELL]
    take = group.get("take_detail")
    if take is None or len(rolled) < 2:
        return False
    exact = {lane["device"] for lane in take["lanes"] if lane["start_exact"]}
    return not exact.issuperset(rolled)


@client_verb("cut", waits_for="proof from the recorders", acts=True)
@click.argument("take", required=False, type=click.IntRange(1))
@click.option("--confirm", metavar="WORD", help="The word you were told, for a take that somebody else rolled.")
def cut(face: Face, take: int | None, confirm: str | None) -> int:
    """End the take of that number. Its number is the guard: alone, this only says which take runs.

    Where there are accounts, the end of somebody else's take is asked twice: at a terminal you are shown what it ends
    and say yes; a script is told a word, and says it within 10 s.
    """
    if take is None:
        try:
            group = face.client.post("cut", wait="verdict")
        except RefusalError as refused:
            return face.no(Exit.UNCLEAR, str(refused), refused.remedy, refused.code)
    else:
        group = _confirmed(face, {"take": take}, confirm or "")
    return ended(face, group, verdicts.rows(face, group))


def _confirmed(face: Face, body: Mapping[str, Any], word: str) -> Any:
    """Ask for a cut; what it would end is shown at a terminal, anew whenever the picture has changed meanwhile."""
    while True:
        try:
            return face.client.post("cut", body={**body, "confirm": word} if word else body, wait="verdict")
        except RefusalError as refused:
            if not refused.word or face.as_json or not sys.stdin.isatty():
                if refused.word:
                    refused.remedy = f"Within 10 s: stagectl cut {body['take']} --confirm {refused.word}"
                raise
            print(f"{refused} To end it, type yes: ", end="", file=sys.stderr, flush=True)
            if sys.stdin.readline().strip().casefold() != "yes":
                raise RefusalError("Left as it is.", code="confirm", status=428) from refused
            word = refused.word


@client_verb("slate", acts=True)
@click.argument("name", nargs=-1)
@click.option("--none", "no", is_flag=True, help="No slate.")
@click.option("--take", type=click.IntRange(1), help="Of this take, which is written; else of the next.")
@click.option("--number", type=click.IntRange(1), help="With --take: its number there; else the next that is free.")
def slate(face: Face, name: tuple[str, ...], no: bool, take: int | None, number: int | None) -> int:
    """Name the next take. Where the site counts takes per slate, the name stands until another is said.

    With --take it is corrected in a take that is written, which keeps how it was.
    """
    if bool(name) is no or (number is not None and take is None):
        return face.no(Exit.UNCLEAR, "Which slate?", "Give a name, or --none; --number goes with --take.", "argument")
    body: dict[str, Any] = {"name": " ".join(name)}
    if number is not None:
        body["slate_take"] = number
    path = ("takes", "slate") if take is None else ("takes", take, "slate")
    answer = face.client.post(*path, body=body)
    face.answer(answer, [answer["say"]])
    return Exit.DONE


@client_verb("correct", acts=True)
@click.argument("take", type=click.IntRange(1))
@click.argument("mark", type=click.IntRange(1))
@click.argument("text", nargs=-1)
@click.option("--kind", type=click.Choice(["good", "problem", "note"]), help="What it marks.")
@click.option("--strike/--unstrike", default=None, help="It counts no more, or again.")
def correct(  # noqa: PLR0917 - what its line may hold
    face: Face, take: int, mark: int, text: tuple[str, ...], kind: str | None, strike: bool | None
) -> int:
    """Correct MARK of TAKE, by its number in `stagectl take N`. TEXT is what it says then.

    How it was, who corrected it and when is kept. A slate is corrected by `stagectl slate NAME --take N`, a rating by
    `stagectl good N --not`.
    """
    found = {"note": " ".join(text) if text else None, "kind": kind, "struck": strike}
    body = {name: value for name, value in found.items() if value is not None}
    if not body:
        return face.no(Exit.UNCLEAR, "What is to be corrected?", "Give TEXT, --kind or --strike.", "argument")
    answer = face.client.post("takes", take, "marks", mark, body=body)
    face.answer(answer, [answer["say"]])
    return Exit.DONE


@client_verb("good", acts=True)
@click.argument("take", type=click.IntRange(1))
@click.option("--not", "no", is_flag=True, help="Take the mark back.")
def good(face: Face, take: int, no: bool) -> int:
    """Mark a take good."""
    answer = face.client.post("takes", take, "marks", body={"good": not no})
    face.answer(answer, [answer["say"]])
    return Exit.DONE


@client_verb("note", acts=True)
@click.argument("text", nargs=-1, required=True)
@click.option("--take", type=click.IntRange(1), help="To this take; else to the one that runs or ran last.")
def note(face: Face, text: tuple[str, ...], take: int | None) -> int:
    """Write a note to a take; while it rolls, with its timecode."""
    return _marked(face, take, {"note": " ".join(text)})


@client_verb("mark", acts=True)
@click.argument("kind", type=click.Choice(["good", "problem"]))
@click.argument("text", nargs=-1)
@click.option("--take", type=click.IntRange(1), help="In this take; else in the one that runs or ran last.")
def mark(face: Face, kind: str, text: tuple[str, ...], take: int | None) -> int:
    """Mark this place in a take as good or a problem.

    The mark holds the timecode of this moment while the take rolls. TEXT says what is there.
    """
    note = {"note": " ".join(text)} if text else {}
    return _marked(face, take, {"kind": kind, **note})


def _marked(face: Face, take: int | None, body: Mapping[str, Any]) -> int:
    """Write to that take, or to the one that runs or ran last."""
    if take is None:
        now = face.client.get("now")
        running = now.get("take")
        take = running["take"] if running else now["next"]["take"] - 1
        if not take:
            return face.no(Exit.UNCLEAR, "There is no take yet to write to.", "Roll one first.", "take")
    answer = face.client.post("takes", take, "marks", body=dict(body))
    face.answer(answer, [answer["say"]])
    return Exit.DONE
