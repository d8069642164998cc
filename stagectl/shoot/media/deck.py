"""How long can one recorder go on? From its media, what its codec takes, and what they lose while it records."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import (
    CHANNELS,
    CODEC,
    INPUT_FORMAT,
    SLOT_ACTIVE,
    SLOT_FREE,
    SLOT_LEFT,
    SLOT_NAME,
    SLOT_STATE,
    TRANSPORT,
    SlotState,
    Transport,
)
from stagectl.model.points import PointSpec, Quality, Reading
from stagectl.shoot.media.codecs import Takes, takes
from stagectl.shoot.media.fall import Confidence, Fall, Readings

SLOTS: Final = (1, 2, 3, 4)  # as many as recorders have; a slot that was never told is not there
OTHERWISE: Final = 0.25  # a constant codec that falls so much faster or slower records something else
OVER: Final = 0.10  # a codec whose frames differ may be so much over its rate
STILL_S: Final = 60.0  # free room that stands so long while it records: nothing is written


class Basis(StrEnum):
    """Where a record time comes from."""

    CODEC = "codec"
    MEASURED = "measured"
    DEVICE = "the box"
    NONE = "nothing"


class Writes(StrEnum):
    """Does a recorder write what its codec should?"""

    WELL = "as it should"
    OTHERWISE = "at another rate"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Slot:
    """One medium. `left_s` None: not known; `codec_s`, `measured_s`, `device_s`: what each says alone."""

    number: int
    name: str
    free: int | None
    left_s: float | None
    codec_s: float | None = None
    measured_s: float | None = None
    device_s: float | None = None
    basis: Basis = Basis.NONE


@dataclass(frozen=True, slots=True)
class Left:
    """One recorder. `left_s` None: not known, and `why` says so; `per_s`: bytes it takes a second."""

    left_s: float | None
    basis: Basis
    why: str
    slots: tuple[Slot, ...]
    per_s: float | None
    measured_per_s: float | None
    confidence: Confidence
    writes: Writes | None


class Deck:
    """The media of one recorder."""

    def __init__(self, board: Board, device: str, reserve: int, rates: dict[str, float]) -> None:
        """`reserve`: bytes of each medium that are not counted; `rates`: what the site says of codecs."""
        self._board = board
        self.device = device
        self._reserve = reserve
        self._rates = rates
        self._kept = Readings()

    def points(self) -> list[Reading[Any]]:
        """What it lives on."""
        board, name = self._board, self.device
        plain: tuple[PointSpec[Any], ...] = (TRANSPORT, SLOT_ACTIVE, CODEC, CHANNELS, INPUT_FORMAT)
        slots: list[PointSpec[Any]] = [
            spec.at(slot) for slot in SLOTS for spec in (SLOT_STATE, SLOT_FREE, SLOT_LEFT, SLOT_NAME)
        ]
        return [board.reading(name, spec) for spec in (*plain, *slots)]

    def _good(self, spec: PointSpec[Any]) -> Any:
        reading = self._board.reading(self.device, spec)
        return reading.value if reading.quality is Quality.GOOD else None

    @property
    def rolls(self) -> bool:
        """Does it record, by its own report?"""
        return bool(self._good(TRANSPORT) is Transport.RECORDING)

    def takes(self) -> Takes | None:
        """What its codec takes; None: not known."""
        codec, form, channels = self._good(CODEC), self._good(INPUT_FORMAT), self._good(CHANNELS)
        return takes(str(codec), str(form or ""), channels, self._rates) if codec else None

    def heard(self) -> None:
        """A point changed, or free room was read again."""
        active = self._good(SLOT_ACTIVE)
        if not self.rolls or active is None:
            self._kept.clear()
            return
        reading = self._board.reading(self.device, SLOT_FREE.at(active))
        if reading.quality is Quality.GOOD and reading.value is not None:
            of = (active, self._good(SLOT_NAME.at(active)), self._good(CODEC), self._good(INPUT_FORMAT))
            self._kept.add(reading.read_at, float(reading.value), of)

    def left(self) -> Left:
        """All that is known now."""
        now = self._board.clock.now()
        takes_now = self.takes()
        fall = self._kept.fall(now) if self.rolls else None
        active = self._good(SLOT_ACTIVE)
        numbers = [slot for slot in SLOTS if self._good(SLOT_STATE.at(slot)) is SlotState.READY]
        numbers.sort(key=lambda slot: slot != active)
        slots = tuple(self._slot(slot, takes_now, fall if slot == active else None) for slot in numbers)
        writes = self._writes(takes_now, fall)
        known = [slot.left_s for slot in slots if slot.left_s is not None]
        unknown = [self._state_unknown(slot) for slot in SLOTS]
        per_s = takes_now.bytes_per_s if takes_now is not None else None
        confidence = fall.confidence if fall is not None else Confidence.NONE
        measured = fall.per_s if fall is not None else None
        if any(unknown) and not slots:
            return Left(None, Basis.NONE, "its media are not read now", slots, per_s, measured, confidence, writes)
        if len(known) < len(slots):
            why = "neither its codec nor the box tells how long its medium lasts"
            return Left(None, Basis.NONE, why, slots, per_s, measured, confidence, writes)
        basis = slots[0].basis if slots else Basis.NONE
        why = "" if slots else "it has no medium that can be written"
        return Left(sum(known), basis, why, slots, per_s, measured, confidence, writes)

    def _state_unknown(self, slot: int) -> bool:
        """Is the slot one that was told of, and is not read now?"""
        reading = self._board.reading(self.device, SLOT_STATE.at(slot))
        return reading.declared and reading.quality is not Quality.GOOD

    def _slot(self, number: int, takes_now: Takes | None, fall: Fall | None) -> Slot:
        free, device_s = self._good(SLOT_FREE.at(number)), self._good(SLOT_LEFT.at(number))
        room = None if free is None else max(0.0, float(free) - self._reserve)
        codec_s = room / takes_now.bytes_per_s if room is not None and takes_now is not None else None
        measured_s = None
        if fall is not None and fall.confidence is Confidence.GOOD and fall.high > 0:
            measured_s = max(0.0, fall.free - self._reserve) / fall.high  # at the faster end of what it may be
        name = str(self._good(SLOT_NAME.at(number)) or "")
        told = {Basis.CODEC: codec_s, Basis.MEASURED: measured_s}
        known = {basis: value for basis, value in told.items() if value is not None}
        if not known and device_s is not None:
            known = {Basis.DEVICE: float(device_s)}
        basis = min(known, key=lambda one: known[one], default=Basis.NONE)
        return Slot(number, name, free, known.get(basis), codec_s, measured_s, device_s, basis)

    def _writes(self, takes_now: Takes | None, fall: Fall | None) -> Writes | None:
        """None: it does not record, or it can't be said."""
        if not self.rolls:
            return None
        if self._kept.still_s >= STILL_S:
            return Writes.NOTHING
        if fall is None or fall.confidence is not Confidence.GOOD or takes_now is None:
            return None
        share = fall.per_s / takes_now.bytes_per_s
        bounds = (1 - OTHERWISE, 1 + OTHERWISE) if takes_now.constant else (0.0, 1 + OVER)
        return Writes.WELL if bounds[0] <= share <= bounds[1] else Writes.OTHERWISE

    def plain(self, called: Mapping[str, str]) -> dict[str, Any]:
        """As JSON."""
        left = self.left()
        return {
            "device": self.device,
            "called": called[self.device],
            "left": None if left.left_s is None else round(left.left_s),
            "basis": str(left.basis),
            "why": left.why,
            "per_s": None if left.per_s is None else round(left.per_s),
            "measured_per_s": None if left.measured_per_s is None else round(left.measured_per_s),
            "confidence": str(left.confidence),
            "writes": str(left.writes) if left.writes is not None else "",
            "slots": [
                {
                    "slot": slot.number,
                    "name": slot.name,
                    "free": slot.free,
                    "left": None if slot.left_s is None else round(slot.left_s),
                    "codec": None if slot.codec_s is None else round(slot.codec_s),
                    "measured": None if slot.measured_s is None else round(slot.measured_s),
                    "box": None if slot.device_s is None else round(slot.device_s),
                    "basis": str(slot.basis),
                }
                for slot in left.slots
            ],
        }
