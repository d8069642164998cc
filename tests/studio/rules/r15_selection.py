"""Where people have accounts, a take that somebody else rolled is ended only by who was shown that, a moment ago.

What was shown must still be so: the same person, the same take, the word within its time, and no recorder that began in
that take meanwhile.
"""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Answer, Asked, Histories
from tests.studio.loop import START_S
from tests.studio.rules.rule import Breach

LIFE_S: Final = 10.0
OLD: Final = "born-before"
TURN_S: Final = 0.1  # between what a box tells and the line of the take


def check(run: Histories) -> Iterator[Breach]:
    if not run.plan.accounts:
        return
    rolled_by = _rolled_by(run)
    for asked in run.asked.values():
        if asked.verb != "cut" or asked.take is None:
            continue
        for answer in asked.answers:
            passed = [one for one, (_, refused, code, _) in answer.boxes.items() if not (refused or code == OLD)]
            by = _by(rolled_by.get(asked.take, []), answer.served)
            if not passed or by in (asked.who, "") or _earlier(asked, answer):
                continue
            if why := _not_shown(run, asked, answer):
                yield Breach(15, answer.served, f"{asked.key} of {asked.who} ended take {asked.take} of {by}: {why}")
    yield from _scenes(run, rolled_by)


def _earlier(asked: Asked, answer: Answer) -> bool:
    """It was carried out by an earlier try; this one only asked what became of it."""
    return any(one is not answer and one.at < answer.at and one.told != "refused" for one in asked.tries)


def _not_shown(run: Histories, asked: Asked, answer: Answer) -> str:
    shown = [
        (one.ends, one)
        for other in run.asked.values()
        if other.who == asked.who and other.take == asked.take
        for one in other.tries
        if one.word and one.word == answer.confirm and one.ends <= answer.at
    ]
    if not shown:
        return "nobody had shown them what it ends" if not answer.confirm else "the word was not shown to them"
    at = max(ends for ends, _ in shown)
    if answer.served - at > LIFE_S + 0.01:
        return f"it was shown {answer.served - at:.1f} s before"
    return _moved(run, asked, at, answer.served)


def _moved(run: Histories, asked: Asked, since: float, until: float) -> str:
    """Does a recorder roll in the take that did not when it was shown, as far as the daemon had written it down?"""
    for line in run.journal.of("take"):
        at = line.mono - START_S
        if line.data.get("what") == "lanes" and line.data.get("take") == asked.take and since + TURN_S < at < until:
            for lane in line.data["lanes"]:
                truth = run.truths[lane["device"]]
                began = any(since + TURN_S < clip.begun < until - TURN_S for clip in truth.clips if clip.by == "panel")
                if began and not truth.was_recording(since) and truth.was_recording(until):
                    return f"{lane['device']} had begun in it since that was shown"
    return ""


def _scenes(run: Histories, rolled_by: dict[int, list[tuple[float, str]]]) -> Iterator[Breach]:
    """A scene is shown nothing: it ends no take of another person."""
    for asked in run.asked.values():
        if not asked.scene or asked.verb != "cut" or asked.take is None:
            continue
        by = _by(rolled_by.get(asked.take, []), asked.at)
        passed = [device for device, (_, refused, *_) in asked.tries[0].boxes.items() if not refused]
        if passed and by not in (asked.who, ""):
            yield Breach(15, asked.at, f"a scene of {asked.who} ended take {asked.take} of {by}")


def _rolled_by(run: Histories) -> dict[int, list[tuple[float, str]]]:
    """Take -> (when written, who rolled it)."""
    found: dict[int, list[tuple[float, str]]] = {}
    for line in run.journal.of("take"):
        if line.data.get("what") == "head":
            found.setdefault(int(line.data["take"]), []).append((line.mono - START_S, str(line.data["by"])))
    return found


def _by(heads: list[tuple[float, str]], at: float) -> str:
    """Who had rolled it by then; empty: not known, or it changed just then."""
    names = {by for since, by in heads if since <= at + TURN_S}
    return names.pop() if len(names) == 1 else ""
