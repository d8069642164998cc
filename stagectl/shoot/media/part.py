"""Does every recorder have room for the day? A house part, named "media"."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import SLOT_FREE
from stagectl.model.errors import RefusedError
from stagectl.model.late import PATIENCE_S
from stagectl.model.points import Ear, PointSpec, Quality, Reading, Unit
from stagectl.model.verbs import Ask, Verb
from stagectl.shoot.media.deck import Basis, Deck, Left, Writes
from stagectl.site import LineupEntry

TELL_S: Final = 0.5  # points are computed at most so often
TELL_SLICE: Final = 16  # recorders computed in one turn of the loop: a millisecond
STEADY_S: Final = 2.0  # a record time that moved less than a poll's worth is the same

LEFT: Final[PointSpec[float]] = PointSpec("{recorder}.left", float, Unit.S)  # to record, all its media together
BASIS: Final[PointSpec[Basis]] = PointSpec("{recorder}.basis", Basis)
WRITES: Final[PointSpec[Writes]] = PointSpec("{recorder}.writes", Writes)
ENOUGH: Final[PointSpec[bool]] = PointSpec("{recorder}.enough", bool)  # for what is still planned, with some to spare
PLANNED: Final[PointSpec[float]] = PointSpec("planned", float, Unit.S)  # takes of the day that are not recorded yet
LEAST: Final[PointSpec[float]] = PointSpec("least", float, Unit.S)  # of the recorder that has least

MEDIA: Final = Capability("media", 1, (LEFT, BASIS, WRITES, ENOUGH, PLANNED, LEAST), ())


class Media:
    """The record time of every recorder, and the day's plan against it."""

    name = "media"

    def __init__(
        self,
        board: Board,
        wanted: LineupEntry,
        recorders: Mapping[str, str],
        recorded: Callable[[], Sequence[str]] = tuple,
    ) -> None:
        """`recorders`: device -> what people call it; `recorded`: names of the takes that were recorded today."""
        self._board = board
        self._wanted = wanted
        self._called = recorders
        self._recorded = recorded
        self._decks = {name: Deck(board, name, wanted.reserve_bytes, dict(wanted.rates)) for name in recorders}
        self.capability = Capability(
            MEDIA.kind,
            MEDIA.version,
            (*(spec.at(name) for name in recorders for spec in (LEFT, BASIS, WRITES, ENOUGH)), PLANNED, LEAST),
            (),
        )
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        self._dirty: dict[str, None] = {}
        self._patient_until = 0.0  # what is dirty waits no longer for a proof
        self._shown: dict[str, float | None] = {}
        free, turn = Ear(self._free_read), Ear(self._turned)
        for name, deck in self._decks.items():
            for reading in deck.points():
                if reading.spec.template == SLOT_FREE.name:
                    reading.watches = (*reading.watches, free)  # also when it stands: that is a reading of the fall
                else:
                    reading.turns = (*reading.turns, turn)
            self._soon(name)

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """It can only be read. Raises RefusedError."""
        raise RefusedError("Record time is only looked at.", remedy="See: stagectl media", code="verb")

    def act(self, verb: Verb) -> None:
        """Nothing."""

    # -- from points ----------------------------------------------------------------------------------------------

    def _free_read(self, reading: Reading[Any]) -> None:
        self._decks[reading.device].free_read()
        self._soon(reading.device)

    def _turned(self, reading: Reading[Any]) -> None:
        self._decks[reading.device].turned()
        self._soon(reading.device)

    def _soon(self, device: str) -> None:
        if not self._dirty:
            self._patient_until = self._board.clock.now() + PATIENCE_S
            self._board.clock.later(self._board.clock.now() + TELL_S, self._tell)
        self._dirty[device] = None

    def plan_moved(self) -> None:
        """A take ended: what is still planned is less."""
        for name in self._decks:
            self._soon(name)

    def _tell(self) -> None:
        """Compute those that were heard, some in one turn of the loop; many of them not while a roll is proved."""
        now, until = self._board.clock.now(), min(self._board.proving_until, self._patient_until)
        if len(self._dirty) > TELL_SLICE and now < until:
            self._board.clock.later(min(now + TELL_S, until), self._tell)
            return
        planned = self.planned_s()
        for name in list(self._dirty)[:TELL_SLICE]:
            del self._dirty[name]
            self._tell_one(name, self._decks[name].left(), planned)
        self._put(PLANNED.name, planned, known=True)
        lefts = [self._shown.get(name) for name in self._decks]
        least = [left for left in lefts if left is not None]
        self._put(LEAST.name, round(min(least)) if least else None, known=bool(least) and len(least) == len(lefts))
        if self._dirty:
            self._board.clock.later(self._board.clock.now(), self._tell)

    def _tell_one(self, name: str, left: Left, planned: float) -> None:
        before, value = self._shown.get(name), left.left_s
        if value is not None and before is not None and abs(value - before) < STEADY_S:
            value = before
        self._shown[name] = value
        self._put(LEFT.at(name).name, None if value is None else round(value), known=value is not None)
        self._put(BASIS.at(name).name, left.basis, known=left.basis is not Basis.NONE)
        self._put(WRITES.at(name).name, left.writes, known=left.writes is not None)
        enough = None if left.left_s is None else left.left_s >= planned * (1 + self._wanted.spare)
        self._put(ENOUGH.at(name).name, enough, known=enough is not None)

    def _put(self, name: str, value: object, *, known: bool) -> None:
        quality = Quality.GOOD if known else Quality.UNKNOWN
        self._writer.compute(name, value if known else None, quality=quality, asked_at=self._board.clock.now())

    def planned_s(self) -> float:
        """Seconds of the takes that are planned and not recorded yet."""
        return sum(lasts * times for _, lasts, times in self._still())

    def _still(self) -> list[tuple[str, float, int]]:
        names = [name.casefold() for name in self._recorded()]
        return [
            (take.name, take.lasts_s, max(0, take.times - names.count(take.name.casefold())))
            for take in self._wanted.plan
        ]

    # -- for the doors --------------------------------------------------------------------------------------------

    def left(self, device: str) -> Left:
        """All that is known of one recorder."""
        return self._decks[device].left()

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        planned = self.planned_s()
        rows = []
        for deck in self._decks.values():
            row = deck.plain(self._called)
            left = row["left"]
            rows.append(row | {"enough": None if left is None else left >= planned * (1 + self._wanted.spare)})
        return {
            "planned": round(planned),
            "spare": self._wanted.spare,
            "plan": [{"take": name, "lasts": lasts, "times": times} for name, lasts, times in self._still()],
            "media": rows,
        }
