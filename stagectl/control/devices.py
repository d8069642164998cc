"""Who keeps the boxes running: one supervisor each, so that a sick driver never touches another."""

import asyncio
from collections import deque
from collections.abc import Callable, Mapping
from typing import Final

import structlog

from stagectl.control.notes import Notes
from stagectl.driverkit.box import Box
from stagectl.model.world import Clock

BUDGET: Final = 3  # restarts of a driver
WITHIN_S: Final = 60.0  # ...in this time; then that device alone is put in quarantine

log = structlog.get_logger()


class Devices:
    """Runs every box in a task of its own; counts a driver's slips."""

    def __init__(self, boxes: Mapping[str, Box], clock: Clock, journal: Callable[[str, str, str], None]) -> None:
        """`journal(device, what, why)` writes a `link` record."""
        self.boxes = boxes
        self.quarantined = Notes()
        self._clock = clock
        self._journal = journal
        self._tasks: dict[str, asyncio.Task[None]] = {}

    def start(self) -> None:
        """Begin with every box; connecting only looks."""
        for name, box in self.boxes.items():
            self._tasks[name] = asyncio.create_task(self._supervise(name, box), name=f"box {name}")

    async def stop(self, deadline_s: float = 2.0) -> None:
        """Let go of every box. Nothing is sent: what rolls goes on."""
        tasks = list(self._tasks.values())
        for task in tasks:
            task.cancel()
        if tasks:
            await asyncio.wait(tasks, timeout=deadline_s)
        self._tasks.clear()

    def retry(self, name: str) -> None:
        """Take a device out of quarantine: a person looked at it."""
        if self.quarantined.pop(name, None) is not None:
            self._tasks[name] = asyncio.create_task(self._supervise(name, self.boxes[name]), name=f"box {name}")

    def leave_alone(self, name: str, why: str) -> None:
        """Let go of a device whose driver harms the others, until a person has looked at it. Nothing is sent."""
        task = self._tasks.pop(name, None)
        if task is not None:
            task.cancel()
        self.quarantined[name] = why
        self.boxes[name].trouble = why
        self._journal(name, "quarantined", why)
        log.warning("device_quarantined", device=name)

    async def _supervise(self, name: str, box: Box) -> None:
        slips: deque[float] = deque(maxlen=BUDGET)
        while True:
            try:
                await box.run()
            except asyncio.CancelledError:
                raise
            except Exception as error:
                now = self._clock.now()
                log.exception("driver_failed", device=name)
                if len(slips) == BUDGET and now - slips[0] < WITHIN_S:
                    why = f"its driver failed {BUDGET + 1} times in {WITHIN_S:g} s, last: {error}"
                    self.quarantined[name] = why
                    box.trouble = why
                    self._journal(name, "quarantined", why)
                    log.warning("device_quarantined", device=name)
                    return
                slips.append(now)
                self._journal(name, "driver-failed", repr(error))
                await asyncio.sleep(1.0)
