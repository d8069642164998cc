"""Old bugs of the journal: syncs, names, torn ends, epochs."""

from collections.abc import Sequence
from typing import Any

from stagectl.control import journal as file
from stagectl.control import journal_replay as replay
from stagectl.control.journal import Journal
from tests.studio.museum.bug import Patch, bug


@bug("ack-before-sync", "an answer says durable before the disk has it", "disk", first=79)
def _() -> Sequence[Patch]:
    async def at_once(*_: Any) -> bool:
        return True

    return [(Journal, "synced", at_once)]


@bug("trusts-failed-sync", "after a sync that failed the file is trusted all the same", "disk", first=5)
def _() -> Sequence[Patch]:
    sync = Journal._sync

    async def shrug(self: Any, segments: Any) -> None:
        try:
            await sync(self, segments)
        except OSError:
            for segment in segments:
                segment.named = True

    return [(Journal, "_sync", shrug)]


@bug("names-not-synced", "a new segment's name is not made safe", "disk", first=10)
def _() -> Sequence[Patch]:
    sync = Journal._sync

    async def nameless(self: Any, segments: Any) -> None:
        for segment in segments:
            segment.named = True
        await sync(self, segments)

    return [(Journal, "_sync", nameless)]


@bug("torn-tail-kills-start", "a torn last line ends the start of the daemon", "disk", first=2)
def _() -> Sequence[Patch]:
    stop = replay.Walk._stop

    def strict(self: Any, name: str, line: int, what: str, unread: Any) -> None:
        if "torn" in what:
            raise ValueError(f"{name}:{line}: {what}")
        stop(self, name, line, what, unread)

    return [(replay.Walk, "_stop", strict)]


@bug("epoch-stands-still", "each life of the daemon calls itself the first", "crash")
def _() -> Sequence[Patch]:
    opened = Journal.open

    async def first(self: Any, **said: Any) -> None:
        await opened(self, **said)
        self.epoch = 1

    return [(Journal, "open", first)]


@bug("full-disk-forgets", "while the disk refuses nothing is kept in memory", "disk", first=9)
def _() -> Sequence[Patch]:
    def drop(self: Any, line: Any) -> None:
        """Nothing is kept."""

    return [(file.Ring, "keep", drop)]


@bug(
    "past-not-synced",
    "what a killed daemon wrote is called safe without a sync",
    "lines-of-a-killed-daemon-and-power.json",
)
def _() -> Sequence[Patch]:
    async def trusting(*_: Any) -> bool:
        return True

    return [(file, "make_safe", trusting)]


@bug(
    "starts-counted-by-lines", "a start that the disk took no line of is not counted", "two-starts-on-a-full-disk.json"
)
def _() -> Sequence[Patch]:
    return [(file, "marked", lambda storage: 0)]
