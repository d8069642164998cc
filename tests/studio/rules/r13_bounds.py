"""No queue, task count or buffer is ever above its declared maximum; no box is asked faster than it could matter."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    told: set[str] = set()
    limits = {
        "line": 512,  # what waits for one box: driverkit's QUEUE
        "inflight": 8,  # its window is 1; a roll and a cut may pass it
        "ring": 10_000,
        "ids": 10_000,
        "followers": 1_000,
        "tasks": 20 + 3 * len(run.plan.devices) + 2 * len(run.plan.ops),
        "views": 8,
        "rate": 80,  # requests to one box in a second: a look every 0.2 s has four, a full read twenty
    }
    for seen in run.seen:
        for gauge, value in seen.gauges.items():
            kind = gauge.partition(":")[0]
            if kind in limits and value > limits[kind] and kind not in told:
                told.add(kind)
                yield Breach(13, seen.at, f"{gauge} is {value}, above its bound of {limits[kind]}")
