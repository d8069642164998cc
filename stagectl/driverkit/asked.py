"""What was asked of a box, or is to be: reads that belong together, verbs as bytes, requests on their way."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from stagectl.model.verbs import Verb


@dataclass(slots=True, eq=False)
class Reads:
    """Read requests that belong together; `done` is called once when all, with their followers, are answered.

    `no` holds the box's words of the first refusal.
    """

    done: Callable[[], None] | None = None
    open: int = 0
    no: str = ""
    rows: list[Mapping[str, Any]] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class Prepared:
    """Verbs of one command group for one box, as bytes ready to go.

    `on_sent(i, at)` tells when the request of verb i left (i None: of all), `on_no(i, words)` that the box refused.
    `leave_by` has when the time of each verb is over; what still waits in line then never leaves. Empty: there is none.
    """

    verbs: Sequence[Verb]
    requests: Sequence[Any]
    data: Sequence[bytes]
    epoch: int
    on_sent: Callable[[int | None, float], None] = lambda index, at: None
    on_no: Callable[[int | None, str], None] = lambda index, words: None
    leave_by: Sequence[float] = ()

    @property
    def answers(self) -> bool:
        """Is the effect of a verb told in its own answer?"""
        for verb in self.verbs:  # noqa: SIM110 - a generator costs more than what it would look at
            if verb.spec.answers:
                return True
        return False

    @property
    def undivided(self) -> bool:
        """Each verb leaves at once: what was not told as sent has not left, not even in part."""
        return len(self.requests) in (1, len(self.verbs))

    def index(self, number: int) -> int | None:
        """Which verb request `number` carries; None: it carries all of them."""
        return number if len(self.requests) == len(self.verbs) else None

    def over(self, number: int, now: float) -> bool:
        """Is the time of all that request `number` carries over?"""
        if not self.leave_by:
            return False
        index = self.index(number)
        return now >= (max(self.leave_by) if index is None else self.leave_by[index])


@dataclass(slots=True, eq=False)
class Sent:
    """One request on its way: what it asks, for whom, and when it left."""

    request: Any
    data: bytes
    reads: Reads | None = None
    prepared: Prepared | None = None
    number: int = 0
    asked_at: float = 0.0
