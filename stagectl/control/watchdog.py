"""Does the path that carries commands still move? As long as it does, whoever watches the process is told so.

It is told from the clock that ends commands, on the loop that carries them, and only while no verdict is overdue: a
side task that answers while the real path hangs would be worse than none.
"""

from collections.abc import Callable
from typing import Final

import structlog

from stagectl.model.world import Clock, Handle

OVERDUE_S: Final = 5.0  # a verdict so long after its deadline: the path hangs; own choice, half of the unit's patience

log = structlog.get_logger()


class Watchdog:
    """Feeds whoever ends the process when it hangs.

    Args:
        overdue: how long the most overdue verdict is past its deadline, in seconds; 0 if none is.
        feed: says "I live".
        every_s: how often; half of the other side's patience or less.
    """

    def __init__(self, clock: Clock, overdue: Callable[[], float], feed: Callable[[], None], every_s: float) -> None:
        self._clock = clock
        self._overdue = overdue
        self._feed = feed
        self._every_s = every_s
        self._timer: Handle | None = None
        self._hungry = False

    def start(self) -> None:
        """Begin: feed now, and then again and again."""
        self._tick()

    def stop(self) -> None:
        """Safe to call twice."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _tick(self) -> None:
        late = self._overdue()
        if late <= OVERDUE_S:
            self._hungry = False
            self._feed()
        elif not self._hungry:
            self._hungry = True
            log.error("command_path_hangs", overdue_s=round(late, 1))
        self._timer = self._clock.later(self._clock.now() + self._every_s, self._tick)
