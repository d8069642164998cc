"""What was acknowledged as durable is in the journal after any crash, and the journal's chain holds."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from tests.studio.histories import FOREVER, Histories
from tests.studio.loop import START_S
from tests.studio.rules.rule import DISKS, Breach

SYNC_S: Final = 0.1  # between the line of a take and its sync
WRITTEN_S: Final = 0.1  # between a page that shows it and its line


def check(run: Histories) -> Iterator[Breach]:
    known = run.journal.commands()
    if not run.faulty(0.0, FOREVER, "", "flip_bit"):
        for asked in run.asked.values():
            durable = next((answer for answer in asked.answers if answer.durable), None)
            if durable is not None and asked.id not in known:
                yield Breach(10, durable.accepted_at, f"{asked.key} was called durable, but the journal lost it")
    yield from _forgotten(run)
    if not run.faulty(0.0, FOREVER, "", *DISKS):
        for what in run.journal.breaks:
            yield Breach(10, run.ended, f"the journal is not whole though its disk was well: {what}")
    numbers = [line.n for line in run.journal.lines]
    if any(later <= earlier for earlier, later in pairwise(numbers)):
        yield Breach(10, run.ended, "the journal's numbers go back")


def _forgotten(run: Histories) -> Iterator[Breach]:
    """A take that people were shown is in the journal, from then on: its number is never given again."""
    if run.faulty(0.0, FOREVER, "", *(one for one in DISKS if one != "power_cut")):
        return
    cuts = [mark.at for mark in run.marks if mark.what == "dead" and mark.note == "power_cut"]
    shown: dict[int, float] = {}
    for seen in run.seen:
        if seen.running and not any(seen.at <= cut <= seen.at + SYNC_S for cut in cuts):
            shown.setdefault(seen.take, seen.at)
    written: dict[int, float] = {}
    for line in run.journal.of("take"):
        if "take" in line.data:
            written.setdefault(int(line.data["take"]), line.mono - START_S)
    for number, at in shown.items():
        if number not in written or written[number] > at + WRITTEN_S:
            yield Breach(10, at, f"take {number} was shown running, and its beginning is not in the journal")
