"""Which clip did a recorder write for this lane, and where does it begin?

The recorder's own clip list tells exactly, but late, and until then it may still end in the clip before.
"""

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import CLIP_LENGTH, CLIP_NAME, CLIP_START, INPUT_FORMAT, TIMECODE
from stagectl.model.late import put_off
from stagectl.model.points import NEVER, PointSpec, Quality
from stagectl.model.timecode import Label, frame_number, label_at, span_frames
from stagectl.model.world import Clock
from stagectl.shoot.take import Lane, Take, counting

PLAUSIBLE_S: Final = 5.0  # a clip whose first label is farther from what we saw is another clip
REACHES_S: Final = 1.0  # ...unless it goes on for so long in what we saw: then it began before we looked
LIST_S: Final = 0.25  # recorders' clip lists are asked this long after a roll or cut
AGAIN_S: Final = 1.5  # ...and once more so much later: some write their list late
LIST_SLICE: Final = 64  # recorders asked for them in one turn of the loop


def last_seen(board: Board, device: str, spec: PointSpec[Any]) -> Any:
    """The value a point had when it was last known; None: never."""
    reading = board.get(device, spec)
    return reading.value if reading.quality in (Quality.GOOD, Quality.STALE) else None


class TakeClips:
    """What clip lists and timecodes tell of lanes.

    Args:
        look: ask a recorder for points now (read-only).
    """

    def __init__(self, board: Board, clock: Clock, look: Callable[[str, tuple[str, ...]], None]) -> None:
        self._board = board
        self._clock = clock
        self._look = look
        self._lists: dict[str, None] = {}  # recorders to be asked for their last clip
        self._asking = False

    def ask_soon(self, device: str) -> None:
        """Ask a recorder for its last clip once the roll or cut is judged: a question now would delay the proof."""
        self._lists[device] = None
        if not self._asking:
            self._asking = True
            self._ask_at(self._clock.now() + LIST_S, may_wait=True)

    def _ask_at(self, at: float, *, may_wait: bool = False) -> None:
        self._clock.later(at, partial(self._ask, at, may_wait=may_wait))

    def _ask(self, due: float, *, may_wait: bool) -> None:
        now = self._clock.now()
        proving = now < self._board.proving_until and len(self._lists) > LIST_SLICE
        if put_off(now - due, before=not may_wait, proving=proving):
            self._ask_at(now + LIST_S)
            return
        devices = tuple(self._lists)[:LIST_SLICE]
        for device in devices:
            del self._lists[device]
        self._look_at(devices)
        self._clock.later(self._clock.now() + AGAIN_S, partial(self._look_at, devices))
        self._asking = bool(self._lists)
        if self._asking:
            self._ask_at(self._clock.now())

    def _look_at(self, devices: Iterable[str]) -> None:
        for device in devices:
            self._look(device, (CLIP_NAME.name, CLIP_START.name))

    def told(self, device: str) -> tuple[str, str, str] | None:
        """Name, first label and length (empty: not told) of the recorder's newest clip.

        None: it has told of none, or not of all of it in one answer yet: a name with the label of another clip is none.
        """
        name, start, length = (self._board.get(device, spec) for spec in (CLIP_NAME, CLIP_START, CLIP_LENGTH))
        if name.value is None or start.value is None:
            return None
        told = (name, start) if length.value is None else (name, start, length)
        if len({one.asked_at for one in told}) > 1:
            return None
        return str(name.value), str(start.value), str(length.value or "")

    def label_now(self, lanes: Iterable[Lane]) -> tuple[str, str]:
        """Timecode at this moment and whose it is, by the first of these open lanes that tells; two empty: none does.

        Reckoned on from the last timecode read, so late by the age of that answer on the wire: a frame or two. What was
        read before a lane began says nothing of it: a deck at rest may show a clip's.
        """
        for lane in lanes:
            reading, rate = self._board.get(lane.device, TIMECODE), lane.rate
            if rate is None or reading.quality is not Quality.GOOD or reading.asked_at < lane.seen_at:
                continue
            try:
                label = Label.parse(str(reading.value))
                rate = counting(rate, label.drop)
                on = int((self._clock.now() - reading.read_at) * rate.frames / rate.seconds)
                return str(label_at(frame_number(label.with_drop(rate.drop), rate) + on, rate)), lane.device
            except ValueError:
                continue
        return "", ""

    def estimate(self, lane: Lane) -> bool:
        """Until the clip list tells, the first label is reckoned back from a timecode read while it rolled.

        Returns: whether it is known now and was not before.
        """
        if not lane.format:
            lane.format = last_seen(self._board, lane.device, INPUT_FORMAT) or ""
        reading, rate = self._board.get(lane.device, TIMECODE), lane.rate
        seen = reading.quality is Quality.GOOD and reading.asked_at >= lane.seen_at > NEVER
        if lane.start or rate is None or not seen:
            return False  # also if an earlier process saw it begin
        try:
            label = Label.parse(str(reading.value))
            rate = counting(rate, label.drop)
            label = label.with_drop(rate.drop)
            back = round((reading.read_at - lane.seen_at) * rate.frames / rate.seconds)
            number = frame_number(label, rate)
            lane.start = str(label_at(number - back, rate) if back else label)
        except ValueError:
            return False
        return True


def is_earlier(lane: Lane, told: tuple[str, str, str], take: Take, before: Take | None) -> bool:
    """Is the clip told that of an earlier lane of the same recorder, in its take or the one before? Lists are late."""
    others = [*(before.lanes.get(lane.device, ()) if before is not None else ()), *take.lanes[lane.device]]
    return any(one is not lane and (one.clip, one.start) == told[:2] for one in others)


def is_its_own(lane: Lane, told: tuple[str, str, str]) -> bool:
    """Is the clip told the lane's own, whatever its name? It begins at the same label and is no shorter than it was.

    A name that came over the wire with a wrong bit must not make two recordings of one; the next look sets it right.
    """
    return lane.start_exact and lane.start == told[1] and told[2] >= lane.length


def is_plausible(lane: Lane, start: str, length: str) -> bool:
    """Is this first label near where the lane may have begun, or does the clip go on long after we saw that?

    A list may still end in the clip before.
    """
    rate, seen = lane.rate, lane.start or lane.end  # a lane may end before a timecode was read in it
    if rate is None or lane.start_exact:
        return True
    if not seen:
        return False  # not reckoned yet; the next look tells again
    try:
        first, told = (label.with_drop(counting(rate, label.drop).drop) for label in map(Label.parse, (seen, start)))
        away = span_frames(first, told, rate)
        lasts = frame_number(Label.parse(length), rate.with_drop(False)) if length else 0
    except ValueError:
        return False
    before = lasts if not lane.start else lane.give_s * rate.nominal  # of an end alone: the clip ends there
    near = -PLAUSIBLE_S * rate.nominal - before <= away <= PLAUSIBLE_S * rate.nominal
    return near or (away < 0 and away + lasts >= REACHES_S * rate.nominal)
