"""A roll or cut leaves in the turn in which it is asked: no poll, list, sync or other box stands before it."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories
from tests.studio.rules.rule import LINKS, Breach

TOLD_S: Final = 1e-6  # a scene's own clock never gives one time twice
AT_ONCE_S: Final = 0.0003  # some turns of the loop; the fastest sync takes longer


def check(run: Histories) -> Iterator[Breach]:
    tries = {
        verb: [answer.served for asked in run.asked.values() if asked.verb == verb for answer in asked.tries]
        for verb in ("roll", "cut")
    }
    for at, device, data in run.sent:
        verb = "roll" if data.startswith(b"record") else "cut" if data.startswith(b"stop") else ""
        if not verb or device not in run.truths:
            continue
        if any(-TOLD_S <= at - asked <= AT_ONCE_S for asked in tries[verb]) or _looked_first(run, device, verb, at):
            continue
        yield Breach(20, at, f"{device} was sent its {verb} late: nobody asked for it just then")


def _looked_first(run: Histories, device: str, verb: str, at: float) -> bool:
    """It seemed to be so already, so it was looked at before: allowed while the picture is a poll old, or stale."""
    truth = run.truths[device]
    around = (truth.recorded if verb == "roll" else truth.rested)(at - 5.0, at)
    return around or run.faulty(at - 15.0, at, device, *LINKS) or run.was_away(at - 3.0, at)
