"""May a deck be read now, and what is done with it? One deck's state within the engine."""

from collections import deque
from collections.abc import Callable
from typing import Final

from stagectl.copyoff.progress import Busy, DeckNow
from stagectl.copyoff.settings import Deck
from stagectl.copyoff.work import Leave, Meter

HOLD_S: Final = 10.0  # a deck that was asked to roll is not read for so long, whatever it says; own choice
UNKNOWN_S: Final = 60.0  # a deck whose state is not known for so long is given up for this run; own choice
RATE_S: Final = 5.0  # the rate is a mean over so long


class DeckState:
    """One deck.

    Args:
        deck: as declared.
        rests: does it neither record nor stand armed to? None: not known.

    Attributes:
        listed_at: when its newest whole list was read, on the clock; None: since it last rolled, none was.
        busy, why: for people.
        meters: one for each of its sessions.
    """

    def __init__(self, deck: Deck, rests: Callable[[str], bool | None]) -> None:
        self.deck = deck
        self.listed_at: float | None = None
        self.busy = Busy.IDLE
        self.why = ""
        self.meters = [Meter() for _ in range(deck.sessions)]
        self._rests = rests
        self._held_until = 0.0
        self._unknown_since: float | None = None
        self._leaves: set[Leave] = set()
        self._samples: deque[tuple[float, int]] = deque()

    def may_read(self, now: float) -> bool:
        """Does it rest, as far as that matters? Says why not."""
        if self.deck.while_recording:
            return True
        rests = self._rests(self.deck.name) if self.deck.tells_state else True
        self._unknown_since = None if rests is not None else self._unknown_since or now
        if rests and now >= self._held_until:
            return True
        self.listed_at = None  # when it rests again there may be another clip
        self.busy = Busy.WAITING
        self.why = (
            f"Whether {self.deck.called} records is not known, so it is not read."
            if rests is None
            else f"{self.deck.called} records, plays or is about to; it is read when it rests."
        )
        return False

    def lost(self, now: float) -> bool:
        """Its state has not been known for so long that nobody should wait for it."""
        return self._unknown_since is not None and now - self._unknown_since > UNKNOWN_S

    def give_way(self, now: float) -> None:
        """A roll arms: what is read off it stops now."""
        if not self.deck.while_recording:
            self._held_until = now + HOLD_S
            self.listed_at = None
            self.end()

    def rolls(self) -> None:
        """It is seen to record: what is read off it stops, and from now on its own word counts again."""
        if not self.deck.while_recording:
            self._held_until = 0.0
            self.listed_at = None
            self.end()

    def end(self) -> None:
        """Take leave back from all that reads it."""
        for leave in self._leaves:
            leave.end()

    def look(self, now: float) -> None:
        """Take leave back if it does not rest any more, and take a sample for its rate."""
        if self._leaves and not self.may_read(now):
            self.end()
        self._samples.append((now, self.total))
        while now - self._samples[0][0] > RATE_S:
            self._samples.popleft()

    def begin(self) -> Leave:
        """Leave to read it; give it back with `ended`."""
        leave = Leave()
        self._leaves.add(leave)
        return leave

    def ended(self, leave: Leave) -> None:
        """It is not read with this leave any more; a thread that nobody waits for any longer lets go."""
        leave.end()
        self._leaves.discard(leave)

    @property
    def total(self) -> int:
        """Bytes that came off it."""
        return sum(meter.total for meter in self.meters)

    @property
    def rate(self) -> float:
        """Bytes a second."""
        if len(self._samples) < 2:
            return 0.0
        (first, had), (last, has) = self._samples[0], self._samples[-1]
        return (has - had) / (last - first)

    def now(self) -> DeckNow:
        """As others see it."""
        meter = next((one for one in self.meters if one.clip), None)
        if meter is None:
            return DeckNow(busy=self.busy, why=self.why)
        return DeckNow(self.busy, meter.clip, meter.done, meter.of, self.rate, self.why)
