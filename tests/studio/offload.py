"""What becomes of long work without threads? It takes a drawn virtual time, then runs in one piece."""

import asyncio
import random
from collections.abc import Callable
from typing import Any

from tests.studio.loop import Process


class Offload:
    """Fulfils `Offload`. `slow_s` is added to each piece of work."""

    def __init__(self, process: Process, chance: random.Random) -> None:
        self._process = process
        self._chance = chance
        self.slow_s = 0.0

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any:
        self._process.effect(f"work {name}")
        await asyncio.sleep(self._chance.uniform(0.0005, 0.005) + self.slow_s)
        return do(*args)
