"""How often may one peer ask? A bucket of tokens each: as installed five a second, ten at once."""

from collections import OrderedDict
from typing import Final

from stagectl.model.world import Clock

PER_S: Final = 5.0
BURST: Final = 10.0
PEERS: Final = 1000  # remembered; the longest unheard goes first, and begins with a full bucket when it comes again


class Rates:
    """The buckets of all peers."""

    def __init__(self, clock: Clock, per_s: float = PER_S, burst: float = BURST) -> None:
        self._clock = clock
        self._per_s = per_s
        self._burst = burst
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, peer: str) -> float:
        """Take one token. Returns 0, or the seconds until there is one again."""
        now = self._clock.now()
        tokens, at = self._buckets.get(peer, (self._burst, now))
        tokens = min(self._burst, tokens + (now - at) * self._per_s)
        wait_s = 0.0 if tokens >= 1 else (1 - tokens) / self._per_s
        self._buckets[peer] = (tokens - 1 if wait_s == 0 else tokens, now)
        self._buckets.move_to_end(peer)
        while len(self._buckets) > PEERS:
            self._buckets.popitem(last=False)
        return wait_s
