"""A transport that is shown good was so in truth at most max(2 polls, 3 s) ago; else it is marked stale or unknown."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach

FRESH_S: Final = 3.0
TICK_S: Final = 0.05  # a page looks between two turns of the loop


def check(run: Histories) -> Iterator[Breach]:
    told: set[str] = set()
    for seen in run.seen:
        for (device, name), point in seen.points.items():
            truth = run.truths.get(device)
            if name != "transport" or point.quality != "good" or truth is None or device in told:
                continue
            since = seen.at - FRESH_S - TICK_S
            recording = point.value == "recording"
            if not (truth.recorded if recording else truth.rested)(since, seen.at):
                told.add(device)
                yield Breach(5, seen.at, f"{device} was shown {point.value} as good, which it had not been for 3 s")
