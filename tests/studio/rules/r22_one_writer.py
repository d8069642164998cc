"""Nothing of a daemon that is dead, or of one that was started beside a living one, reaches a box as an act."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    dead = run.spans("dead", "starting")
    for at, device, data in run.sent:
        if any(begin < at < end for begin, end in dead):
            yield Breach(22, at, f"a dead daemon sent {data[:20]!r} to {device}")
            return
