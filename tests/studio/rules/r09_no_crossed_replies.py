"""No reply that a box sent before a request had left us is taken as that request's answer."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for at, device, asked_at, said_at in run.paired:
        if said_at < asked_at:
            yield Breach(
                9, at, f"{device} said at {said_at:.3f} what was taken as the answer to a question of {asked_at:.3f}"
            )
            return
