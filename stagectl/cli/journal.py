"""What does the journal hold, and is it whole? Live from the daemon, or from the files of a data folder."""

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.tables import columns, local


@client_verb("journal")
@click.argument("act", required=False, type=click.Choice(["verify", "export"]))
@click.argument("data", required=False, type=click.Path(path_type=Path), metavar="[DATA]")
@click.option("--count", type=click.IntRange(1, 1000), default=20, show_default=True, help="The newest so many.")
@click.option("--since", type=click.IntRange(0), help="Those after this number instead.")
def journal(face: Face, act: str | None, data: Path | None, count: int, since: int | None) -> int:
    """Who did what, when, and how it ended.

    "journal verify DATA" checks every line of the files in a data folder, daemon running or not; exit 6 if anything
    is damaged. "journal export DATA" writes all records that are whole, a JSON object a line. DATA may be left out if
    STAGECTL_DATA names the folder.
    """
    if act is None:
        return _shown(face, count, since)
    named = data if data is not None else Path(os.environ.get("STAGECTL_DATA", ""))
    if data is None and not os.environ.get("STAGECTL_DATA"):
        return face.no(Exit.UNCLEAR, "Which data folder?", f"Say: stagectl journal {act} DATA", "data")
    if not named.is_dir():
        return face.no(Exit.UNCLEAR, f"There is no folder {named}.", "Name the one that `serve` has as --data.", "data")
    try:
        return _verified(face, named) if act == "verify" else _exported(face, named, since or 0)
    except PermissionError as error:
        return face.no(Exit.UNCLEAR, f"{named} can't be read: {error.strerror}.", "Ask as its owner.", "data")


def _shown(face: Face, count: int, since: int | None) -> int:
    answer = face.client.get("journal", count=count, since=since)
    rows = [
        (
            str(entry["n"]),
            local(entry["at"]),
            entry["kind"],
            entry["who"] or "-",
            entry.get("say") or _told(entry["data"]),
        )
        for entry in answer["entries"]
    ]
    face.answer(answer, columns(rows, right=[0]) or ["The journal holds nothing new."])
    return Exit.DONE


def _told(data: Mapping[str, Any]) -> str:
    """A record's data as words, where the daemon has no sentence for it: it is of use to a program."""
    words = []
    for name, value in data.items():
        if value in ("", None, [], {}):
            continue
        told = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        words.append(f"{name} {told}")
    text = ", ".join(words)
    return text if len(text) <= 160 else f"{text[:157]}..."


def _verified(face: Face, data: Path) -> int:
    from stagectl.cli.folder import Folder, checked

    report = checked(Folder(data))
    damage = [{"segment": one.segment, "line": one.line, "what": one.what, "known": one.known} for one in report.damage]
    whole = report.whole and not report.newer
    one = "1 segment" if report.segments == 1 else f"{report.segments} segments"
    starts = "1 start" if report.epoch == 1 else f"{report.epoch} starts"
    counted = f"{report.records} records in {one}, {starts}"
    say = f"{data}: {counted}; {'every line is whole' if whole else 'it is damaged'}."
    rows = [f"{'.' if one.known else '!'} {one}{_known(known=one.known)}" for one in report.damage]
    remedy = [] if whole else ["What is whole stays in use. Keep the folder as it is, and look at its disk."]
    told = {
        "say": say,
        "whole": whole,
        "segments": report.segments,
        "records": report.records,
        "doubled": report.doubled,
        "starts": report.epoch,
        "last": report.last,
        "chain": report.chain,
        "damage": damage,
    }
    face.answer(told, [*rows, say, *remedy])
    return Exit.DONE if whole else Exit.NO


def _known(*, known: bool) -> str:
    return " A later start went on from before it, as after a power cut." if known else ""


def _exported(face: Face, data: Path, since: int) -> int:
    """Every whole record as one JSON object a line; what is damaged is told by `verify`."""
    from stagectl.cli.folder import Folder
    from stagectl.control.chronicle import stamp
    from stagectl.control.journal_replay import Walk

    walk = Walk(Folder(data))
    for record in walk.records():
        if record.n > since:
            told = {
                "n": record.n,
                "at": stamp(record.wall),
                "mono": record.mono,
                "epoch": record.epoch,
                "kind": record.kind,
                "who": record.who,
                "data": record.data,
                "chain": record.chain,
            }
            print(json.dumps(told, ensure_ascii=False))
    if walk.report.whole:
        return Exit.DONE
    return face.no(
        Exit.NO, "The journal is damaged; what is whole was written.", f"See: stagectl journal verify {data}"
    )
