"""Which verbs copy clips off the recorders? Plan, run, stop, status, verify, report."""

import select
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

import click

from stagectl.cli.client import LostError, RefusalError, UnreachedError
from stagectl.cli.codes import Exit
from stagectl.cli.days import days_option
from stagectl.cli.face import Face, client_verb, progress
from stagectl.cli.tables import columns, width

LOOK_S: Final = 0.5  # between two looks at a run
TELL_S: Final = 5.0  # between two plain lines
GONE_S: Final = 60.0  # a daemon that is away for longer is not waited for
CLEAR_LINE: Final = "\r\x1b[2K"
_UNITS: Final = ((10**12, "TB"), (10**9, "GB"), (10**6, "MB"), (10**3, "kB"))
_KINDS: Final = (
    # kind in the answer, heading
    ("failed", "Could not be copied:"),
    ("open", "Not copied yet:"),
    ("missing", "In a take, and on no recorder that was listed:"),
    ("doubtful", "Copied, with a doubt:"),
)


@click.group("copy")
def copy() -> None:
    """Copy clips off the recorders: plan, run, verify, report."""


def _which(verb: Callable[..., int]) -> Callable[..., int]:
    """Options that say which clips are meant."""
    recorder = click.option("--recorder", "recorders", multiple=True, metavar="BOX", help="Of these; groups too.")
    take = click.option("--take", "takes", type=click.IntRange(1), multiple=True, help="Of these takes.")
    return recorder(take(days_option(verb)))


@client_verb("copy plan", waits_for="the recorders' lists of clips", acts=True)
@_which
def copy_plan(face: Face, recorders: Sequence[str], takes: Sequence[int], days: Sequence[str]) -> int:
    """What would be copied, in which order, to where, and does it fit?

    Every recorder is asked for its clips anew; nothing is copied.
    """
    told = face.client.post("copy", "plan", body=_meant(recorders, takes, days))
    rows = [
        (_take(row), row["called"], row["clip"], size(row["size"]), f" {copied['place']}: {copied['path']}")
        for row in told["rows"]
        for copied in row["copies"]
        if copied["state"] != "published"
    ]
    more = [f"and {told['clips'] - len(told['rows'])} more"] if told["clips"] > len(told["rows"]) else []
    fits = [place["why"] or f"{place['name']}: {_room(place)}" for place in told["places"]]
    silent = [f"{one['called']} is not listed: {one['why']}" for one in told["silent"]]
    face.answer(told, [*columns(rows, right=[3]), *more, *fits, *silent, told["say"]])
    return Exit.NO if silent or any(place["why"] for place in told["places"]) else Exit.DONE


def _take(row: Mapping[str, Any]) -> str:
    if row["take"] is None:
        return "-"
    return f"take {row['take']}{' good' if row['good'] else ''}"


def _room(place: Mapping[str, Any]) -> str:
    free = "it does not tell its room" if place["free"] is None else f"{size(place['free'])} left"
    return f"{place['called']}, {free}."


@client_verb("copy run", acts=True)
@_which
@click.option("--no-wait", is_flag=True, help="Do not wait for its end.")
def copy_run(face: Face, recorders: Sequence[str], takes: Sequence[int], days: Sequence[str], *, no_wait: bool) -> int:
    """Copy what is not copied yet, verified, and wait for the end.

    Nothing is overwritten and nothing is deleted. A recorder that records is left alone until it has ended. Ctrl-C ends
    the waiting only: to end the run, say stagectl copy stop.
    """
    run = face.client.post("copy", "runs", body=_meant(recorders, takes, days))
    if no_wait:
        face.answer(run, [run["say"]])
        return Exit.DONE
    run = _until_ended(face, run)
    failed = face.client.get("copy", "report")["failed"] if run["outcome"] == "failed" else {"rows": []}
    face.answer(run, [*_rows(failed["rows"]), run["say"]])
    return Exit.DONE if run["outcome"] == "done" else Exit.FAILED


@client_verb("copy stop", acts=True)
def copy_stop(face: Face) -> int:
    """End the run or the verification that goes; what is begun is gone on with by the next one."""
    run = face.client.post("copy", "stop")
    run = _until_ended(face, run)
    face.answer(run, [run["say"]])
    return Exit.DONE


@client_verb("copy status")
def copy_status(face: Face) -> int:
    """How far is it, what waits, and what is safe to clear?"""
    told = face.client.get("copy")
    run = told["run"]
    now = [_deck(deck) for deck in run["recorders"] if deck["busy"] != "idle"] if run and not run["ended"] else []
    decks = [f"  {' '.join(filter(None, (one['say'], one['clear_say'])))}" for one in told["recorders"]]
    places = [f"  {place['name']} is {place['called']}" for place in told["places"]]
    face.answer(told, [face.strong(told["say"]), *columns(now), *decks, *places, told["schedule"]])
    return Exit.DONE


def _deck(deck: Mapping[str, Any]) -> tuple[str, ...]:
    if deck["busy"] == "copying" and deck["of"]:
        done = f"{size(deck['done'])} of {size(deck['of'])}"
        return (f"  {deck['called']}", deck["busy"], deck["clip"], f" {done}, {size(deck['rate'])}/s")
    return (f"  {deck['called']}", deck["busy"], deck["clip"], f" {deck['why']}")


@client_verb("copy verify", acts=True)
@click.argument("places", nargs=-1, metavar="[PLACE..]")
def copy_verify(face: Face, places: Sequence[str]) -> int:
    """Read all copies again, and compare them with the histories that stand beside them."""
    run = _until_ended(face, face.client.post("copy", "verify", body={"places": list(places)}))
    found = [
        (f"  {name}", one["what"], one["path"], f" {one['why']}")
        for name, told in run["found"].items()
        for one in told["findings"]
    ]
    face.answer(run, [*columns(found), run["say"]])
    return {"done": Exit.DONE, "failed": Exit.NO}.get(run["outcome"], Exit.FAILED)


@client_verb("copy report")
@_which
def copy_report(face: Face, recorders: Sequence[str], takes: Sequence[int], days: Sequence[str]) -> int:
    """What is missing, doubtful or double, and what is safe to clear? From what is known; no recorder is asked."""
    told = face.client.get(
        "copy", "report", recorder=",".join(recorders), take=",".join(map(str, takes)), day=",".join(days)
    )
    lines: list[str] = []
    for kind, heading in _KINDS:
        if told[kind]["count"]:
            lines += [heading, *_rows(told[kind]["rows"])]
            if (more := told[kind]["count"] - len(told[kind]["rows"])) > 0:
                lines.append(f"  and {more} more")
    if told["double"]["count"]:
        lines.append("The same bytes stand in:")
        lines += [f"  {', '.join(_clip(clip) for clip in one['clips'])}" for one in told["double"]["rows"]]
    decks = [" ".join(filter(None, (one["say"], one["clear_say"]))) for one in told["recorders"]]
    face.answer(told, [*lines, *decks, told["say"]])
    return Exit.NO if any(told[kind]["count"] for kind, _ in _KINDS) else Exit.DONE


def _rows(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """A line for each clip, with why each of its copies is not there or in doubt."""
    table = []
    for row in rows:
        copies = row.get("copies", ())
        why = dict.fromkeys(one["why"] or one["doubt"] for one in copies if one["why"] or one["doubt"])
        take = f"take {row['take']}" if row["take"] is not None else "-"
        table.append((f"  {row['called']}", row["clip"], take, f" {' '.join(why)}"))
    return columns(table)


def _clip(row: Mapping[str, Any]) -> str:
    return f"{row['called']} {row['clip']}"


def _meant(recorders: Sequence[str], takes: Sequence[int], days: Sequence[str]) -> dict[str, Any]:
    return {"recorders": list(recorders), "takes": list(takes), "days": list(days)}


def size(count: float) -> str:
    """Bytes as people read them: "83.2 GB"."""
    for one, unit in _UNITS:
        if count >= one:
            return f"{count / one:.1f} {unit}"
    return f"{count:.0f} bytes"


def _until_ended(face: Face, run: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a run to its end, through a restart of the daemon too; how far it is goes to stderr."""
    line = _Line(drawn=sys.stderr.isatty() and not face.plain, silent=face.as_json)
    away = 0.0
    while not run["outcome"]:
        line.say(run["say"])
        select.select([], [], [], LOOK_S)
        try:
            run = face.client.get("copy", "runs", run["id"])
            away = 0.0
        except (UnreachedError, LostError):
            away += LOOK_S
            if away > GONE_S:
                raise
            line.say("stagectl is not reached. Copying goes on where it was when it runs again.")
        except RefusalError as refused:
            if refused.code != "run":
                raise
            return _ended_unseen(face, run)  # it ended before a restart
    line.end()
    return run


def _ended_unseen(face: Face, run: Mapping[str, Any]) -> Mapping[str, Any]:
    """What stands tells how it ended."""
    told = face.client.get("copy")
    failed = any(one["failed"] for one in told["recorders"])
    waiting = any(one["waiting"] for one in told["recorders"])
    outcome = "failed" if failed else "stopped" if waiting else "done"
    return {**run, "say": told["say"], "outcome": outcome}


class _Line:
    """How far it is: one line that is drawn anew on a terminal, else a line now and then."""

    def __init__(self, *, drawn: bool, silent: bool) -> None:
        self._drawn = drawn
        self._silent = silent
        self._last = ""
        self._since = TELL_S

    def say(self, text: str) -> None:
        if self._silent:
            return
        self._since += LOOK_S
        if self._drawn:
            sys.stderr.write(CLEAR_LINE + text[: width() - 1])
            sys.stderr.flush()
        elif text != self._last and self._since >= TELL_S:
            progress(text)
            self._since, self._last = 0.0, text

    def end(self) -> None:
        if self._drawn and not self._silent:
            sys.stderr.write(CLEAR_LINE)
            sys.stderr.flush()


for _name, _verb in (
    ("plan", copy_plan),
    ("run", copy_run),
    ("stop", copy_stop),
    ("status", copy_status),
    ("verify", copy_verify),
    ("report", copy_report),
):
    copy.add_command(_verb, _name)
