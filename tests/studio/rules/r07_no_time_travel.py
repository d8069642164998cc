"""Revisions only grow, for every client and point, over reconnects and restarts."""

from collections.abc import Iterator

from tests.studio.histories import Histories, Seen
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    last: Seen | None = None
    for seen in run.seen:
        if last is not None and seen.life == last.life:
            if (seen.epoch, seen.rev) < (last.epoch, last.rev):
                yield Breach(7, seen.at, f"epoch {seen.epoch} revision {seen.rev} after {last.epoch} {last.rev}")
            for key, point in seen.points.items():
                before = last.points.get(key)
                if before is not None and point.rev < before.rev:
                    yield Breach(7, seen.at, f"{' '.join(key)} went back from revision {before.rev} to {point.rev}")
        elif last is not None and seen.epoch <= last.epoch:
            yield Breach(7, seen.at, f"epoch {seen.epoch} in life {seen.life}, after {last.epoch} in life {last.life}")
        last = seen
