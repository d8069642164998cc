"""A recording of more than two seconds whose link was up is in a take, with its first label right or called inexact."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import FOREVER, Clip, Histories
from tests.studio.rules.rule import DISKS, LINKS, Breach

LONG_S: Final = 2.0
UP_S: Final = 5.0


def check(run: Histories) -> Iterator[Breach]:
    lanes = run.journal.lanes()
    for truth in run.truths.values():
        for clip in truth.clips:
            if not _owed(run, clip):
                continue
            own = [lane for lane in lanes if lane["device"] == clip.device and lane["clip"] == clip.name]
            unnamed = [lane for lane in lanes if lane["device"] == clip.device and not lane["clip"]]
            if not own and not unnamed:
                yield Breach(11, clip.begun, f"{clip.device} {clip.name} is in no take")
            spilled = any(one.by == "spill" and one.name == clip.name for one in truth.clips)
            for lane in own:
                if clip.start and not spilled and lane["start_exact"] and lane["start"] != clip.start:
                    yield Breach(
                        11, clip.begun, f"{clip.name} begins at {clip.start}, not at {lane['start']} as written"
                    )


def _owed(run: Histories, clip: Clip) -> bool:
    """Long enough, and for five seconds of it daemon, link and disk were well."""
    end = min(clip.ended, run.ended)
    if end - clip.begun <= LONG_S or run.faulty(0.0, FOREVER, "", *DISKS):
        return False
    at = clip.begun
    while at + UP_S <= end:
        if not run.was_away(at - 1.0, at + UP_S) and not run.faulty(
            at - 12.0, at + UP_S, clip.device, *LINKS, "unknown_words", "name_used", "other_rate"
        ):
            return True
        at += 1.0
    return False
