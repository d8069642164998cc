"""When is it believed that a recorder went on elsewhere? When two answers in a row tell it: one alone may be misread.

Until then nothing is lost: it is known when it was told first, also if the lane ends meanwhile.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import CLIP_NAME, SLOT_ACTIVE
from stagectl.model.points import Reading
from stagectl.model.world import Clock
from stagectl.shoot.once import Once
from stagectl.shoot.take import Lane


@dataclass(frozen=True, slots=True)
class Sight:
    """Something else than its own was told of a lane.

    Attributes:
        clip: name and first label of the clip told last; of a medium: empty.
        asked_at: when that answer was asked for.
        rolled: the lane had not ended when something else was told first.
        wall, at: when that was, on both clocks.
    """

    lane: Lane
    clip: tuple[str, str]
    asked_at: float
    rolled: bool
    wall: datetime
    at: float


class Sights:
    """What was told once so far.

    Args:
        look: ask a recorder for points now (read-only).
        ask_clips: ask it for its last clip soon.
    """

    def __init__(
        self,
        board: Board,
        clock: Clock,
        look: Callable[[str, tuple[str, ...]], None],
        ask_clips: Callable[[str], None],
    ) -> None:
        self._board = board
        self._clock = clock
        self._look = look
        self._ask_clips = ask_clips
        self._clips: dict[str, Sight] = {}
        self._media: dict[str, tuple[Lane, int]] = {}  # recorder -> the medium that was told of its lane once

    def sure_of_clip(self, lane: Lane, told: tuple[str, str, str]) -> bool:
        """Is the clip told the lane's own by its name, or was another one told twice?"""
        device, seen = lane.device, self._clips.get(lane.device)
        if not lane.start_exact or lane.clip == told[0]:
            self._clips.pop(device, None)
            return True
        asked_at = self._board.get(device, CLIP_NAME).asked_at
        if seen is None or seen.lane is not lane:
            self._clips[device] = self._sight(lane, told[:2], asked_at)
            self._ask_clips(device)
        elif seen.clip == told[:2]:
            return asked_at > seen.asked_at
        else:
            self._clips[device] = replace(seen, clip=told[:2], asked_at=asked_at)
        return False

    def of_clip(self, lane: Lane) -> Sight:
        """Of another clip than its own, of which `sure_of_clip` is sure."""
        return self._clips[lane.device]

    def medium(self, lane: Lane, reading: Reading[int], then: Callable[[Sight, int], None]) -> None:
        """Another medium than its own was told: is it told again, `then` hears of it."""
        device, slot, before = lane.device, reading.value, self._media.get(lane.device)
        if slot is None or (before is not None and before[0] is lane and before[1] == slot):
            return
        seen, waits = self._sight(lane, ("", ""), reading.asked_at), (lane, slot)
        self._media[device] = waits

        def again(later: Reading[int]) -> None:
            if self._media.get(device) is waits:
                del self._media[device]
            if later.value == slot:
                then(seen, slot)

        Once(reading, again)
        self._look(lane.device, (SLOT_ACTIVE.name,))

    def _sight(self, lane: Lane, clip: tuple[str, str], asked_at: float) -> Sight:
        return Sight(lane, clip, asked_at, lane.ended is None, self._clock.wall(), self._clock.now())
