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
ACTS: Final = frozenset({"record", "stop"})  # all that the people of these plans can bring about at a deck


def check(run: Histories) -> Iterator[Breach]:
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
