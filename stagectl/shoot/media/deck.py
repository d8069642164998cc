"""How long can one recorder go on? From its media, what its codec takes, and what they lose while it records."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, TypeVar

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
from stagectl.model.points import Quality, Reading
from stagectl.shoot.media.codecs import Takes, takes
from stagectl.shoot.media.fall import Confidence, Fall, Readings

T = TypeVar("T")

SLOTS: Final = (1, 2)  # as many as alarms and rolls look at too
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


@dataclass(frozen=True, slots=True)
class _Medium:
    """What is read of one slot."""

    number: int
    state: Reading[SlotState]
    free: Reading[int]
    left: Reading[int]
    name: Reading[str]

    @property
    def ready(self) -> bool:
        """Can it be written?"""
        return _good(self.state) is SlotState.READY

    @property
    def unknown(self) -> bool:
        """Is it one that was told of, and is not read now?"""
        return self.state.declared and self.state.quality is not Quality.GOOD


class Deck:
    """The media of one recorder."""

    def __init__(self, board: Board, device: str, reserve: int, rates: dict[str, float]) -> None:
        """`reserve`: bytes of each medium that are not counted; `rates`: what the site says of codecs."""
        self.device = device
        self._clock = board.clock
        self._reserve = reserve
        self._rates = rates
        self._kept = Readings()
        self._transport = board.get(device, TRANSPORT)
        self._active = board.get(device, SLOT_ACTIVE)
        self._codec = board.get(device, CODEC)
        self._channels = board.get(device, CHANNELS)
        self._format = board.get(device, INPUT_FORMAT)
        self._media = {
            slot: _Medium(
                slot,
                board.get(device, SLOT_STATE.at(slot)),
                board.get(device, SLOT_FREE.at(slot)),
                board.get(device, SLOT_LEFT.at(slot)),
                board.get(device, SLOT_NAME.at(slot)),
            )
            for slot in SLOTS
        }

    def points(self) -> list[Reading[Any]]:
        """What it lives on."""
        media = [each for one in self._media.values() for each in (one.state, one.free, one.left, one.name)]
        return [self._transport, self._active, self._codec, self._channels, self._format, *media]

    @property
    def rolls(self) -> bool:
        """Does it record, by its own report?"""
        return _good(self._transport) is Transport.RECORDING

    def takes(self) -> Takes | None:
        """What its codec takes; None: not known."""
        codec, form = _good(self._codec), _good(self._format)
        return takes(codec, form or "", _good(self._channels), self._rates) if codec else None

    def turned(self) -> None:
        """A point changed. What was free before it rolled, or on another medium, tells nothing of the fall."""
        if not self.rolls or (_good(self._active) or 0) not in self._media:
            self._kept.clear()

    def free_read(self) -> None:
        """Free room was read, perhaps as it was."""
        medium = self._media.get(_good(self._active) or 0)
        if not self.rolls or medium is None:
            self._kept.clear()
        elif (free := _good(medium.free)) is not None:
            of = (medium.number, _good(medium.name), _good(self._codec), _good(self._format))
            self._kept.add(medium.free.read_at, float(free), of)

    def left(self) -> Left:
        """All that is known now."""
        takes_now = self.takes()
        fall = self._kept.fall(self._clock.now()) if self.rolls else None
        active = _good(self._active)
        media = sorted(
            (one for one in self._media.values() if one.ready), key=lambda one: one.number != active
        )  # as it spills: the active one first
        slots = tuple(self._slot(one, takes_now, fall if one.number == active else None) for one in media)
        lefts = [slot.left_s for slot in slots if slot.left_s is not None]
        known, why = True, "" if slots else "it has no medium that can be written"
        if not slots and any(one.unknown for one in self._media.values()):
            known, why = False, "its media are not read now"
        elif len(lefts) < len(slots):
            known, why = False, "neither its codec nor the box tells how long its medium lasts"
        return Left(
            sum(lefts) if known else None,
            slots[0].basis if slots and known else Basis.NONE,
            why,
            slots,
            takes_now.bytes_per_s if takes_now is not None else None,
            fall.per_s if fall is not None else None,
            fall.confidence if fall is not None else Confidence.NONE,
            self._writes(takes_now, fall),
        )

    def _slot(self, medium: _Medium, takes_now: Takes | None, fall: Fall | None) -> Slot:
        free, device_s = _good(medium.free), _good(medium.left)
        room = None if free is None else max(0.0, float(free) - self._reserve)
        codec_s = room / takes_now.bytes_per_s if room is not None and takes_now is not None else None
        measured_s = None
        if fall is not None and fall.confidence is Confidence.GOOD and fall.high > 0:
            measured_s = max(0.0, fall.free - self._reserve) / fall.high  # at the faster end of what it may be
        told = {Basis.CODEC: codec_s, Basis.MEASURED: measured_s}
        known = {basis: value for basis, value in told.items() if value is not None}
        if not known and device_s is not None:
            known = {Basis.DEVICE: float(device_s)}
        basis = min(known, key=lambda one: known[one], default=Basis.NONE)
        name = _good(medium.name) or ""
        return Slot(medium.number, name, free, known.get(basis), codec_s, measured_s, device_s, basis)

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


def _good(reading: Reading[T]) -> T | None:
    """The value, if it may be believed."""
    return reading.value if reading.quality is Quality.GOOD else None
