"""What does a measured process tell the bench of itself? Its port at start, then a line for each line.

watch    begin to look how late the loop is
lag      {"p50_ms": ..., "p99_ms": ..., "p999_ms": ..., "most_ms": ...} since then, and stop looking: a look every 10 ms
         keeps a processor awake
ready    {"ready": n}, what the process counts as ready
"""

import asyncio
import json
import os
import sys
import time
from collections.abc import Callable
from typing import Any, Final

LOOK_S: Final = 0.01


def share(values: list[float], part: float) -> float:
    """The value below which this part of all values lies."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * part))] if ordered else 0.0


class Inside:
    """Answers the bench over the process's own input and output; ends the process when the bench is gone."""

    def __init__(self, port: int, ready: Callable[[], int] = lambda: 0) -> None:
        self._ready = ready
        self._late: list[float] = []
        self._task: asyncio.Task[None] | None = None
        self._text = b""
        self._gone = asyncio.Event()
        os.set_blocking(0, False)
        asyncio.get_running_loop().add_reader(0, self._read)
        print(port, flush=True)

    async def until_gone(self) -> None:
        """Keep going until the bench closes our input."""
        await self._gone.wait()

    def _read(self) -> None:
        try:
            data = os.read(0, 4096)
        except BlockingIOError:
            return
        if not data:
            asyncio.get_running_loop().remove_reader(0)
            self._gone.set()
        *lines, self._text = (self._text + data).split(b"\n")
        for line in lines:
            sys.stdout.write(json.dumps(self._answer(line.decode())) + "\n")
            sys.stdout.flush()

    def _answer(self, line: str) -> dict[str, Any]:
        if line == "watch":
            self._late.clear()
            self._task = asyncio.get_running_loop().create_task(self._look())
            return {}
        if line == "lag":
            if self._task is not None:
                self._task.cancel()
            parts = {"p50_ms": 0.5, "p99_ms": 0.99, "p999_ms": 0.999, "most_ms": 1.0}
            return {name: share(self._late, part) * 1e3 for name, part in parts.items()}
        return {"ready": self._ready()}

    async def _look(self) -> None:
        while True:
            at = time.monotonic()
            await asyncio.sleep(LOOK_S)
            self._late.append(max(0.0, time.monotonic() - at - LOOK_S))
