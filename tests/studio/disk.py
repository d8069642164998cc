"""What does a machine's disk keep, and through which door does a process reach it?

The disk itself is `tests.control.disk`: what programs see apart from what survives a power cut. Here it takes drawn
times to sync, outlives processes, and is reached through a `Mount` that dies with its process.
"""

import asyncio
import random
from typing import Final

from tests.control.disk import Append as DiskAppend
from tests.control.disk import Disk
from tests.studio.loop import Process

SYNC_S: Final = (0.0004, 0.007)  # of one sync: measured on a small machine, median 0.7 ms and 99th percentile 6.6 ms


class StudioDisk(Disk):
    """The disk of one machine. Knobs beside the base's `broken`, `room`, `gate`, `fail_at`: `slow_s`, per sync."""

    def __init__(self, chance: random.Random) -> None:
        super().__init__()
        self.chance = chance
        self.slow_s = 0.0

    async def _wait(self) -> None:
        low, high = SYNC_S
        await asyncio.sleep(low + (high - low) * self.chance.random() ** 4 + self.slow_s)
        await super()._wait()

    def trusted(self, name: str, how: str) -> None:
        """Nothing is said: what it comes to is for the rules to see, once the power goes."""

    def lose_processes(self) -> None:
        """A process was killed: nothing written is lost, and the next one opens files anew."""
        self._find(self.after_kill())

    def lose_power(self) -> None:
        """Each write and each name that was not synced is lost, torn or kept, as drawn."""
        self._find(self.after_power_cut(self.chance))

    def _find(self, found: Disk) -> None:
        had = sum(len(file.seen) for file in self.files.values())
        self.files, self.directory = found.files, found.directory
        for file in self.files.values():
            file.spoilt = False  # what failed before is not known to who comes after
        if self.room is not None:
            self.room += had - sum(len(file.seen) for file in self.files.values())
        self.in_flight = 0


class Mount:
    """Fulfils `Storage` for one process: every call is an effect, and none comes from the dead."""

    def __init__(self, disk: StudioDisk, process: Process) -> None:
        self._disk = disk
        self._process = process

    def names(self) -> list[str]:
        self._process.effect("names")
        return self._disk.names()

    def read(self, name: str) -> bytes:
        self._process.effect(f"read {name}")
        return self._disk.read(name)

    def append_to(self, name: str) -> "Append":
        self._process.effect(f"open {name}")
        return Append(self._disk.append_to(name), name, self._process)

    def rename(self, old: str, new: str) -> None:
        self._process.effect(f"rename {old} {new}")
        self._disk.rename(old, new)

    def remove(self, name: str) -> None:
        self._process.effect(f"remove {name}")
        self._disk.remove(name)

    def exposure(self, name: str) -> str:
        return "" if name else "has no name"

    async def sync_names(self) -> None:
        self._process.effect("sync names")
        await self._disk.sync_names()


class Append:
    """Fulfils `Append` of the World."""

    def __init__(self, append: DiskAppend, name: str, process: Process) -> None:
        self._append = append
        self._name = name
        self._process = process

    def write(self, data: bytes) -> None:
        shown = repr(data) if len(data) < 65536 else f"{len(data)} bytes"
        self._process.effect(f"write {self._name} {shown}")
        self._append.write(data)

    async def sync(self) -> None:
        self._process.effect(f"sync {self._name}")
        await self._append.sync()
        self._process.effect(f"synced {self._name}")

    def close(self) -> None:
        self._process.effect(f"close {self._name}")
        self._append.close()
