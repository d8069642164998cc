"""Who may only watch brings about nothing: every act of theirs is refused, and no byte of it reaches a box (rule 8)."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for asked in run.asked.values():
        if asked.who != "guest":
            continue
        for answer in asked.answers:
            passed = [device for device, (ended, *_) in answer.boxes.items() if ended in ("verified", "sent")]
            if passed or (answer.told == "accepted" and not answer.boxes):
                yield Breach(14, answer.at, f"{asked.key} of a guest was let through for {', '.join(passed) or 'all'}")
