"""Each step of a scene's run has a verdict or was not attempted; no run ends a take that no step of it cuts."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories, SceneRun
from tests.studio.rules.rule import DISKS, Breach

LONGEST_S: Final = 25.0  # of the scenes here: two steps with a wait of 4 s, and what a hanging disk adds
FINAL: Final = ("passed", "failed", "skipped", "not attempted")
VERDICTS: Final = ("verified", "sent", "failed", "unconfirmed")
CUTS: Final = ("cut",)  # the scenes that hold a cut


def check(run: Histories) -> Iterator[Breach]:
    for one in run.scenes.values():
        yield from _explicit(run, one)
    for asked in run.asked.values():
        if asked.scene and asked.verb == "cut" and run.scenes[asked.scene].scene not in CUTS:
            yield Breach(
                16, asked.at, f"{run.scenes[asked.scene].scene} asked for a cut, which none of its steps holds"
            )


def _explicit(run: Histories, one: SceneRun) -> Iterator[Breach]:
    if one.died:
        return
    if not one.ended:
        if not run.was_away(one.at, one.at + LONGEST_S) and one.at + LONGEST_S < run.ended:
            yield Breach(16, one.at, f"{one.scene} has no verdict after {LONGEST_S:g} s")
        return
    if one.ended not in VERDICTS:
        yield Breach(16, one.ended_at, f"{one.scene} ended {one.ended!r}, which is no verdict")
    for number, stand, why in one.steps:
        if stand not in FINAL:
            yield Breach(16, one.ended_at, f"step {number} of {one.scene} is {stand!r} though the run has ended")
        elif stand in ("failed", "skipped") and not why:
            yield Breach(16, one.ended_at, f"step {number} of {one.scene} {stand}, and nobody is told why")
    stands = [stand for _, stand, _ in one.steps]
    if one.ended == "verified" and "failed" in stands:
        yield Breach(16, one.ended_at, f"{one.scene} is called verified though a step failed")
    if one.stopped_by and "passed" in stands[stands.index("not attempted") :] if "not attempted" in stands else False:
        yield Breach(16, one.ended_at, f"{one.scene} went on after {one.stopped_by} had stopped it")
    written = {str(line.data.get("run")) for line in run.journal.of("scene") if line.data.get("what") == "end"}
    well = not run.faulty(0.0, run.ended, "", *DISKS) and not run.was_away(one.ended_at - 0.1, one.ended_at + 0.1)
    if one.id not in written and well:
        yield Breach(16, one.ended_at, f"the end of {one.scene} is not in the journal")
