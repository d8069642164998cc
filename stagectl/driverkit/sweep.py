"""When is garbage collected that counting references leaves over? At moments of our own choosing.

The collector of its own accord looks while most is made, which is while a roll of many recorders is proved: 8 ms.
"""

import gc
from typing import Final

from stagectl.model.board import Board
from stagectl.model.late import put_off
from stagectl.model.world import Handle

SWEEP_S: Final = 1.0  # the youngest are looked at this often: 3 ms with 1,000 boxes after a roll
OLDER: Final = 10  # every so many sweeps take those along that outlived one
OLDEST: Final = 300  # ...and all that was made since the start: some ms in a studio, 0.1 s with 1,000 boxes
BACKSTOP: Final = 100_000  # objects made since the last look at which the collector does not wait for us

_THRESHOLDS: Final = gc.get_threshold()[1:]


class Sweep:
    """Collects once a second, but not while a roll or cut is being proved."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._clock = board.clock
        self._timer: Handle | None = None
        self._due = 0.0
        self._put_off = False  # the last one was
        self._count = 0

    def start(self) -> None:
        """From now on what lives is taken to live long, and what is made later is swept."""
        gc.collect()
        gc.freeze()
        gc.set_threshold(BACKSTOP, *_THRESHOLDS)
        self._wait()

    def stop(self) -> None:
        """Safe to call twice."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _wait(self) -> None:
        self._due = self._clock.now() + SWEEP_S
        self._timer = self._clock.later(self._due, self._tick)

    def _tick(self) -> None:
        now = self._clock.now()
        proving = now < self._board.proving_until
        self._put_off = put_off(now - self._due, before=self._put_off, proving=proving)
        if not self._put_off:
            self._count += 1
            gc.collect(0 if self._count % OLDER else 1 if self._count % OLDEST else 2)
        self._wait()
