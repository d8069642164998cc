"""What do takes look like in a terminal? The sheet, and one take with its lanes."""

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any, Final

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb, progress
from stagectl.cli.tables import between, columns, frames, local, long, width
from stagectl.cli.verdicts import offset

NAME_MOST: Final = 32
LISTS_S: Final = 3.0  # recorders tell the length of what they just ended so late at most, or are not waited for
AGAIN_S: Final = 0.25


@client_verb("takes")
@click.argument("words", nargs=-1, metavar="[show N | clips]")
@click.option("--count", type=click.IntRange(1, 500), default=20, show_default=True, help="The newest so many.")
def takes(face: Face, words: tuple[str, ...], count: int) -> int:
    """The sheet: all takes, the newest last.

    "no." is the number on the slate. With `show N`: one take, as `stagectl take N`. With `clips`: what the recorders
    hold beside the takes, with what is missing and what is nobody's.
    """
    match words:
        case ():
            return _sheet(face, count)
        case ("show", number) if number.isdecimal() and int(number):
            return show(face, int(number))
        case ("clips",):
            from stagectl.cli.clips import clips

            return clips(face)
    return face.no(Exit.UNCLEAR, f'"takes {" ".join(words)}" is not known.', "See: stagectl takes --help", "argument")


def _sheet(face: Face, count: int) -> int:
    answer = face.client.get("takes", count=count)
    rows: list[tuple[str, ...]] = [("take", "", "name", "no.", "rolled", "long", "boxes", "spread")]
    rows.extend(_line(take) for take in reversed(answer["takes"]))
    following = answer["next"]
    named = f', "{following["name"]}"' if following["name"] else ""
    text = columns(rows, right=[0, 3]) if answer["takes"] else ["No take yet."]
    face.answer(answer, [*text, f"Next: take {following['take']}{named}."])
    return Exit.DONE


def _line(take: Mapping[str, Any]) -> tuple[str, ...]:
    rolled, wanted = len({lane["device"] for lane in take["lanes"]}), len(take["wanted"])
    running = take["running"]
    return (
        str(take["take"]),
        "good" if take["good"] else "",
        _cut_off(take["name"] or "-"),
        str(take["slate_take"] or ""),
        local(take["opened"], day=True),
        "rolls" if running else long(between(take["opened"], take["closed"])),
        f"{rolled} of {wanted}" if wanted > rolled else str(rolled),
        _spread(take["spread"]),
    )


def _cut_off(name: str) -> str:
    return name if len(name) <= NAME_MOST else f"{name[: NAME_MOST - 3]}..."


def _spread(spread: Mapping[str, Any] | None) -> str:
    if spread is None:
        return ""
    return frames(spread["frames"]) + (f", give or take {spread['give']}" if spread["give"] else "")


@client_verb("take")
@click.argument("number", type=click.IntRange(1), metavar="N")
def take(face: Face, number: int) -> int:
    """One take: recorders, clips, first labels, what all share."""
    return show(face, number)


def show(face: Face, number: int) -> int:
    """Tell one take. "shared from" counts the frames of a clip from 0: there begins what all recorders hold."""
    one = _told_whole(face, number)
    text = [_title(one), *_slate(one), str(one["say"]), "", *_recordings(one)]
    if one["spread"] is not None:
        text.append(f"Spread {_spread(one['spread'])}, {one['spread']['of']} recorders.")
    text.extend([*_shared(one), *map(_mark, one["marks"]), *map(_mark, one["struck"])])
    text.extend(map(_correction, one["changes"]))
    if not face.plain:
        text.extend(["", *lanes(one, width())])
    face.answer(one, text)
    return Exit.DONE


def _told_whole(face: Face, number: int) -> Mapping[str, Any]:
    """The take; of one that ended a moment ago once its recorders told how long their clips are, if they do."""
    one: Mapping[str, Any] = face.client.get("takes", number)
    if not _lacks_lengths(one):
        return one
    from datetime import datetime

    from stagectl.driverkit.real import RealClock

    ended = datetime.fromisoformat(one["closed"])
    with asyncio.Runner() as runner:
        clock, said = RealClock(runner.get_loop()), False
        while abs((clock.wall() - ended).total_seconds()) < LISTS_S and _lacks_lengths(one):
            if not said:
                progress("Waiting for the recorders' clip lists. Ctrl-C ends the waiting only.")
                said = True
            runner.run(asyncio.sleep(AGAIN_S))
            one = face.client.get("takes", number)
    return one


def _lacks_lengths(one: Mapping[str, Any]) -> bool:
    """Has it ended, and some of its clips have no length?"""
    return not one["running"] and not all(lane["length"] for lane in one["lanes"])


def _title(one: Mapping[str, Any]) -> str:
    name = f" {one['name']}" if one["name"] else ""
    good = ", good" if one["good"] else ""
    by = f", by {one['by']}" if one["by"] else ""
    return f"Take {one['take']}{name}{good}. Rolled {local(one['opened'], day=True)}{by}."


def _shared(one: Mapping[str, Any]) -> list[str]:
    """What all share, and what an editor must know; while it rolls, who is not in it."""
    overlap = one["overlap"]
    if overlap is None:
        absent = [device for device in one["wanted"] if device not in {lane["device"] for lane in one["lanes"]}]
        return [f"Not in it: {', '.join(absent)}."] if absent else []
    told = []
    if (shared := overlap["common"]) is not None:
        told.append(f"All share {shared['first']} to {shared['last']}, {frames(shared['frames'])}.")
    return [*told, *overlap["troubles"]]


def _into(one: Mapping[str, Any], number: int) -> str:
    """Where in the clip of that lane the common range begins."""
    clips = one["overlap"]["clips"] if one["overlap"] is not None else ()
    into = clips[number]["into"] if number < len(clips) else None
    return "" if into is None else f"frame {into}"


def _slate(one: Mapping[str, Any]) -> list[str]:
    """What stands on its slate, where that has a number of its own."""
    number = one["slate_take"]
    told = ", ".join(filter(None, (one["name"], f"take {number}")))
    return [f"On the slate: {told}."] if number not in (0, one["take"]) else []


def _mark(mark: Mapping[str, Any]) -> str:
    """A mark with its number, the time of day here, and its timecode."""
    at = f" at {mark['label']}" if mark["label"] else ""
    told = f": {mark['text']}" if mark["text"] else ""
    struck = ", struck out" if mark.get("struck") else ""
    return f"Mark {mark['n']}: {mark['kind']}, {local(mark['at'])} {mark['who']}{at}{told}{struck}"


def _correction(one: Mapping[str, Any]) -> str:
    was, now = one["was"] or "none", one["now"] or "none"
    return f"Corrected {local(one['at'])} {one['who']}: {one['what']} was {was}; it is {now}"


def _recordings(one: Mapping[str, Any]) -> list[str]:
    rows = [("  box", "clip", "first label", "offset", "shared from", "length", "")]
    for number, lane in enumerate(one["lanes"]):
        start = lane["start"] or "not known yet"
        about = "" if lane["start_exact"] or not lane["start"] else "about "
        rows.append(
            (
                f"  {lane['called']}",
                lane["clip"] or "not told yet",
                about + start,
                offset(lane["offset"]),
                _into(one, number),
                "rolls" if lane["ended"] is None else lane["length"],
                lane["note"],
            )
        )
    return columns(rows)


def lanes(one: Mapping[str, Any], wide: int) -> list[str]:
    """The take drawn: a lane for each recording, time from left to right.

    The bar's left end holds one character a frame, up to the last recorder's first: `.` not yet, `:` its first frame,
    `#` recording. Then the middle, to scale, `|` between.
    """
    own = list(one["lanes"])
    if not own:
        return []
    name_wide = max(len(lane["called"]) for lane in own)
    lens = _lens(own)
    middle = wide - name_wide - (len(lens[0]) + 2 if lens[0] else 1) - 16
    begin = min(lane["rolled"] for lane in own)
    last = None if one["running"] else (one["closed"] or max(lane["ended"] or lane["rolled"] for lane in own))
    whole = between(begin, last) if last else one["for_s"]
    drawn = []
    for lane, head in zip(own, lens, strict=True):
        bar = _bar(lane, begin, float(whole or 1.0), max(10, middle))
        end = "rolls" if lane["ended"] is None else local(lane["ended"])
        drawn.append(f"{lane['called']:<{name_wide}} |{head}{'|' if head else ''}{bar}|  {end}")
    return drawn


def _lens(own: Sequence[Mapping[str, Any]]) -> list[str]:
    """The first frames of each lane, one character a frame; empty where the labels are not known or too far apart."""
    offsets = [lane["offset"] for lane in own]
    known = [number for number in offsets if number is not None]
    if not known or max(known) > 11:  # a lens holds 12 frames
        return ["" for _ in own]
    wide = max(known) + 2
    blank = " " * wide
    return [blank if number is None else "." * number + ":" + "#" * (wide - number - 1) for number in offsets]


def _bar(lane: Mapping[str, Any], begin: str, whole_s: float, wide: int) -> str:
    """Where in the take it recorded, to scale."""
    whole_s = max(whole_s, 0.001)
    first = min(wide - 1, int((between(begin, lane["rolled"]) or 0.0) / whole_s * wide))
    until = between(begin, lane["ended"])
    last = wide if until is None else max(first + 1, min(wide, round(until / whole_s * wide)))
    return " " * first + "#" * (last - first) + " " * (wide - last)
