"""Does the daemon stand a stream of notices for long? 150 recorders of the bench's far end, ten notices a second each.

The daemon and those who follow it are processes of their own. Every notice that was sent must have been heard, memory
must not grow, and the loop must not be late by more than the machine makes a loop late that has nothing to do.
"""

import re
import statistics
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from bench.farend import FarEnd, build
from bench.process import Caller, Measured, may_open_files, resident_kb, write_site

DECKS: Final = 150
RATE: Final = 10  # notices a second of each: together the first bar, 1,500
FOLLOWERS: Final = 20
SETTLE_S: Final = 5.0
LOOK_S: Final = 5.0
LAG_MS: Final = 50.0  # first bar, p99.9, above that of an idle loop beside it
GROWTH_MB: Final = 10.0
ON_THE_WAY: Final = 50  # notices that may still be under way when it is counted


@dataclass(slots=True)
class Stream:
    """What a run came to. `wrong` has a sentence for each promise that was broken."""

    seconds: float
    sent: int = 0
    heard: int = 0
    follow: int = 0
    lag_ms: dict[str, float] = field(default_factory=dict)
    idle_ms: dict[str, float] = field(default_factory=dict)
    memory_mb: list[float] = field(default_factory=list)
    busy: float = 0.0
    wrong: list[str] = field(default_factory=list)

    @property
    def growth_mb(self) -> float:
        """From the second quarter of the run to the last, by medians: the first one warms up."""
        quarter = max(1, len(self.memory_mb) // 4)
        return statistics.median(self.memory_mb[-quarter:]) - statistics.median(self.memory_mb[quarter : 2 * quarter])

    def told(self) -> str:
        """One sentence."""
        lag = ", ".join(
            f"{name.removesuffix('_ms')} {value:.1f} (an idle loop {self.idle_ms[name]:.1f})"
            for name, value in self.lag_ms.items()
        )
        rate, dropped = self.sent / self.seconds, max(0, self.sent - self.heard)
        return (
            f"{self.seconds:.0f} s, {rate:.0f} notices a second of {DECKS} recorders to {self.follow} who follow: "
            f"{self.sent} sent, {dropped} dropped; loop late by {lag} ms; memory {self.memory_mb[0]:.0f} to "
            f"{self.memory_mb[-1]:.0f} MB, {self.growth_mb:+.1f} MB from the second quarter to the last; "
            f"{self.busy:.0%} of a processor."
        )


def run(seconds: float) -> Stream:
    """Let it stream for so long."""
    done = Stream(seconds)
    may_open_files(4000)
    with tempfile.TemporaryDirectory(prefix="stagectl-stream-") as folder, FarEnd(build(Path(folder)), DECKS) as far:
        site = write_site(Path(folder) / "site.yaml", far)
        with Measured("bench.daemon", str(site), f"{folder}/data") as daemon:
            daemon.wait_ready(DECKS)
            with (
                Measured("bench.readers", str(daemon.port), "/api/v1/live", str(FOLLOWERS)),
                Measured("bench.floor_idle") as idle,
            ):
                _watch(done, daemon, idle, far)
    if done.sent - done.heard > ON_THE_WAY:
        done.wrong.append(f"{done.sent - done.heard} notices were not heard.")
    if done.follow != FOLLOWERS:
        done.wrong.append(f"{FOLLOWERS - done.follow} of those who follow were lost.")
    if done.lag_ms["p999_ms"] > LAG_MS + done.idle_ms["p999_ms"]:
        done.wrong.append(f"The loop was late by more than {LAG_MS:g} ms (p99.9).")
    if done.growth_mb > GROWTH_MB:
        done.wrong.append(f"Memory grew by more than {GROWTH_MB:g} MB.")
    return done


def _watch(done: Stream, daemon: Measured, idle: Measured, far: FarEnd) -> None:
    time.sleep(SETTLE_S)
    far.stream(RATE)
    time.sleep(SETTLE_S)
    heard, sent, spent = _heard(daemon.port)[0], far.sent(), daemon.cpu_s()
    for one in (daemon, idle):
        one.ask("watch")
    began = time.monotonic()
    ends = began + done.seconds
    while time.monotonic() < ends:
        done.memory_mb.append(resident_kb(daemon.pid) / 1024)
        time.sleep(min(LOOK_S, max(0.1, done.seconds / 8)))
    done.lag_ms, done.idle_ms = daemon.ask("lag"), idle.ask("lag")
    done.sent, done.seconds = far.sent() - sent, time.monotonic() - began
    done.busy = (daemon.cpu_s() - spent) / done.seconds
    now, done.follow = _heard(daemon.port)
    done.heard = now - heard
    far.stream(0)


def _heard(port: int) -> tuple[int, int]:
    """Notices that the daemon has heard of all boxes so far, and how many follow it."""
    caller = Caller(port)
    text = caller.call("GET", "/metrics").body
    caller.close()
    plain = text.decode() if isinstance(text, bytes) else str(text)

    def total(name: str) -> float:
        return sum(float(value) for value in re.findall(rf"^{name}(?:{{[^}}]*}})? ([0-9.e+]+)$", plain, re.MULTILINE))

    notices = total("stagectl_device_events_total") - total("stagectl_device_replies_total")
    return round(notices), round(total("stagectl_live_clients"))
