"""Commands with one id reach a box at most once, over any mix of retries, doubles and crashes."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Asked, Histories
from tests.studio.rules.rule import Breach, slack

VERBS: Final = {"record": "roll", "stop": "cut"}
CARRIED_S: Final = 3.0  # from a try to its last byte: class time, and a look before a verb that seemed to be so already


def check(run: Histories) -> Iterator[Breach]:
    """Every record and stop at a box gets an act of its own; one that finds none was done a second time, or unasked."""
    for device in run.truths:
        for command, verb in VERBS.items():
            acts = [at for at, _, said, _ in run.wire.get(device, ()) if said == command]
            asks = [asked for asked in run.asked.values() if _means(asked, verb, device)]
            match = _Match(run, device, acts, asks)
            for index, at in enumerate(acts):
                if not match.place(index, set()):
                    wanted = ", ".join(asked.key for asked in asks) or "no act at all"
                    yield Breach(8, at, f"{device} was sent {command!r} {len(acts)} times for {wanted}")
                    break


def _means(asked: Asked, verb: str, device: str) -> bool:
    return asked.verb == verb and asked.who != "guest" and device in asked.devices and asked.may_act


class _Match:
    """Which act at a box is whose? Each gets one of its own, earlier ones move if need be."""

    def __init__(self, run: Histories, device: str, acts: list[float], asks: list[Asked]) -> None:
        self._acts, self._asks = acts, asks
        self._late = {one.key: CARRIED_S + slack(run, one.at, max(acts, default=0.0), device) for one in asks}
        self._taken: dict[str, int] = {}

    def place(self, index: int, seen: set[str]) -> bool:
        at = self._acts[index]
        for asked in self._asks:
            if asked.key in seen or not asked.at <= at <= asked.last + self._late[asked.key]:
                continue
            seen.add(asked.key)
            if asked.key not in self._taken or self.place(self._taken[asked.key], seen):
                self._taken[asked.key] = index
                return True
        return False
