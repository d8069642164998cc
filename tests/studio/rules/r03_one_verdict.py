"""Each accepted command has exactly one verdict, in its class time after acceptance, or after adoption."""

from collections import Counter
from collections.abc import Iterator
from typing import Final

from tests.studio.histories import FOREVER, Histories
from tests.studio.rules.rule import DISKS, Breach

WITHIN_S: Final = 6.0  # 2 s of its class, 2 s for a sync that hangs, and the wait in its box's line
RECOVERED_S: Final = 10.0
FLUSH_S: Final = 1.5  # a verdict reaches the disk for good this much later; a power cut before may bring another one


def check(run: Histories) -> Iterator[Breach]:
    deaths = [mark.at for mark in run.marks if mark.what == "dead"]  # what no disk took down dies with its process
    cuts = [mark.at for mark in run.marks if mark.what == "dead" and mark.note == "power_cut"]
    disk = run.faulty(0.0, FOREVER, "", *DISKS)
    flipped = run.faulty(0.0, FOREVER, "", "flip_bit")  # what stood behind the bit is lost, verdicts too
    for asked in run.asked.values():
        first: dict[str, tuple[str, float]] = {}
        for answer in asked.answers:
            for device, (ended, *_) in answer.boxes.items():
                before, at = first.setdefault(device, (ended, answer.ends))
                lost = any(at <= cut <= at + FLUSH_S for cut in cuts) or (cuts and disk) or flipped
                lost |= any(at <= death and run.faulty(at - FLUSH_S, death, "", *DISKS) for death in deaths)
                if before != ended and not lost:
                    yield Breach(3, answer.ends, f"two verdicts of {asked.key} for {device}: {before}, then {ended}")
            late = not answer.boxes and answer.told == "accepted" and not _being_recovered(run, answer.at)
            if late and not run.was_away(answer.at, answer.accepted_at + WITHIN_S):
                yield Breach(3, answer.at, f"no verdict of {asked.key} within {WITHIN_S:g} s")
    counts = Counter(str(line.data["id"]) for line in run.journal.of("verdict"))
    for id_, count in counts.items():
        if count > 1:
            yield Breach(3, run.ended, f"the journal has {count} verdicts of {id_}")
    if not disk and not run.was_away(run.ended - 20.0, run.ended):
        for id_, line in run.journal.commands().items():
            if id_ not in counts:
                yield Breach(3, run.ended, f"the journal has no verdict of {id_} ({line.data['say']})")


def _being_recovered(run: Histories, at: float) -> bool:
    """After a restart what was open is judged once its boxes were read whole, or after ten seconds."""
    again = [mark.at for mark in run.marks if mark.what == "ready"][1:]
    return any(ready - 0.1 <= at <= ready + RECOVERED_S for ready in again)
