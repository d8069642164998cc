"""What does one recorder's timecode tell: its lead, and whether it stands, jumps or counts otherwise than it should?"""

from dataclasses import dataclass
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import INPUT_FORMAT, TIMECODE, TIMECODE_SOURCE, TRANSPORT, Transport
from stagectl.model.points import NEVER, Quality, Reading
from stagectl.model.timecode import Label, Rate, frame_number, label_day, rate_of_format
from stagectl.shoot.clock.interval import Lead, proven

FRESH_S: Final = 8.0  # an answer older than this tells nothing of now
STANDS_S: Final = 0.5  # a label that is still the same so much later stands
SLIPS: Final = 3  # contradictions within SLIPS_S: no jump any more, but another speed
SLIPS_S: Final = 180.0
JAM_S: Final = 10.0  # a jump so near the daily jam is expected
_COMES_IN: Final = (Transport.PREVIEW, Transport.RECORDING)  # else it shows the timecode of a clip


@dataclass(slots=True)
class Slip:
    """What it said when it contradicted itself."""

    at: float
    frames: float
    label: str


class Follower:
    """Follows the timecode of one recorder from its answers; `heard` at every reading of it.

    Attributes:
        lead: over our clock.
        rate: of its labels, by its format and its mark; None: not known.
        wrong: why its labels can't be counted, a clause; empty: they can.
        slips: the latest contradictions, newest last.
    """

    def __init__(self, board: Board, device: str, *, jam: str) -> None:
        self.device = device
        self.lead = Lead()
        self.rate: Rate | None = None
        self.wrong = ""
        self.slips: list[Slip] = []
        self._label: Reading[str] = board.get(device, TIMECODE)
        self._format: Reading[str] = board.get(device, INPUT_FORMAT)
        self._transport: Reading[Transport] = board.get(device, TRANSPORT)
        self._source: Reading[str] = board.get(device, TIMECODE_SOURCE)
        self._jam = Label.parse(jam) if jam else None
        self._counted: tuple[object, bool] | None = None  # format and mark that `rate` was read from
        self._frame_s = self._day_s = 0.0
        self._asked_at = NEVER

    @property
    def reading(self) -> Reading[Any]:
        """The point that is followed."""
        return self._label

    @property
    def comes_in(self) -> bool:
        """Does it show what comes in, and not a clip?"""
        return self._transport.quality is Quality.GOOD and self._transport.value in _COMES_IN

    @property
    def drops(self) -> bool:
        """Is its label marked as drop-frame?"""
        return ";" in str(self._label.value or "")

    @property
    def label(self) -> str:
        """As last seen."""
        return str(self._label.value or "")

    @property
    def free_by_itself(self) -> bool:
        """It says that it runs on a clock of its own."""
        return self._source.quality is Quality.GOOD and str(self._source.value).casefold() == "internal"

    def fresh(self, now: float) -> bool:
        """Is its label good and lately asked for?"""
        return self._label.quality is Quality.GOOD and now - self._label.asked_at <= FRESH_S

    def stands(self) -> bool:
        """Was the same label read again, later than it may show?"""
        return self._label.asked_at - self._label.changed_at > STANDS_S

    def heard(self) -> bool:
        """Take a new answer into account. False: it was told unasked, and is as old as its way here."""
        reading = self._label
        if reading.asked_at >= reading.read_at or reading.asked_at <= self._asked_at:
            return False
        if reading.quality is not Quality.GOOD:
            return False
        self._asked_at = reading.asked_at
        if not self.comes_in:
            self.lead = Lead()
        elif (count := self._count()) is not None:
            self._prove(count, reading)
        return True

    def _count(self) -> int | None:
        """The number of the frame that shows; None: it can't be counted, and `wrong` says why."""
        word = self._format.value if self._format.quality is Quality.GOOD else None
        try:
            label = Label.parse(self.label)
            if (word, label.drop) != self._counted:
                self._read_rate(word, drop=label.drop)
            return frame_number(label, self.rate) if self.rate is not None else None
        except ValueError:
            self.wrong = f"{self.label} does not exist at {self.rate or word}"
            return None

    def _read_rate(self, word: object, *, drop: bool) -> None:
        """How labels of a format count. Raises ValueError: there is no drop-frame at its speed."""
        self.rate = rate_of_format(str(word)) if word else None
        self.wrong = "" if self.rate else "its picture format is not known"
        if self.rate is None:
            return
        self.rate = self.rate.with_drop(drop)
        self._counted = word, drop
        self._frame_s = self.rate.seconds / self.rate.frames
        self._day_s = label_day(self.rate) * self._frame_s

    def _prove(self, number: int, reading: Reading[str]) -> None:
        first = number * self._frame_s
        middle = self.lead.now(reading.read_at).middle if self.lead.count else 0.0
        if self.lead.count:  # labels begin anew each day: the nearest day counts
            asked = (reading.asked_at + reading.read_at) / 2
            first += self._day_s * round((middle + asked - first) / self._day_s)
        proof = proven(first, first + self._frame_s, reading.asked_at, reading.read_at)
        if not self.lead.add(proof, reading.read_at) and not self._expected(self.label):
            frames = (proof.middle - middle) / self._frame_s
            self.slips = [*self.slips[-SLIPS:], Slip(reading.read_at, frames, self.label)]

    def _expected(self, label: str) -> bool:
        """Is a jump to this label the daily setting anew of the generator?"""
        if self._jam is None:
            return False
        seconds = [(one.hours * 60 + one.minutes) * 60 + one.seconds for one in (self._jam, Label.parse(label))]
        apart = abs(seconds[0] - seconds[1])
        return min(apart, 86_400 - apart) <= JAM_S

    def slipping(self, now: float) -> bool:
        """Does it contradict itself again and again, as a clock of another speed does?"""
        return sum(now - slip.at <= SLIPS_S for slip in self.slips) >= SLIPS
