"""How far is copying off, what waits and what went wrong? A house part, named "copy", that gives way to every roll.

It computes points from what the engine tells and the database holds, and tells the engine which recorders rest.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final

from stagectl.copyoff import words
from stagectl.copyoff.job import Sums
from stagectl.copyoff.progress import Busy, Progress
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import TRANSPORT, Transport
from stagectl.model.errors import RefusedError
from stagectl.model.points import Ear, PointSpec, Quality, Reading, Unit
from stagectl.model.verbs import Ask, Verb
from stagectl.model.world import Clock

if TYPE_CHECKING:
    from stagectl.copyoff.runs import CopyOff

_AT_REST: Final = (Transport.STOPPED, Transport.PREVIEW)


class CopyState(StrEnum):
    """What is done at large."""

    OFF = "off"  # the site names no place, or it can't be used
    IDLE = "idle"
    COPYING = "copying"
    WAITING = "waiting"  # a run goes, and every recorder that is left records or is out of sight


STATE: Final[PointSpec[CopyState]] = PointSpec("state", CopyState)
PROGRESS: Final[PointSpec[float]] = PointSpec("progress", float, Unit.RATIO)  # of the run's bytes
RATE: Final[PointSpec[float]] = PointSpec("rate", float, Unit.BYTES_PER_S)
LEFT: Final[PointSpec[float]] = PointSpec("left", float, Unit.S)  # until the run's end
WAITING: Final[PointSpec[int]] = PointSpec("waiting", int)  # clips that are not copied
FAILED: Final[PointSpec[int]] = PointSpec("failed", int)  # clips that could not be copied
DECK_WAITING: Final[PointSpec[int]] = PointSpec("{recorder}.waiting", int)
DECK_FAILED: Final[PointSpec[int]] = PointSpec("{recorder}.failed", int)
DECK_LATE: Final[PointSpec[int]] = PointSpec("{recorder}.late", int)  # not copied when a run that was due had ended
DECK_CLEAR: Final[PointSpec[bool]] = PointSpec("{recorder}.clear", bool)  # two verified copies of each of its clips

_OF_DECK: Final = (DECK_WAITING, DECK_FAILED, DECK_LATE, DECK_CLEAR)
_OF_ALL: Final = (STATE, PROGRESS, RATE, LEFT, WAITING, FAILED)
COPY: Final = Capability("copy", 1, (*_OF_ALL, *_OF_DECK), ())
NONE: Final = Sums()


class CopyPart:
    """Points of copying off, and the right of way of recorders.

    Attributes:
        hush: keeps copies off processor and disks while a roll goes out; of the engine, once there is one.
        give_way: stops the reads of one recorder that was asked to roll; of the engine, once there is one.
        rolls: stops the reads of one recorder that is seen to record.
        runs: what doors ask; None: nothing is copied here, and `why` says what keeps it, a sentence.
    """

    name = "copy"

    def __init__(self, board: Board, clock: Clock, decks: Sequence[str]) -> None:
        """`decks`: recorders with a clip store."""
        self._board = board
        self._clock = clock
        self.decks = tuple(decks)
        self.hush: Callable[[], None] = lambda: None
        self.give_way: Callable[[str], None] = lambda deck: None
        self.rolls: Callable[[str], None] = lambda deck: None
        self.runs: CopyOff | None = None
        self.why = words.no_place()
        self._written: dict[str, float] = {}  # when each last began or ended a recording, or was out of sight
        self._listed: dict[str, float] = {}  # when the list that is known of each was begun
        self._late: dict[str, int] = dict.fromkeys(decks, 0)
        self.sums: Mapping[str, Sums] = {}
        self.capability = Capability(
            COPY.kind, COPY.version, (*_OF_ALL, *(spec.at(deck) for deck in decks for spec in _OF_DECK)), ()
        )
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        ear = Ear(self._turned)
        for deck in decks:
            turning = board.reading(deck, TRANSPORT)
            turning.turns = (*turning.turns, ear)
        self.show_off()

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """It can only be read. Raises RefusedError."""
        raise RefusedError("Copying is begun by a run.", remedy="Say: stagectl copy run", code="verb")

    def act(self, verb: Verb) -> None:
        """Nothing."""

    # -- right of way ---------------------------------------------------------------------------------------------

    def rests(self, deck: str) -> bool | None:
        """Does it neither record nor play? None: not known. Whoever copies holds off by itself after `give_way`."""
        reading = self._board.get(deck, TRANSPORT)
        return reading.value in _AT_REST if reading.quality is Quality.GOOD else None

    def rolled(self, devices: Collection[str]) -> None:
        """A roll of these was let go: none of them is read from now on."""
        self.hush()
        for deck in self.decks:
            if deck in devices:
                self.give_way(deck)

    def _turned(self, reading: Reading[Any]) -> None:
        deck = reading.device
        if reading.quality is not Quality.GOOD or reading.value is Transport.RECORDING:
            self._written[deck] = self._clock.now()
        if reading.quality is Quality.GOOD and reading.value is Transport.RECORDING:
            self.rolls(deck)

    # -- what is known of clips -----------------------------------------------------------------------------------

    def listed(self, decks: Collection[str], began_at: float) -> None:
        """These recorders' clips were listed whole; the listing began at `began_at` of our clock."""
        self._listed.update(dict.fromkeys(decks, began_at))

    def is_listed(self, deck: str) -> bool:
        """Were its clips ever listed, by this daemon or by one before?"""
        return deck in self._listed or deck in self.sums

    def is_fresh(self, deck: str) -> bool:
        """Can it hold no clip that its list has not?"""
        listed = self._listed.get(deck)
        recording = self._board.get(deck, TRANSPORT)
        at_rest = recording.quality is Quality.GOOD and recording.value is not Transport.RECORDING
        return listed is not None and at_rest and self._written.get(deck, float("-inf")) < listed

    def due_ended(self) -> None:
        """A run that was due has ended: what is not copied now is late."""
        self._late = {deck: self._not_copied(deck) for deck in self.decks}

    def _not_copied(self, deck: str) -> int:
        sums = self.sums.get(deck, NONE)
        return sums.waiting + sums.failed

    # -- points ---------------------------------------------------------------------------------------------------

    def show_off(self) -> None:
        """Nothing is copied here."""
        for spec in self.capability.points:
            self._put(spec.name, None)
        self._put(STATE.name, CopyState.OFF)

    def show(self, progress: Progress) -> None:
        """Compute all points from how the engine stands, and from `sums`."""
        total = summed(self.sums)
        self._put(STATE.name, state_of(progress))
        self._put(PROGRESS.name, round(progress.done / progress.of, 3) if progress.of else 0.0)
        self._put(RATE.name, float(round(progress.rate)))
        self._put(LEFT.name, float(round(progress.left_s)) if progress.left_s is not None else None)
        self._put(WAITING.name, total.waiting)
        self._put(FAILED.name, total.failed)
        for deck in self.decks:
            sums = self.sums.get(deck, NONE)
            self._late[deck] = min(self._late[deck], self._not_copied(deck))
            self._put(DECK_WAITING.at(deck).name, sums.waiting)
            self._put(DECK_FAILED.at(deck).name, sums.failed)
            self._put(DECK_LATE.at(deck).name, self._late[deck])
            known = self.is_fresh(deck) and sums.clips > 0
            self._put(DECK_CLEAR.at(deck).name, sums.safe == sums.clips if known else None)

    def _put(self, name: str, value: object) -> None:
        quality = Quality.UNKNOWN if value is None else Quality.GOOD
        self._writer.compute(name, value, quality=quality, asked_at=self._clock.now())


def state_of(progress: Progress) -> CopyState:
    """What is done at large."""
    if not progress.running:
        return CopyState.IDLE
    busy = [deck.busy for deck in progress.decks.values() if deck.busy is not Busy.IDLE]
    return CopyState.WAITING if busy and all(one is Busy.WAITING for one in busy) else CopyState.COPYING


def summed(sums: Mapping[str, Sums]) -> Sums:
    """Of all recorders together."""
    every = sums.values()
    return Sums(
        clips=sum(one.clips for one in every),
        bytes=sum(one.bytes for one in every),
        waiting=sum(one.waiting for one in every),
        waiting_bytes=sum(one.waiting_bytes for one in every),
        failed=sum(one.failed for one in every),
        published=sum(one.published for one in every),
        safe=sum(one.safe for one in every),
    )
