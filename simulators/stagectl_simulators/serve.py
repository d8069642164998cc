"""How are several boxes played together? One house clock, one seed, one door."""

from __future__ import annotations

import asyncio
import random
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Self

from aiohttp import web

from stagectl_simulators.clip_store import KeepsClips
from stagectl_simulators.clip_store_server import ClipStore, StoreMissingError
from stagectl_simulators.door import build_door
from stagectl_simulators.house_clock import HouseClock, rate_named
from stagectl_simulators.kinds import build
from stagectl_simulators.server import BoxServer


def midnight_s(at_s: float) -> float:
    """When the day of a moment began, here; both in seconds since 1970."""
    day = time.localtime(at_s)
    return time.mktime((day.tm_year, day.tm_mon, day.tm_mday, 0, 0, 0, 0, 0, -1))


@dataclass(frozen=True, slots=True)
class SimBox:
    """One box to play: its id, its kind (kinds.py), where it listens (port 0: a free one), its options."""

    id: str
    kind: str
    host: str = "127.0.0.1"
    port: int = 0
    options: dict[str, object] = field(default_factory=dict)


class Simulation:
    """Boxes on the network while the `async with` block runs.

    Attributes:
        addresses: box id -> (host, port), once entered.
        stores: the same for clip stores, of boxes that have one.
        lacks: a sentence for each thing that can't be played on this machine.
        door_url: where the HTTP door is, once entered.
        boxes: box id -> BoxServer, for tests in the same process.
    """

    def __init__(
        self,
        boxes: Sequence[SimBox],
        *,
        door: tuple[str, int] = ("127.0.0.1", 0),
        seed: int = 1,
        house_rate: str = "25",
        house_start: str = "10:00:00:00",
        elsewhere: bool = False,
    ) -> None:
        """Take the plan; nothing is opened yet.

        `house_rate` is a spoken rate such as "25" or "29.97 DF"; `house_start` what the house clock reads on entering.
        `elsewhere`: an address that can't be had is replaced by a free port beside it, and is no error.

        Raises:
            ValueError: a rate or label that does not exist, two boxes of one id.
        """
        self._plan = list(boxes)
        ids = [box.id for box in self._plan]
        twice = next((name for name in ids if ids.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"Two boxes have the id {twice!r}. Give each its own.")
        self._house = HouseClock(rate_named(house_rate), house_start)
        self._seed = seed
        self._door_at = door
        self._elsewhere = elsewhere
        self._door: web.AppRunner | None = None
        self.boxes: dict[str, BoxServer] = {}
        self.addresses: dict[str, tuple[str, int]] = {}
        self.stores: dict[str, tuple[str, int]] = {}
        self.lacks: list[str] = []
        self.door_url = ""

    async def __aenter__(self) -> Self:
        """Open all boxes and the door.

        Raises:
            ValueError: an unknown kind, a wrong option, or an address that cannot be had, in one sentence.
        """
        start_s = asyncio.get_running_loop().time()
        try:
            for box in self._plan:
                rng = random.Random(f"{self._seed}:{box.id}")
                model = build(box.kind, box.id, dict(box.options), rng, self._house)
                self.boxes[box.id] = BoxServer(box.id, model, start_s)
            for box in self._plan:
                self.addresses[box.id] = await self._open(self.boxes[box.id], box.host, box.port)
            epoch_s = midnight_s(time.time()) + self._house.time_of_day_s()
            for box in self._plan:
                self._open_store(self.boxes[box.id], start_s, epoch_s)
            self.door_url = await self._open_door()
        except BaseException:
            await self._shut()
            raise
        return self

    async def __aexit__(self, *_: object) -> None:
        """Close everything that was opened."""
        await self._shut()

    async def _open(self, box: BoxServer, host: str, port: int) -> tuple[str, int]:
        try:
            return await box.open(host, port)
        except OSError as error:
            if self._elsewhere and port:
                return await self._open(box, host, 0)
            raise ValueError(f"{box.name} cannot listen on {host}:{port}: {error.strerror}. Choose another.") from error

    def _open_store(self, box: BoxServer, start_s: float, epoch_s: float) -> None:
        setup = box.model.store if isinstance(box.model, KeepsClips) else None
        if setup is None:
            return
        loop = asyncio.get_running_loop()
        try:
            store = ClipStore(setup, lambda: loop.time() - start_s, epoch_s)
        except StoreMissingError as missing:
            self.lacks.append(f"{box.name}: {missing}")
            return
        try:
            box.open_store(store, setup.port)
        except OSError as error:
            if not (self._elsewhere and setup.port):
                where = f"{box.address[0]}:{setup.port}"
                raise ValueError(
                    f"{box.name} cannot serve its clips on {where}: {error.strerror}. Choose another port."
                ) from error
            box.open_store(store, 0)
        self.stores[box.name] = store.address

    async def _open_door(self) -> str:
        host, port = self._door_at
        self._door = web.AppRunner(build_door(self.boxes), access_log=None, shutdown_timeout=1)
        await self._door.setup()
        try:
            await self._site(host, port)
        except OSError as error:
            raise ValueError(f"The door cannot listen on {host}:{port}: {error.strerror}. Choose another.") from error
        at = self._door.addresses[0]
        return f"http://{at[0]}:{at[1]}"

    async def _site(self, host: str, port: int) -> None:
        assert self._door is not None
        try:
            await web.TCPSite(self._door, host, port).start()
        except OSError:
            if not (self._elsewhere and port):
                raise
            await web.TCPSite(self._door, host, 0).start()

    async def _shut(self) -> None:
        if self._door is not None:
            await self._door.cleanup()
        for box in self.boxes.values():
            await box.shut()
