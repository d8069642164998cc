"""Which verbs say whether the house is ready? Line-up, clock, media."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.tables import columns, local
from stagectl.cli.verdicts import sentence

_MARKS: Final[Mapping[str, str]] = {"pass": "pass", "fail": "FAIL", "not known": "NOT KNOWN"}
_BY: Final[Mapping[str, str]] = {"codec": "by its codec", "measured": "as measured", "the box": "by the box"}


@client_verb("lineup", waits_for="every box to answer", acts=True)
@click.argument("words", nargs=-1, metavar="[waive CHECK]")
@click.option("--because", default="", metavar="TEXT", help="With waive: why it may pass; left out: take it back.")
@click.option("--all", "whole", is_flag=True, help="Also what passes: the sheet to print.")
def lineup(face: Face, words: tuple[str, ...], because: str, whole: bool) -> int:
    """Ask every box, and say what is not ready, with what to do.

    Nothing is changed in any box. A check may be waived for this shoot, with a
    reason: stagectl lineup waive iso-2.timecode --because "it is not used"
    """
    if words and (words[0] != "waive" or len(words) != 2):
        raise click.UsageError("Say lineup alone, or: lineup waive CHECK --because TEXT")
    if words:
        told = face.client.post("lineup", "waivers", body={"check": words[1], "because": because})
    else:
        told = face.client.post("lineup")
    rows = [row for row in told["rows"] if whole or row["stands"] != "pass"]
    face.answer(told, [*_lineup_rows(rows), f"{told['say']} {local(told['at'], day=True)}"])
    return Exit.DONE if told["ready"] else Exit.NO


def _lineup_rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    table = []
    for row in rows:
        waiver = row["waiver"]
        mark = "waived" if waiver else _MARKS[row["stands"]]
        told = row["found"] if row["stands"] == "pass" else sentence(f"{row['found']}.", str(row["remedy"]))
        if waiver:
            told = f"{told} Waived by {waiver['by'] or 'somebody'}: {waiver['because']}."
        may = "" if row["must"] else " (no must)"
        table.append((mark, f" {row['called']}", f"{row['check']}{may}", f" {told}"))
    return columns(table)


@client_verb("clock", waits_for="the timecodes to be compared")
@click.option("--last", is_flag=True, help="As last compared: ask no recorder anew.")
def clock(face: Face, last: bool) -> int:
    """Is every recorder on the same timecode? Sampled for two seconds."""
    told = face.client.get("clock") if last else face.client.post("clock")
    rows = [
        (
            row["called"],
            row["label"] or "-",
            row["rate"] or "-",
            _offset(row),
            _drift(row),
            f" {row['state']}{': ' + row['why'] if row['why'] else ''}",
        )
        for row in told["clocks"]
    ]
    against = told["reference"]
    head = ("recorder", "timecode", "rate", "frames apart", "frames/hour", "")
    foot = f"Compared to {against}, {told['reference_by']}." if against else "There is nothing to compare them to."
    face.answer(told, [*columns([head, *rows], right=[3, 4]), foot])
    return Exit.DONE if all(row["state"] == "in step" for row in told["clocks"]) else Exit.NO


def _offset(row: Mapping[str, Any]) -> str:
    return "-" if row["offset"] is None else f"{row['offset'] + 0.0:+.2f} ±{row['give']:.2f}"


def _drift(row: Mapping[str, Any]) -> str:
    return "-" if row["drift"] is None else f"{row['drift']:+.1f}"


@client_verb("media")
def media(face: Face) -> int:
    """How long can every recorder go on, and is it enough for the day?"""
    told = face.client.get("media")
    rows = []
    for row in told["media"]:
        slots = ", ".join(
            f"{slot['name'] or 'slot ' + str(slot['slot'])} {_long(slot['left'])}" for slot in row["slots"]
        )
        enough = {True: "enough", False: "NOT ENOUGH", None: "NOT KNOWN"}[row["enough"]]
        notes = [row["why"], f"writes {row['writes']}" if row["writes"] in ("nothing", "at another rate") else ""]
        by = _BY.get(row["basis"], "") if row["left"] is not None else ""
        rows.append((row["called"], _long(row["left"]), by, enough, f" {'; '.join(filter(None, [slots, *notes]))}"))
    plan = [f"Planned: {_plan(told)}, with {told['spare']:.0%} to spare."] if told["planned"] else []
    face.answer(told, [*(columns(rows, right=[1]) or ["This site has no recorder."]), *plan])
    return Exit.NO if any(row["enough"] is not True for row in told["media"]) else Exit.DONE


def _plan(told: Mapping[str, Any]) -> str:
    takes = [f"{one['times']} x {one['take']}" for one in told["plan"] if one["times"]]
    return f"{_long(told['planned'])} ({', '.join(takes)})"


def _long(seconds: float | None) -> str:
    """As people say it: "5 h 25 min", "45 min"."""
    if seconds is None:
        return "not known"
    minutes = int(seconds // 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
