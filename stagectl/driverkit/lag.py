"""Is the loop late, how late, and who held it up?

A beat on the loop's own timers measures how late it comes. What stood on the stack meanwhile can only be seen from
outside the loop: a sampler does that, and this asks it afterwards.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Protocol

from stagectl.model.world import Clock, Handle

BEAT_S: Final = 0.1
STALL_S: Final = 0.5  # from here on it is told; reliability goal P09 asks for the name within a second
DRAIN_S: Final = 0.5  # after a stall: what waited at the doors comes in within this; own choice
BUCKETS: Final = (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)  # seconds


@dataclass(frozen=True, slots=True)
class Culprit:
    """What stood on the stack while the loop stood still.

    Attributes:
        device: whose driver it was; empty: nobody's.
        task: name of the task; empty: a callback.
        place: innermost frame that is not Python's own: "package.module.function, line 12".
        stack: all frames, outermost first.
    """

    device: str
    task: str
    place: str
    stack: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stall:
    """The loop stood still for so long. `culprit` None: nobody looked in time."""

    seconds: float
    culprit: Culprit | None


class Sampler(Protocol):
    """Looks at the loop from outside."""

    def beat(self) -> None:
        """The loop turns."""

    def take(self) -> Culprit | None:
        """Who held up the loop since the last take."""


@dataclass(slots=True)
class Lag:
    """How late the loop was, counted.

    Attributes:
        counts: one place for each of BUCKETS and one for what is above.
        due: when the next beat should come; inf: nobody beats.
        stood_s: how long the last stall was.
        drained: until when what comes in may have waited as long as that.
    """

    counts: list[int] = field(default_factory=lambda: [0] * (len(BUCKETS) + 1))
    total_s: float = 0.0
    worst_s: float = 0.0
    stalls: int = 0
    due: float = float("inf")
    stood_s: float = 0.0
    drained: float = 0.0

    def observe(self, seconds: float) -> None:
        """One beat came so late."""
        place = next((place for place, bound in enumerate(BUCKETS) if seconds <= bound), len(BUCKETS))
        self.counts[place] += 1
        self.total_s += seconds
        self.worst_s = max(self.worst_s, seconds)

    def waited_s(self, now: float) -> float:
        """How long what comes in now may have waited at our door because we stood still; 0: it did not."""
        late = now - self.due
        return late if late >= STALL_S else self.stood_s if now < self.drained else 0.0


class Heart:
    """Beats on the loop; tells each stall once it is over. `sampler` None: nobody looks who it was."""

    def __init__(self, clock: Clock, lag: Lag, sampler: Sampler | None, on_stall: Callable[[Stall], None]) -> None:
        self._clock = clock
        self._lag = lag
        self._sampler = sampler
        self._on_stall = on_stall
        self._timer: Handle | None = None

    def start(self) -> None:
        """Begin to beat."""
        if self._sampler is not None:
            self._sampler.beat()
        self._later()

    def stop(self) -> None:
        """Safe to call twice."""
        self._lag.due = float("inf")
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _later(self) -> None:
        self._lag.due = self._clock.now() + BEAT_S
        self._timer = self._clock.later(self._lag.due, self._beat)

    def _beat(self) -> None:
        now = self._clock.now()
        late = max(0.0, now - self._lag.due)
        self._lag.observe(late)
        culprit = None
        if self._sampler is not None:
            culprit = self._sampler.take()
            self._sampler.beat()
        if late >= STALL_S:
            self._lag.stalls += 1
            self._lag.stood_s, self._lag.drained = late, now + DRAIN_S
            self._on_stall(Stall(late, culprit))
        self._later()
