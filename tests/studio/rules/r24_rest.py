"""30 s after all has healed: every box adopted, nothing pending, no trouble, tasks back where they began."""

from collections.abc import Iterator

from tests.studio.histories import FOREVER, Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    if not run.seen or run.seen[-1].at < run.ended - 2.0:
        yield Breach(24, run.ended, "the daemon does not answer at the end")
        return
    last, first = run.seen[-1], run.seen[0]
    for gauge in ("open", "inflight:commands", "waiters"):
        if last.gauges.get(gauge, 0):
            yield Breach(24, last.at, f"{gauge} is {last.gauges[gauge]} at rest")
    for device in run.plan.devices:
        if not last.gauges.get(f"adopted:{device}"):
            yield Breach(24, last.at, f"{device} is not adopted at rest")
    flipped = run.faulty(0.0, FOREVER, "", "flip_bit", "power_cut", "write_fail", "disk_full", "sync_fail")
    for what in last.trouble:
        empty = what.endswith("it is empty. The rest is kept.")  # killed between making a file and its first line
        stood = what.startswith("loop: ") and run.spans("paused", "resumed")  # it is told for a minute
        if not stood and not (what.startswith("journal-damage") and (flipped or empty)):
            yield Breach(24, last.at, f"trouble stands at rest: {what}")
    if last.gauges["tasks"] > first.gauges["tasks"] + 1:
        yield Breach(24, last.at, f"{last.gauges['tasks']} tasks at rest, {first.gauges['tasks']} at the start")
