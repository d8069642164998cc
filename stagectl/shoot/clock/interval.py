"""How far is a clock that ticks in frames from ours? Every answer proves an interval; together they prove a small one.

A question left at `asked_at` and its answer came at `read_at`: somewhere between, label number k was showing. So the
clock's lead over ours lies between k/r - read_at and (k+1)/r - asked_at. Intersecting what many answers prove leaves
less than a frame, and the true value inside. Choosing the shortest round trip, as network time does, gains nothing: the
error is the frame, not the way. Answers must not be in step with the frames, or all prove the same.

For a clock without frames one answer gives what RFC 5905 (section 8) gives: the middle is its offset, half the width
half its delay.
"""

from dataclasses import dataclass
from statistics import median
from typing import Final

DRIFT: Final = 50e-6  # how fast a clock may run away unseen: what crystals of studio boxes keep, common practice
ENOUGH: Final = 8  # answers that make an estimate; own choice: it is then within a quarter of a frame
TELLS: Final = 24  # estimates kept for the slope; when there are more, every other one is dropped
TELL_S: Final = 25.0  # between two of them at first: after ten minutes a drift of a frame in an hour or two shows
NEVER: Final = float("-inf")
EVER: Final = float("inf")


@dataclass(frozen=True, slots=True)
class Between:
    """A lead of a clock over ours, in seconds: it lies within `low` and `high`."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """The best guess."""
        return (self.low + self.high) / 2

    @property
    def give(self) -> float:
        """It is at most so far off."""
        return (self.high - self.low) / 2


def proven(first_s: float, after_s: float, asked_at: float, read_at: float) -> Between:
    """What one answer proves.

    Args:
        first_s: the clock's own time when the frame it named begins.
        after_s: ...and when the next one does; the same for a clock without frames.
        asked_at: our time when the question left; -inf: nobody asked, it told by itself.
        read_at: our time when the answer was there.
    """
    return Between(first_s - read_at, after_s - asked_at)


class Lead:
    """The lead of one clock over ours, from all that it answered since it last jumped.

    An old proof grows worth less by DRIFT, and all grow so alike: so two numbers hold what all of them prove.

    Attributes:
        count: answers that count.
        told: estimates for the slope, with when they were made.
        jumps: how often what it said could not be true of a clock that runs on: it jumped, or its rate is another.
        since: when it jumped last, on our clock.
    """

    __slots__ = ("_apart_s", "_high", "_low", "count", "jumps", "since", "told")

    def __init__(self) -> None:
        self.told: list[tuple[float, Between]] = []
        self._apart_s = TELL_S
        self._low, self._high = NEVER, EVER  # as they would be at our time 0
        self.count = 0
        self.jumps = 0
        self.since = NEVER

    def add(self, proof: Between, at: float) -> bool:
        """Take one more proof, made at our time `at`. False: it contradicts the others, and begins anew."""
        low, high = proof.low + DRIFT * at, proof.high - DRIFT * at
        self._low, self._high = max(self._low, low), min(self._high, high)
        if self._low - DRIFT * at > self._high + DRIFT * at:
            self._low, self._high = low, high
            self.told.clear()
            self._apart_s = TELL_S
            self.count = 1
            self.jumps += 1
            self.since = at
            return False
        self.count += 1
        if self.count >= ENOUGH and (not self.told or at - self.told[-1][0] >= self._apart_s):
            self.told.append((at, self.now(at)))
            if len(self.told) > TELLS:
                del self.told[1::2]
                self._apart_s *= 2
        return True

    def now(self, at: float) -> Between:
        """What all proofs say together at our time `at`; without any: it may be anywhere."""
        return Between(self._low - DRIFT * at, self._high + DRIFT * at)

    def drift(self, against: "Lead | None" = None) -> Between | None:
        """How fast it runs away from `against` (None: from us), as a ratio; None: not seen for long enough.

        The middle is the median of all pairs (Theil and Sen), which one bad estimate does not move; the interval is
        what the estimates prove of a clock that drifts evenly.
        """
        mine = self.told if against is None else [_against(at, one, against.told) for at, one in self.told]
        mine = [(at, one) for at, one in mine if one.low > NEVER]
        if len(mine) < 2 or mine[-1][0] - mine[0][0] < TELL_S:
            return None
        slopes = [
            (later.middle - one.middle) / (then - at)
            for place, (at, one) in enumerate(mine)
            for then, later in mine[place + 1 :]
        ]
        lows = [(later.low - one.high) / (then - at) for at, one in mine for then, later in mine if then > at]
        highs = [(later.high - one.low) / (then - at) for at, one in mine for then, later in mine if then > at]
        middle, low, high = median(slopes), max(lows), min(highs)
        if low > high:  # it did not drift evenly: say no more than the slopes do
            return Between(min(slopes), max(slopes))
        return Between(min(low, middle), max(high, middle))


def _against(at: float, one: Between, told: list[tuple[float, Between]]) -> tuple[float, Between]:
    """One estimate less the other clock's nearest in time; without any: it may be anything."""
    if not told:
        return at, Between(NEVER, EVER)
    made, other = min(told, key=lambda each: abs(each[0] - at))
    give = DRIFT * abs(made - at)
    return at, Between(one.low - other.high - give, one.high - other.low + give)
