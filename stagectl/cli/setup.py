"""Which verbs compare, apply, undo and keep set-ups?"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import click

from stagectl.cli import verdicts
from stagectl.cli.acts import ended
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.tables import columns

PARTS: Final = ("paths", "stations", "setups")


@click.group("setup")
def setup() -> None:
    """How the studio should be: list, diff, apply, undo, capture."""


@client_verb("setup list")
def setup_list(face: Face) -> int:
    """The set-ups, how much of each differs now, and what changed away from the one that was applied."""
    answer = face.client.get("setups")
    rows = [
        (("> " if one["name"] == answer["held"] else "  ") + one["name"], one["called"], _differs(one), _more(one))
        for one in answer["setups"]
    ]
    drifts = [f"  ~ {one['say']}" for one in answer["drifts"]]
    face.answer(answer, [*(columns(rows) or ["This site has no set-up."]), answer["say"], *drifts])
    return Exit.DONE


def _differs(one: Mapping[str, Any]) -> str:
    if one["problem"]:
        return "can't be read"
    told = [f"{one['differ']} of {one['values']} differ"]
    if one["unknown"]:
        told.append(f"{one['unknown']} can't be told")
    return ", ".join(told)


def _more(one: Mapping[str, Any]) -> str:
    if one["problem"]:
        return str(one["problem"])
    return f"versions: {', '.join(one['versions'])}" if one["versions"] else str(one["about"])


_only = click.option("--only", multiple=True, metavar="PART", help='A part of it: paths, iso, "mixer strip 5".')


@client_verb("setup diff")
@click.argument("name")
@_only
def setup_diff(face: Face, name: str, only: Sequence[str]) -> int:
    """What differs from a set-up, in the order in which it would be put right. NAME@VERSION means a version."""
    answer = face.client.get("setups", name, "diff", only=", ".join(only))
    face.answer(answer, [*_rows(answer["rows"]), answer["say"]])
    truths = {row["truth"] for row in answer["rows"]}
    return Exit.NO if "no" in truths else Exit.UNKNOWN if "unknown" in truths else Exit.DONE


def _rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Sentences under their headings; what only a person can do, and what is left alone, comes last."""
    told: list[str] = []
    heading = ""
    here = [row for row in rows if row["say"] and not row["by_hand"] and not row["refused"]]
    for row in here:
        if row["stage"] != heading:
            heading = row["stage"]
            told.append(f"{'Then' if told else 'First'} {heading}:")
        told.append(f"  {row['say']}")
    for title, which in (("Left alone:", "refused"), ("At the box:", "by_hand")):
        some = [f"  {row['say']}" for row in rows if row["say"] and row[which]]
        told.extend([title, *some] if some else [])
    return told


@client_verb("setup apply", waits_for="proof from the boxes", acts=True)
@click.argument("name")
@_only
def setup_apply(face: Face, name: str, only: Sequence[str]) -> int:
    """Put right what differs from a set-up, and nothing else; wait for proof. NAME@VERSION means a version."""
    group = face.client.post("setups", name, "apply", body={"only": list(only)}, wait="verdict")
    return ended(face, group, _bad(group))


@client_verb("setup undo", waits_for="proof from the boxes", acts=True)
@click.option("--dry", is_flag=True, help="Only say what would be put back.")
def setup_undo(face: Face, dry: bool) -> int:
    """Put back what the last apply changed. What somebody else changed since stays as it is."""
    told = face.client.get("setups", "undo")
    if dry:
        face.answer(told, [*(f"  {one}" for one in (*told["back"], *told["left"])), told["say"]])
        return Exit.DONE
    group = face.client.post("setups", "undo", wait="verdict")
    return ended(face, group, [*(f"  {one[:1].upper()}{one[1:]}" for one in told["left"]), *_bad(group)])


def _bad(group: Mapping[str, Any]) -> list[str]:
    """A line for each box's part of a press that did not end well; what was held back by another one is counted."""
    rows = [box for box in group["boxes"] if box["ended"] not in verdicts.WELL]
    of_boxes = [box for box in rows if box["device"] not in PARTS or box["refused"]]
    rows = of_boxes or rows  # a part shows what its boxes show
    held = sum(box["code"] == "held-back" for box in rows)
    told = dict.fromkeys(f"  {box['say']}" for box in rows if box["code"] != "held-back")
    return [*told, f"  {held} more were held back by that."] if held else list(told)


@client_verb("setup capture", acts=True)
@click.argument("name")
@click.option("--of", multiple=True, metavar="PART", help='Only this part: paths, iso, "mixer strip 5".')
@click.option("--add", is_flag=True, help="Also what the set-up says nothing of; makes a new set-up.")
@click.option("--version", default="", metavar="NAME", help="Keep what is written under this name too.")
@click.option("--called", default="", metavar="TEXT", help="What people call a new set-up.")
@click.option("--dry", is_flag=True, help="Only say what would be written.")
def setup_capture(face: Face, name: str, *, of: Sequence[str], add: bool, version: str, called: str, dry: bool) -> int:
    """Write what the boxes show now into a set-up's file, a line for each value that changed."""
    body = {"of": list(of), "add": add, "version": version, "called": called, "dry": dry}
    answer = face.client.post("setups", name, "capture", body=body)
    unknown = [f"  {one}: can't be told" for one in answer["unknown"]]
    face.answer(answer, [*(f"  {one['say']}" for one in answer["changes"]), *unknown, answer["say"]])
    return Exit.UNKNOWN if answer["unknown"] else Exit.DONE


for _name, _verb in (
    ("list", setup_list),
    ("diff", setup_diff),
    ("apply", setup_apply),
    ("undo", setup_undo),
    ("capture", setup_capture),
):
    setup.add_command(_verb, _name)
