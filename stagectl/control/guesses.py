"""How long must somebody wait who guesses passwords? Longer each time, and nobody else with them.

The delay is for one source and one account, and for one source over all accounts. It is never a lock: who holds a
token is not asked here, so a guesser can't shut a live operator out.
"""

from collections import OrderedDict
from typing import Final

from stagectl.model.world import Clock

FIRST_S: Final = 1.0  # after the first wrong password of an account
LONGEST_S: Final = 60.0
FREE: Final = 9  # wrong ones of a source over all accounts that cost nothing more
FORGET_S: Final = 900.0
KEPT: Final = 2000  # places remembered; the longest unheard goes first


class Guesses:
    """Counts wrong passwords. A try counts as wrong from its beginning until it has proved right."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._wrong: OrderedDict[tuple[str, str], tuple[int, float]] = OrderedDict()

    def wait_s(self, source: str, name: str) -> float:
        """Seconds until this source may try this account again; 0: now."""
        return max(self._left(source, name, 0), self._left(source, "", FREE))

    def begin(self, source: str, name: str) -> None:
        """A try begins."""
        for key in ((source, name), (source, "")):
            count, _ = self._of(key)
            self._wrong[key] = (count + 1, self._clock.now())
            self._wrong.move_to_end(key)
        while len(self._wrong) > KEPT:
            self._wrong.popitem(last=False)

    def right(self, source: str, name: str) -> None:
        """It was the right one: the account is free again, and this try does not count for its source."""
        self._wrong.pop((source, name), None)
        count, at = self._of((source, ""))
        if count > 0:
            self._wrong[source, ""] = (count - 1, at)

    def _of(self, key: tuple[str, str]) -> tuple[int, float]:
        count, at = self._wrong.get(key, (0, 0.0))
        return (0, 0.0) if count and self._clock.now() - at > FORGET_S else (count, at)

    def _left(self, source: str, name: str, free: int) -> float:
        count, at = self._of((source, name))
        if count <= free:
            return 0.0
        delay = min(LONGEST_S, FIRST_S * 2.0 ** min(count - free - 1, 10))
        return max(0.0, at + delay - self._clock.now())
