"""What was asked was accepted or refused; what was accepted is in the journal, and nothing else is."""

from collections.abc import Iterator

from tests.studio.histories import FOREVER, Answer, Asked, Histories
from tests.studio.rules.rule import DISKS, WAITED_S, Breach


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
        if asked.who == "ines" and (last := _taken_for_old(asked)) is not None:
            starts = [mark.at for mark in run.marks if mark.what == "starting"]
            if not any(asked.at - 0.01 <= start <= last.at for start in starts):
                yield Breach(
                    18, last.at, f"{asked.key} was taken for older than the daemon, which ran when it was asked"
                )
    yield from _served_late(run)
    for id_ in known:
        if id_ not in asked_ids:
            yield Breach(18, run.ended, f"the journal has the command {id_}, which nobody asked for")


def _served_late(run: Histories) -> Iterator[Breach]:
    """What waited while the daemon stood still, longer than a roll's own time, is refused: nobody wants it any more.

    Not where people have accounts: a login may take as long.
    """
    for asked in run.asked.values():
        for index, answer in enumerate(asked.tries if not run.plan.accounts and not asked.scene else ()):
            waited = sum(
                max(0.0, min(end, answer.served) - max(begin, answer.at))
                for begin, end in run.spans("paused", "resumed")
            )
            new = not any(one.told != "refused" for one in asked.tries[:index])
            if answer.served < FOREVER and waited > WAITED_S + 0.5 and answer.told == "accepted" and new:
                yield Breach(18, answer.served, f"{asked.key} had waited {waited:.1f} s, and was carried out")


def _taken_for_old(asked: Asked) -> Answer | None:
    """The answer that says so. Ines' machine has the daemon's own wall clock, right or wrong."""
    old = [one for one in asked.answers if any(code == "born-before" for _, _, code, _ in one.boxes.values())]
    return old[0] if old else None
