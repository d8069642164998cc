"""No reply that a box sent before a request had left us is taken as that request's answer.

A doubled reply can't be told from the next one where the protocol has no ids: the link ends at the reply after it.
"""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for at, device, asked_at, said_at in run.paired:
        if said_at < asked_at and not run.faulty(at - 1.0, at, device, "echo_twice"):
            yield Breach(
                9, at, f"{device} said at {said_at:.3f} what was taken as the answer to a question of {asked_at:.3f}"
            )
            return
