"""Nothing of a daemon that is dead, or of one that was started beside a living one, reaches a box as an act."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    paused = run.spans("paused", "resumed")  # what it had begun before goes out first, then it ends
    dead = [
        (begin, end)
        for begin, end in run.spans("dead", "starting")
        if not any(since < end and begin < until for since, until in paused)
    ]
    stopped = {mark.at for mark in run.marks if mark.what == "dead" and mark.note == "stop"}
    for at, device, data in run.sent:
        begin = next((begin for begin, end in dead if begin < at < end), None)
        reads = not data.startswith((b"record", b"stop", b"VIDEO OUTPUT ROUTING"))
        if begin is not None and not (begin in stopped and reads):  # it may look on until it lets go of the boxes
            yield Breach(22, at, f"a dead daemon sent {data[:20]!r} to {device}")
            return
