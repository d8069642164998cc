"""Ten seconds after the last fault has healed every page shows what is so."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach

HEALED_S: Final = 10.0
LAG_S: Final = 1.6  # a poll, its answer and the page's own half second


def check(run: Histories) -> Iterator[Breach]:
    told: set[str] = set()
    for seen in run.seen:
        if seen.at < run.plan.healed + HEALED_S or run.was_away(seen.at - HEALED_S, seen.at):
            continue
        for device, truth in run.truths.items():
            if device in told:
                continue
            point = seen.points.get((device, "transport"))
            if device == "hall":
                point = seen.points.get((device, "output.3.source"))
            if point is None or point.quality != "good":
                told.add(device)
                shown = "not at all" if point is None else f"as {point.quality}"
                yield Breach(6, seen.at, f"{device} is shown {shown}, 10 s after all had healed")
            elif device != "hall" and not (truth.recorded if point.value == "recording" else truth.rested)(
                seen.at - LAG_S, seen.at
            ):
                told.add(device)
                yield Breach(6, seen.at, f"{device} is shown {point.value}, which it is not")
        rolled = any(truth.recorded(seen.at - LAG_S, seen.at) for truth in run.truths.values())
        rested = all(truth.rested(seen.at - LAG_S, seen.at) for truth in run.truths.values())
        if "take" not in told and not (rolled if seen.running else rested):
            told.add("take")
            yield Breach(
                6, seen.at, f"take {seen.take} is shown {'running' if seen.running else 'ended'}, which it is not"
            )
    if not any(seen.at > run.plan.healed + HEALED_S for seen in run.seen):
        yield Breach(6, run.ended, "nobody could look any more, 10 s after all had healed")
