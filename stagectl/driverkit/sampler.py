"""Who holds up the loop? A thread of its own looks at the loop's stack when its beat stays away.

This is the one thread beside the offload's and the disk's: a loop that stands still can't look at itself. It reads
frames and writes a log line, and touches nothing of the house.
"""

import asyncio
import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import Final

import structlog

from stagectl.driverkit.box import Box
from stagectl.driverkit.lag import Culprit

LOOK_S: Final = 0.1
LATE_S: Final = 0.65  # since the last beat: then the stall will be told, and it is named within 0.8 s, while it goes on
DEEPEST: Final = 60  # frames

log = structlog.get_logger()


class LoopSampler:
    """Watches the loop it was made in. `on_named` is told, in the sampler's thread, whom it has found."""

    def __init__(self, on_named: Callable[[Culprit], None] = lambda culprit: None) -> None:
        self._loop = asyncio.get_running_loop()
        self._thread_id = threading.get_ident()
        self._on_named = on_named
        self._beat_at = time.monotonic()
        self._named_at = 0.0  # the beat that stayed away, so that each stall is named once
        self._culprit: Culprit | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="loop-sampler", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """End; it looks ten times a second, so this takes a tenth of a second at most."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(1.0)

    def beat(self) -> None:
        """The loop turns."""
        self._beat_at = time.monotonic()

    def take(self) -> Culprit | None:
        """Who held up the loop since the last take."""
        culprit, self._culprit = self._culprit, None
        return culprit

    def _watch(self) -> None:
        while not self._stop.wait(LOOK_S):
            beat = self._beat_at
            if time.monotonic() - beat < LATE_S or beat == self._named_at:
                continue
            frame = sys._current_frames().get(self._thread_id)  # noqa: SLF001 - the documented way to see another thread
            self._named_at = beat
            if frame is None or frame.f_globals.get("__name__") == "selectors":
                continue  # it waits for something to do: the process itself stood still, or the machine did
            self._culprit = culprit = read(frame, self._task())
            log.error(
                "loop_stalled",
                device=culprit.device,
                task=culprit.task,
                place=culprit.place,
                frames=list(culprit.stack),
            )
            self._on_named(culprit)

    def _task(self) -> str:
        try:
            task = asyncio.current_task(self._loop)
        except RuntimeError:
            return ""
        return task.get_name() if task is not None else ""


def read(frame: FrameType, task: str) -> Culprit:
    """Name who stands on a stack: the device whose box is in it, and the innermost place that is not Python's own."""
    device = place = ""
    stack: list[str] = []
    at: FrameType | None = frame
    while at is not None and len(stack) < DEEPEST:
        module = str(at.f_globals.get("__name__", "?"))
        told = f"{module}.{at.f_code.co_name}, line {at.f_lineno}"
        stack.append(told)
        if not place and module.partition(".")[0] not in sys.stdlib_module_names:
            place = told
        if not device and module == Box.__module__:
            own = at.f_locals.get("self")
            device = own.name if isinstance(own, Box) else ""
        at = at.f_back
    return Culprit(device, task, place or stack[0], tuple(reversed(stack)))
