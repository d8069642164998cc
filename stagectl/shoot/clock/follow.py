"""What does one recorder's timecode tell: its lead, and whether it stands, jumps or counts otherwise than it should?"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import INPUT_FORMAT, TIMECODE, TIMECODE_SOURCE, TRANSPORT, Transport
from stagectl.model.points import NEVER, Quality, Reading
from stagectl.model.timecode import Label, Rate, frame_number, label_day, rate_of_format
from stagectl.shoot.clock.interval import Lead, proven

FRESH_S: Final = 5.0  # an answer older than this tells nothing of now
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
        self._asked_at = NEVER
        self._since = NEVER  # when the label that shows was first read

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
        return self._asked_at - self._since > STANDS_S

    def heard(self) -> bool:
        """Take a new answer into account. False: it is none that proves anything."""
        reading = self._label
        if reading.quality is not Quality.GOOD or reading.asked_at <= self._asked_at:
            return False
        if not self.comes_in:
            self.lead, self._since = Lead(), NEVER
            return False
        asked = reading.asked_at < reading.read_at  # else it was told unasked, and is as old as its way here
        if reading.changed_at > self._since:
            self._since = reading.changed_at
        self._asked_at = reading.asked_at
        if not asked:
            return False
        count = self._count()
        if count is None:
            return False
        self._prove(count, reading)
        return True

    def _count(self) -> tuple[int, Rate] | None:
        rate = rate_of_format(str(self._format.value)) if self._format.quality is Quality.GOOD else None
        self.rate, self.wrong = rate, "" if rate else "its picture format is not known"
        if rate is None:
            return None
        try:
            label = Label.parse(self.label)
            self.rate = rate.with_drop(label.drop)
            return frame_number(label, self.rate), self.rate
        except ValueError:
            self.wrong = f"{self.label} does not exist at {rate}"
            return None

    def _prove(self, count: tuple[int, Rate], reading: Reading[str]) -> None:
        number, rate = count
        length = Fraction(rate.seconds, rate.frames)
        day = float(label_day(rate) * length)
        first = float(number * length)
        now = self.lead.now(reading.read_at)
        middle = now.middle if self.lead.count else 0.0
        # labels begin anew each day: the nearest day counts
        first += (
            day * round((middle + (reading.asked_at + reading.read_at) / 2 - first) / day) if self.lead.count else 0
        )
        proof = proven(first, first + float(length), reading.asked_at, reading.read_at)
        if not self.lead.add(proof, reading.read_at) and not self._expected(self.label):
            frames = (proof.middle - middle) / float(length)
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
