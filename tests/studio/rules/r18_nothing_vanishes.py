"""What was asked was accepted or refused; what was accepted is in the journal, and nothing else is."""

from collections.abc import Iterator

from tests.studio.histories import FOREVER, Histories
from tests.studio.rules.rule import DISKS, Breach


def check(run: Histories) -> Iterator[Breach]:
    known = run.journal.commands()
    disk = run.faulty(0.0, FOREVER, "", *DISKS)
    asked_ids = {asked.id: asked for asked in run.asked.values()}
    for asked in run.asked.values():
        if not asked.answers and not all(run.was_away(answer.at, answer.at + 8.0) for answer in asked.tries):
            yield Breach(18, asked.at, f"{asked.key} was never answered, though the daemon was there")
        accepted = next((answer for answer in asked.answers if answer.told == "accepted"), None)
        born_before = accepted is not None and any(code == "born-before" for _, _, code, _ in accepted.boxes.values())
        if accepted is not None and not born_before and asked.id not in known and not disk:
            yield Breach(18, accepted.at, f"{asked.key} was accepted, but is not in the journal")
    for id_ in known:
        if id_ not in asked_ids:
            yield Breach(18, run.ended, f"the journal has the command {id_}, which nobody asked for")
