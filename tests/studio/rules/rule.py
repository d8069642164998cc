"""What is a rule? One promise, looked for in the histories of a run; each breach is a sentence with its time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from tests.studio.histories import Histories

Check = Callable[[Histories], Iterator["Breach"]]

LINKS = (
    *("refuse", "swallow", "cut_reply", "half_open", "drop_replies", "drop_asks", "latency", "crumbs", "echo_twice"),
    *("flap", "one_session", "narrow", "long_line", "coalesce", "jitter", "silent", "garbage", "all_dead", "reboot"),
    *("swapped", "notice_storm", "driver_slips", "no_handles", "starved"),
)
DISKS = ("sync_fail", "disk_full", "write_fail", "slow_sync", "power_cut", "flip_bit")
WAITED_S = 2.2  # longer than this nothing waits at the door of a daemon that stands still, and is carried out then
SLOW_S = 20.0  # what a link holds back while it is half open arrives when it heals, as TCP resends


@dataclass(frozen=True, slots=True)
class Breach:
    """A promise broken: which rule, when, of whom, in one sentence."""

    rule: int
    at: float
    says: str

    def __str__(self) -> str:
        return f"rule {self.rule} at {self.at:.3f}: {self.says}"


def slack(run: Histories, since: float, until: float, dev: str) -> float:
    """How much later than usual something may arrive at or from this device."""
    link = SLOW_S if run.faulty(since - SLOW_S, until, dev, *LINKS) else 1.5
    # a daemon that stood still serves what waited at its door, if that can't have been for long
    still = sum(end - begin for begin, end in run.spans("paused", "resumed") if begin <= until and end >= since)
    return link + min(still, WAITED_S)
