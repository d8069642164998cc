"""How does a level rise without hurting ears? In small steps, and a hand at the box wins.

Only upwards: a fall is done at once. Sound caution: a remote gain step can hurt; the site's limits are the ceiling.
"""

from collections.abc import Callable
from typing import Any, Final

from stagectl.driverkit.asked import Prepared
from stagectl.driverkit.box import Box
from stagectl.model.board import Board
from stagectl.model.conditions import number_of
from stagectl.model.errors import RefusedError
from stagectl.model.points import Poked, Quality, Reading
from stagectl.model.verbs import Set
from stagectl.model.world import Clock

STEP_S: Final = 0.05  # 20 steps a second is plenty (mixer sheet, pitfall 7, common practice)
LATE_S: Final = 0.5  # a step that comes later would be a jump of more than 3 dB: the rise ends instead; own choice
QUIET_DB: Final = -60.0  # a rise from off begins here; own choice, below what is heard in a hall
SENT: Final = 8  # own values remembered, to tell a hand from our own steps


def rise_s(board: Board, device: str, verb: Set[Any]) -> float:
    """How many seconds a Set must take to rise; 0: it falls, stays, or has no ramp."""
    wanted = number_of(verb.value)
    if not verb.point.ramp_per_s or wanted is None:
        return 0.0
    rise = wanted - _from(board, device, verb)
    return max(0.0, rise / verb.point.ramp_per_s) if rise > verb.point.ramp_per_s * STEP_S else 0.0


def _from(board: Board, device: str, verb: Set[Any]) -> float:
    reading = board.reading(device, verb.point)
    now = number_of(reading.value) if reading.quality in (Quality.GOOD, Quality.STALE) else None
    return max(QUIET_DB, now) if now is not None else QUIET_DB


class Ramp(Poked):
    """One rise under way. Ends by `on_top` (the last step is the caller's) or `on_hand` (a hand, a standstill)."""

    __slots__ = (
        "_begun",
        "_board",
        "_box",
        "_clock",
        "_due",
        "_on_hand",
        "_on_top",
        "_over",
        "_reading",
        "_sent",
        "_start",
        "_step_out",
        "_verb",
    )

    def __init__(
        self,
        board: Board,
        box: Box,
        clock: Clock,
        verb: Set[Any],
        *,
        on_top: Callable[[], None],
        on_hand: Callable[[str, str], None],
    ) -> None:
        """`on_hand(words, code)` tells why it ends before the top."""
        self._box = box
        self._clock = clock
        self._verb = verb
        self._on_top = on_top
        self._on_hand = on_hand
        self._start = _from(board, box.name, verb)
        self._sent: list[float] = [self._start]
        self._begun = self._due = clock.now()
        self._over = False
        self._step_out: Prepared | None = None  # still waits in the box's line
        self._reading = board.reading(box.name, verb.point)
        self._reading.watches = (*self._reading.watches, self)
        self._step()

    @property
    def reached(self) -> float:
        """The last step that left for the box, in the point's unit."""
        return self._sent[-2] if self._step_out is not None and len(self._sent) > 1 else self._sent[-1]

    def end(self) -> None:
        """Stop here; safe to call twice. A step that has not left stays here."""
        self._over = True
        if self._step_out is not None:
            self._box.withdraw(self._step_out, 0)
            self._step_out = None
        if self in self._reading.watches:
            self._reading.watches = tuple(one for one in self._reading.watches if one is not self)

    def poke(self, reading: Reading[Any]) -> None:
        """A notice (not the echo of our own step) with a value that is none of ours: a hand took over."""
        value = number_of(reading.value)
        told = reading.asked_at == reading.read_at and reading.changed_at == reading.read_at
        if self._over or not told or value is None or self.ours(value):
            return
        self.end()
        self._on_hand(f"a hand took over at {reading.spec.say(reading.value)}", "hand")

    def ours(self, value: object) -> bool:
        """Is this one of our own steps, as near as boxes round and report in between?"""
        seen = number_of(value)
        return seen is not None and any(abs(seen - one) <= max(self._verb.point.tolerance, 1.0) for one in self._sent)

    def _step(self) -> None:
        if self._over:
            return
        wanted = number_of(self._verb.value)
        assert wanted is not None
        now = self._clock.now()
        if now - self._due > LATE_S:
            self.end()
            last = self._verb.point.say(round(self._sent[-1], 1))
            self._on_hand(
                f"stagectl stood still for {now - self._due:.1f} s, and it stays at about {last}", "stood-still"
            )
            return
        value = self._start + self._verb.point.ramp_per_s * (now - self._begun)
        if value >= wanted:
            self.end()
            self._on_top()
            return
        if self._step_out is None:  # a slow box gets fewer steps, never a line of them
            self._sent = [*self._sent[-SENT:], value]
            try:
                self._step_out = self._box.prepare([Set(self._verb.point, round(value, 2))])
                self._step_out.on_sent = self._left
                self._box.enqueue(self._step_out)
            except RefusedError as refused:
                self.end()
                self._on_hand(str(refused), refused.code)
                return
        self._due = now + STEP_S
        self._clock.later(self._due, self._step)

    def _left(self, index: int | None, at: float) -> None:
        self._step_out = None
