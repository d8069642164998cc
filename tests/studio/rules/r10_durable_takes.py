"""What was acknowledged as durable is in the journal after any crash, and the journal's chain holds."""

from collections.abc import Iterator
from itertools import pairwise

from tests.studio.histories import FOREVER, Histories
from tests.studio.rules.rule import DISKS, Breach


def check(run: Histories) -> Iterator[Breach]:
    known = run.journal.commands()
    if not run.faulty(0.0, FOREVER, "", "flip_bit"):
        for asked in run.asked.values():
            durable = next((answer for answer in asked.answers if answer.durable), None)
            if durable is not None and asked.id not in known:
                yield Breach(10, durable.accepted_at, f"{asked.key} was called durable, but the journal lost it")
    if not run.faulty(0.0, FOREVER, "", *DISKS):
        for what in run.journal.breaks:
            yield Breach(10, run.ended, f"the journal is not whole though its disk was well: {what}")
    numbers = [line.n for line in run.journal.lines]
    if any(later <= earlier for earlier, later in pairwise(numbers)):
        yield Breach(10, run.ended, "the journal's numbers go back")
