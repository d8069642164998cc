"""Does a set-up still hold, and who changed what? One watch for each wanted value."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from stagectl.model.board import Board
from stagectl.model.conditions import NO, UNKNOWN, YES, Truth, Watch
from stagectl.shoot.setups.setup import Pair, Wanted


@dataclass(frozen=True, slots=True)
class Drift:
    """A value that was as wanted and is not any more. `was`: the value before; `by`: whose act, see `Reading.by`."""

    wanted: Wanted
    was: Any
    now: Any
    by: str
    changed_at: float


class Hold:
    """Watches what a set-up wants, from its birth to `end`.

    Attributes:
        drifts: what changed away, oldest first, as long as it is not right again.
    """

    def __init__(
        self,
        board: Board,
        wants: Sequence[Wanted],
        author: Callable[[Wanted], tuple[str, float]],
        *,
        changed: Callable[[], None],
        drifted: Callable[[Drift], None],
        back: Callable[[Wanted], None],
    ) -> None:
        """Begin.

        Args:
            board: where the values are read.
            wants: what is watched.
            author: whose act the last change of a value was, and when.
            changed: told after every change of a truth.
            drifted: told of a value that was right and is not any more.
            back: told when it is right again.
        """
        self.drifts: dict[Pair, Drift] = {}
        self._board = board
        self._author = author
        self._changed = changed
        self._drifted = drifted
        self._back = back
        self._truths: dict[Pair, Truth] = {one.pair: UNKNOWN for one in wants}
        self._right: dict[Pair, Any] = {}
        self._born = False
        self._watches: list[Watch] = [self._watch(one) for one in wants]
        self._born = True

    def count(self, truth: Truth) -> int:
        """How many of the watched values are so."""
        return sum(one is truth for one in self._truths.values())

    def end(self) -> None:
        """Watch no more; safe to call twice."""
        for watch in self._watches:
            watch.detach()
        self._watches.clear()

    def _watch(self, wanted: Wanted) -> Watch:
        claim = wanted.spec.is_(wanted.value)
        return self._board.watch(claim, lambda truth: self._turned(wanted, truth), device=wanted.device, lazy=True)

    def _turned(self, wanted: Wanted, truth: Truth) -> None:
        self._truths[wanted.pair] = truth
        value = self._board.reading(wanted.device, wanted.spec).value
        if truth is YES:
            self._right[wanted.pair] = value
            if self.drifts.pop(wanted.pair, None) is not None:
                self._back(wanted)
        elif truth is NO and wanted.pair in self._right and wanted.pair not in self.drifts:
            by, at = self._author(wanted)
            drift = Drift(wanted, self._right[wanted.pair], value, by, at)
            self.drifts[wanted.pair] = drift
            self._drifted(drift)
        if self._born:
            self._changed()
