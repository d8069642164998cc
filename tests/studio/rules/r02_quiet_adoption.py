"""Until a box is adopted only requests that read reach it, and never one that nobody asked for."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach

# by the protocol sheet: what only reads, each with the parameters that it may have then
READS: Final = {
    "ping": (),
    "device info": (),
    "uptime": (),
    "remote": (),
    "configuration": (),
    "transport info": (),
    "slot info": ("slot id",),
    "clips count": (),
    "clips get": ("clip id", "count", "version"),
    "disk list": ("slot id",),
    "notify": ("transport", "slot", "remote", "configuration", "dropped frames", "display timecode"),
}
FULL_LOOK: Final = frozenset({"device info", "remote", "configuration", "transport info"})
MET_S: Final = 3.0  # from its reset until it is met again
ACTS: Final = frozenset({"record", "stop", "identify"})  # all that the people of these plans can bring about at a deck


def check(run: Histories) -> Iterator[Breach]:
    yield from _strangers(run)
    looked: dict[tuple[str, int], set[str]] = {}
    for device, requests in run.wire.items():
        for at, client, command, parameters in requests:
            seen = looked.setdefault((device, client), set())
            names = tuple(name for name in parameters.split(",") if name)
            if command in READS and all(name in READS[command] for name in names):
                seen.add(command)
            elif command not in ACTS:
                yield Breach(2, at, f"{device} was sent {command!r} ({parameters}), which nobody asked for")
            elif FULL_LOOK - seen:
                missing = ", ".join(sorted(FULL_LOOK - seen))
                yield Breach(2, at, f"{device} was sent {command!r} before it was adopted: not read yet were {missing}")


def _strangers(run: Histories) -> Iterator[Breach]:
    """A box that answers as another one than the site names is not adopted, and is sent nothing but questions."""
    for device, requests in run.wire.items():
        spans = run.spans_of("swapped", device)
        if len(spans) != 1:
            continue  # none, or one that the other heals
        begin, end = spans[0][0] + MET_S, spans[0][1]
        for seen in run.seen:
            if begin <= seen.at < end and seen.gauges.get(f"adopted:{device}"):
                yield Breach(2, seen.at, f"{device} is adopted, though it answers as another box")
                break
        for at, _, command, _ in requests:
            if command in ACTS and begin <= at < end:
                yield Breach(2, at, f"{device} was sent {command!r}, though it answers as another box")
                break
