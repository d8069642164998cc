"""Which counters does the daemon show? Gathered on the loop, written in a thread, kept for a second."""

import asyncio
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Final

from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4, generate_latest
from prometheus_client.registry import Collector

from stagectl.control.groups import Group
from stagectl.driverkit.lag import BUCKETS
from stagectl.shoot.alarm import Rates
from stagectl.shoot.house import House

KEPT_S: Final = 1.0
WRITE_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class _Facts:
    """What was so at one moment; the thread reads nothing else."""

    rev: int
    epoch: int
    adopted: Mapping[str, bool]
    counts: Mapping[str, Mapping[str, int]]
    ended: Mapping[tuple[str, str], int]
    take: int
    rolling: int
    clients: int
    lag: tuple[int, ...]
    lag_s: float
    stalls: int
    alarms: Rates


class _Reader(Collector):
    """Hands the facts to the library."""

    def __init__(self, facts: _Facts) -> None:
        self._facts = facts

    def collect(self) -> Iterator[Metric]:
        facts = self._facts
        yield GaugeMetricFamily("stagectl_epoch", "Which start of the daemon this is", facts.epoch)
        yield GaugeMetricFamily("stagectl_revision", "Changes of points since start", facts.rev)
        yield GaugeMetricFamily("stagectl_take", "Number of the running or last take", facts.take)
        yield GaugeMetricFamily("stagectl_rolling", "Recorders that roll in the running take", facts.rolling)
        yield GaugeMetricFamily("stagectl_live_clients", "Open live feeds", facts.clients)
        up = GaugeMetricFamily("stagectl_device_adopted", "1: the box can be driven", labels=["device"])
        for device, adopted in facts.adopted.items():
            up.add_metric([device], float(adopted))
        yield up
        for name in ("connects", "losses", "requests", "replies", "refusals", "events"):
            wire = CounterMetricFamily(f"stagectl_device_{name}", f"{name.capitalize()} on its link", labels=["device"])
            for device, counts in facts.counts.items():
                wire.add_metric([device], counts[name])
            yield wire
        commands = CounterMetricFamily("stagectl_commands", "Commands by verb and verdict", labels=["verb", "ended"])
        for (verb, ended), number in facts.ended.items():
            commands.add_metric([verb, ended], number)
        yield commands
        yield _lag(facts)
        alarms = facts.alarms
        yield GaugeMetricFamily("stagectl_alarms_standing", "Alarms that stand, causes only", alarms.standing)
        yield GaugeMetricFamily(
            "stagectl_alarms_ten_minutes", "Alarms told in the last ten minutes", alarms.ten_minutes
        )
        told = CounterMetricFamily("stagectl_alarms", "Alarms told since start, by grade", labels=["grade"])
        for grade, number in (("now", alarms.now), ("soon", alarms.soon), ("later", alarms.later)):
            told.add_metric([grade], number)
        yield told
        yield CounterMetricFamily(
            "stagectl_loop_stalls", "How often the loop stood still for half a second", facts.stalls
        )


def _lag(facts: _Facts) -> Metric:
    """How late the loop was, as a histogram."""
    bounds, below, count = (*map(str, BUCKETS), "+Inf"), [], 0
    for bound, number in zip(bounds, facts.lag, strict=True):
        count += number
        below.append((bound, count))
    return HistogramMetricFamily("stagectl_loop_lag_seconds", "How late the loop was", below, sum_value=facts.lag_s)


class Metrics:
    """Counts verdicts, and writes all counters on demand."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._ended: dict[tuple[str, str], int] = {}
        self._kept = b""
        self._kept_at = float("-inf")
        self._lock = asyncio.Lock()
        self.clients = 0
        house.commands.judge.on_end.append(self._heard)

    def _heard(self, group: Group) -> None:
        for command in group.commands:
            if command.verdict is not None:
                key = (command.ask.verb.spec.name, str(command.verdict.ended))
                self._ended[key] = self._ended.get(key, 0) + 1

    async def text(self) -> tuple[bytes, str]:
        """Every counter in the text form of collectors, and its content type."""
        async with asyncio.timeout(WRITE_S), self._lock:
            now = self._house.world.clock.now()
            if now - self._kept_at > KEPT_S:
                facts = self._facts()
                self._kept = bytes(await self._house.world.offload.run("metrics", _write, facts))
                self._kept_at = now
        return self._kept, CONTENT_TYPE_PLAIN_0_0_4

    def _facts(self) -> _Facts:
        house = self._house
        take = house.takes.open
        return _Facts(
            house.board.rev,
            house.epoch,
            {name: box.adopted for name, box in house.boxes.items()},
            {name: asdict(box.counts) for name, box in house.boxes.items()},
            dict(self._ended),
            house.takes.next_number - 1,
            len(take.rolling) if take is not None else 0,
            self.clients,
            tuple(house.lag.counts),
            house.lag.total_s,
            house.lag.stalls,
            house.alarms.rates(),
        )


def _write(facts: _Facts) -> bytes:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Reader(facts))
    return generate_latest(registry)
