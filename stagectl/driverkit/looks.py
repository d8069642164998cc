"""Which points of a box are due to be asked for again, and how old may they become?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from stagectl.driverkit.asked import Reads
from stagectl.driverkit.driver import Look
from stagectl.model.board import BoardWriter
from stagectl.model.points import PointSpec, Reading
from stagectl.model.world import Stream

TICK_S: Final = 0.5  # ages, deadlines and polls are looked at this often
FRESH_S: Final = 3.0  # a shown value is never older without saying so


def age_of(looks: Sequence[Look], spec: PointSpec[Any]) -> float:
    """Seconds after which a point is stale; 0: it is kept by notices."""
    every = {name: look.every_s for look in looks for name in look.names}
    found = every.get(spec.template or spec.name, every.get(spec.name))
    return max(2 * found, FRESH_S) - TICK_S if found is not None else 0


@dataclass(slots=True, eq=False)
class _Polled:
    """The points of one look, as long as the box declares no more."""

    declared: int
    names: list[str]
    slots: list[Reading[Any]]

    @classmethod
    def of(cls, look: Look, writer: BoardWriter) -> "_Polled":
        slots = [slot for slot in writer.declared() if slot.name in look.names or slot.spec.template in look.names]
        return cls(writer.count, [slot.name for slot in slots], slots)


class Looks:
    """The looks of one box: each at a moment of its own, and one question at a time."""

    __slots__ = ("_asked", "_at", "_polled")

    def __init__(self) -> None:
        self._at: list[float] = []
        self._asked: dict[int, Reads] = {}
        self._polled: dict[int, _Polled] = {}

    def begin(self, looks: Sequence[Look], now: float, chance: Stream) -> None:
        """A new link: the first moments are drawn, for else a thousand boxes reached at once are asked at once."""
        self._at = [now + look.every_s * chance.uniform(0.2, 1.0) for look in looks]
        self._asked.clear()

    def due(
        self, looks: Sequence[Look], now: float, writer: BoardWriter, *, rare: bool = True
    ) -> Iterator[tuple[int, list[str]]]:
        """Number and points of each look whose time has come, but for those that the box has just told of its own.

        `rare`: also those that are seldom: clips, media and the like, which are no proof of a roll or cut.
        """
        for number, look in enumerate(looks):
            if now < self._at[number] or number in self._asked or (look.every_s >= FRESH_S and not rare):
                continue
            self._at[number] = now + look.every_s - TICK_S / 4
            polled = self._polled.get(number)
            if polled is None or polled.declared != writer.count:
                polled = self._polled[number] = _Polled.of(look, writer)
            if not polled.slots or min(slot.asked_at for slot in polled.slots) <= now - look.every_s / 4:
                yield number, polled.names

    def asked(self, number: int, reads: Reads) -> None:
        """Not again before it is answered."""
        self._asked[number] = reads

    def answered(self, number: int) -> None:
        """All that look `number` asked for is."""
        self._asked.pop(number, None)
