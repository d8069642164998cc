"""How often may one peer ask? A bucket of tokens each: five a second, ten at once."""

from collections import OrderedDict
from typing import Final

from stagectl.model.world import Clock

PER_S: Final = 5.0
BURST: Final = 10.0
PEERS: Final = 1000  # remembered; the longest unheard goes first, and begins with a full bucket when it comes again


class Rates:
    """The buckets of all peers."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, peer: str) -> float:
        """Take one token. Returns 0, or the seconds until there is one again."""
        now = self._clock.now()
        tokens, at = self._buckets.get(peer, (BURST, now))
        tokens = min(BURST, tokens + (now - at) * PER_S)
        wait_s = 0.0 if tokens >= 1 else (1 - tokens) / PER_S
        self._buckets[peer] = (tokens - 1 if wait_s == 0 else tokens, now)
        self._buckets.move_to_end(peer)
        while len(self._buckets) > PEERS:
            self._buckets.popitem(last=False)
        return wait_s
