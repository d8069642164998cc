"""What is so now? The verbs that only read: now, wrong, paths, kit, points, journal."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.names import device_named
from stagectl.cli.tables import columns, local

MARKS: Final[Mapping[str, str]] = {"stale": "~", "unknown": "-", "asked": "..."}  # beside a value that is not good


@client_verb("now")
def now(face: Face) -> int:
    """What is happening: the sentence, and what is wrong."""
    answer = face.client.get("now")
    text = [face.strong(answer["say"]), *wrong_rows(answer["wrong"]), *rise_rows(answer.get("rises", ()))]
    if answer["take"] is None and answer["last"]:
        text.append(answer["last"])
    if answer.get("desk"):
        text.append(answer["desk"])
    face.answer(answer, text)
    return Exit.DONE


def wrong_rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """What is wrong, a line each: `!` at once, `^` soon."""
    return [" ".join(filter(None, ("!" if row["grade"] == "now" else "^", row["say"], row["remedy"]))) for row in rows]


def rise_rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Levels on their way up, a line each, with what is typed to stop one where it is."""
    return [
        f'{row["say"]} To stop it there: stagectl level "{row["point"].removesuffix(".level").replace(".", " ")}" stop'
        for row in rows
    ]


@client_verb("paths")
def paths(face: Face) -> int:
    """What each destination shows, and by which way."""
    shows: dict[str, Mapping[str, Any]] = {}
    ways: dict[str, Mapping[str, Any]] = {}
    apart: dict[str, None] = {}
    for point in face.client.get("points", device="paths")["points"]:
        name, _, what = point["name"].rpartition(".")
        place = name.replace(".", " ")  # "program sound": at another level
        if what in ("shows", "way"):
            (shows if what == "shows" else ways)[place] = point
        elif what == "break_away" and point["value"]:
            apart[place] = None
    names = list(dict.fromkeys(name.partition(" ")[0] for name in shows))  # its levels stand below each other
    table = [
        (
            name,
            "has" if " " in name else "shows",
            f"{shown(point)}{', a break-away' if name in apart else ''}",
            f" {shown(ways[name])}",
        )
        for name, point in sorted(shows.items(), key=lambda one: names.index(one[0].partition(" ")[0]))
        if name in ways
    ]
    data = {name: {"shows": point["value"], "quality": point["quality"]} for name, point in shows.items()}
    for name in apart:
        data[name]["break_away"] = True
    for name, point in ways.items():
        data.setdefault(name, {})["way"] = point["value"]
    face.answer({"paths": data}, columns(table) or ["This site has no picture destinations."])
    return Exit.DONE


def shown(point: Mapping[str, Any]) -> str:
    """A value as people read it, with its unit, and a mark if it is not known well."""
    value, mark = point["value"], MARKS.get(point["quality"], "")
    if value is None:
        return "not known"
    told = ("yes" if value else "no") if isinstance(value, bool) else str(value)
    if isinstance(value, float):
        told = f"{value:.2f}".rstrip("0").rstrip(".")
    unit = point.get("unit") or ""
    return " ".join(filter(None, (told, unit if not isinstance(value, bool | str) else "", mark)))


@client_verb("kit")
@click.argument("box", required=False)
def kit(face: Face, box: str | None) -> int:
    """Is each box there, and how do we know? With BOX: all of it."""
    devices = face.client.get("devices")["devices"]
    if box is None:
        table = [
            ("box", "called", "kind", "address", "is", ""),
            *((one["id"], one["called"], one["box"], one["at"], _is(one), one["why"]) for one in devices),
        ]
        face.answer({"devices": devices}, columns(table))
        return Exit.DONE
    whole = face.client.get("devices", device_named(box, devices))
    counts = ", ".join(f"{name} {number}" for name, number in whole["counts"].items())
    head = [
        f"{whole['called']} is {whole['id']}, a {whole['box']} at {whole['at']}: {_is(whole)}.",
        *([f"{whole['why']}."] if whole["why"] else []),
        f"On the wire: {counts}.",
    ]
    face.answer(whole, [*head, *_points(whole["points"], with_device=False)])
    return Exit.DONE


def _is(device: Mapping[str, Any]) -> str:
    if device["quarantined"]:
        return "left alone"
    if not device["up"]:
        return "not reached"
    return str(device["health"]) if device["adopted"] else "being read"


@client_verb("points")
@click.argument("device", required=False)
def points(face: Face, device: str | None) -> int:
    """Every value that is known, or those of one box or part."""
    wanted = device
    if device is not None:
        parts = face.client.get("site")["parts"]
        wanted = device if device in parts else device_named(device, face.client.get("devices")["devices"], parts)
    answer = face.client.get("points", device=wanted)
    face.answer(answer, _points(answer["points"], with_device=device is None))
    return Exit.DONE


def _points(found: Iterable[Mapping[str, Any]], *, with_device: bool) -> list[str]:
    table = []
    for point in found:
        name = point["name"].replace(".", " ")
        by = f"by {'a hand at the box' if point['by'] == 'box' else point['by']}" if point["by"] else ""
        called = f"{point['device']} {name}" if with_device else f"  {name}"
        table.append((called, shown(point), local(point["at"]), by))
    return columns(table)
