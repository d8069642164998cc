"""Which verb brings pictures to where they are seen? One at once, or many planned together and then taken."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import click

from stagectl.cli import verdicts
from stagectl.cli.acts import ended
from stagectl.cli.client import RefusalError
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.reads import shown
from stagectl.cli.settings import picked, set_value
from stagectl.cli.tables import columns, frames


@client_verb("route", waits_for="proof from the routers", acts=True)
@click.argument("words", nargs=-1, required=True, metavar="DEST SRC | plan DEST=SRC..")
@click.option("--level", metavar="LEVEL", help="Only this: video, sound. Else all that both have.")
@click.option("--take", is_flag=True, help="With plan: do it, if every destination found a way.")
def route(face: Face, words: tuple[str, ...], level: str | None, take: bool) -> int:
    """Bring a source to a destination, through tie-lines where needed.

    As in: stagectl route director wide. With `plan`, ways for many are found together and shown, and nothing is
    switched: stagectl route plan director=wide program=hands. Where routers switch sound beside pictures, both go
    together; --level sound moves the sound alone.
    """
    site = face.client.get("site")
    at = f" at {_level(level, site.get('levels') or [])}" if level is not None else ""
    if words[0] == "plan":
        return _plan(face, [f"{_pair(word, site)}{at}" for word in words[1:]], take=take)
    if len(words) != 2 or take:
        raise click.UsageError("Name a destination and a source, or: plan DEST=SRC ...")
    name = picked(words[0], site["destinations"], "destination")
    source = picked(words[1], site["sources"], "picture source")
    if not site.get("levels"):
        return set_value(face, "paths", f"{name}.shows", source)
    body = {"target": "paths", "verb": "route", "args": {"routes": f"{name} = {source}{at}"}}
    group = face.client.post("commands", body=body, wait="verdict")
    return ended(face, group, [*verdicts.rows(face, group), now_at(name, face.client.get("points", device="paths"))])


def _level(word: str, levels: Sequence[str]) -> str:
    if not levels:
        raise RefusalError("The routers of this site switch pictures alone.", "Leave --level out.", "argument", 422)
    return picked(word, list(levels), "level")


def now_at(name: str, told: Mapping[str, Any]) -> str:
    """What a destination has at each level, in a sentence; picture and sound of two sources are told as such."""
    points = {point["name"]: point for point in told["points"]}
    has = [
        (key.split(".")[1:-1], shown(point))
        for key, point in points.items()
        if key.startswith(f"{name}.") and key.endswith(".shows")
    ]
    said = ", ".join(f"{level[0] if level else 'video'} of {source}" for level, source in has)
    apart = points.get(f"{name}.break_away", {}).get("value")
    return f"Now {name} has {said}{': a break-away' if apart else ''}."


def _pair(word: str, site: Mapping[str, Any]) -> str:
    destination, is_one, source = word.partition("=")
    if not is_one or not destination or not source:
        raise click.UsageError(f'"{word}" is no route. Write it like director=wide.')
    name = picked(destination, site["destinations"], "destination")
    return f"{name} = {picked(source, site['sources'], 'picture source')}"


def _plan(face: Face, routes: Sequence[str], *, take: bool) -> int:
    if not routes:
        raise click.UsageError("Name what shall be planned, like director=wide.")
    plan = face.client.post("routes", "plan", body={"routes": list(routes)})
    lines = [
        *_rows(plan["rows"]),
        *plan.get("notes", ()),
        *([f"Free afterwards: {', '.join(plan['freed'])}."] if plan["freed"] else []),
    ]
    if plan["served"] < plan["of"] or not take:
        face.answer(plan, [*lines, plan["say"]])
        return Exit.DONE if plan["served"] == plan["of"] else Exit.NO
    body = {"target": "paths", "verb": "route", "args": {"routes": plan["routes"]}}
    group = face.client.post("commands", body=body, wait="verdict")
    return ended(face, group, [*lines, *verdicts.rows(face, group)])


def _rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    table = []
    for row in rows:
        if row["why"]:
            told = " ".join(filter(None, ("NO WAY.", row["why"], row["remedy"])))
        else:
            notes = [frames(row["delay"])] if row["delay"] else []
            notes += ["so already"] if row["stands"] else []
            told = " > ".join(row["way"]) + (f" ({', '.join(notes)})" if notes else "")
        table.append((f"  {row['destination']} {row.get('level', '')}".rstrip(), row["source"], f" {told}"))
    return columns(table)
