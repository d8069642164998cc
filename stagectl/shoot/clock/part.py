"""Which timecode is apart from the others, by how much, and is that known? A house part, named "clock".

It lives on what recorders answer anyway, and asks a little more, dithered, so that answers are not in step with frames.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from types import MappingProxyType
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import TIMECODE
from stagectl.model.errors import RefusedError
from stagectl.model.points import NEVER, PointSpec, Poked, Quality, Reading, Unit
from stagectl.model.timecode import RATES, Rate
from stagectl.model.verbs import Ask, Verb
from stagectl.model.world import Clock, Stream
from stagectl.shoot.clock.follow import Follower
from stagectl.shoot.clock.interval import Between
from stagectl.site import CameraEntry, LineupEntry

ANSWERS: Final = 64  # of one sampling: within 2 ms of the truth then, a tenth of a frame at 50, by 5 ms of jitter
SAMPLE_S: Final = 2.2  # a sampling ends then, however many answers came
APART_S: Final = (0.02, 0.045)  # between two of them, drawn at random: a frame at 25 is 0.04 s
ROUND_S: Final = 3.0  # in which every recorder is asked once more, dithered
OPEN_S: Final = 10.0  # a look that is not answered by then is forgotten: its link was lost
ASKS_PER_S: Final = 20  # beside what the kit asks anyway; a house of hundreds is gone round in half a minute
SLICE: Final = 16  # recorders asked in one turn of the loop
TELL_S: Final = 0.5  # points are computed at most so often
TELL_SLICE: Final = 16  # recorders computed in one turn of the loop: a millisecond
SURE_FRAMES: Final = 1.0  # a drift is told when it is known to so many frames an hour
STAYS_S: Final = 0.01  # so near to the middle, the recorder that was the reference stays it
FREE_RATIO: Final = 1e-6  # a drift that is proven to be more is a clock of its own; own choice
HOUR_S: Final = 3600.0


class ClockState(StrEnum):
    """How a recorder's timecode is, worst last."""

    IN_STEP = "in step"
    UNKNOWN = "not known"
    OFF = "apart"
    FREE = "running free"
    JUMPED = "jumped"
    FROZEN = "standing"
    RATE = "at another rate"
    DROP = "counted otherwise"


STATE: Final[PointSpec[ClockState]] = PointSpec("{recorder}.state", ClockState)
WHY: Final[PointSpec[str]] = PointSpec("{recorder}.why", str)
OFFSET: Final[PointSpec[float]] = PointSpec("{recorder}.offset", float, Unit.FRAMES)
GIVE: Final[PointSpec[float]] = PointSpec("{recorder}.give", float, Unit.FRAMES)  # the offset is at most so far off
DRIFT: Final[PointSpec[float]] = PointSpec("{recorder}.drift", float, Unit.FRAMES)  # gained in an hour
REFERENCE: Final[PointSpec[str]] = PointSpec("reference", str)
AGREED: Final[PointSpec[bool]] = PointSpec("agreed", bool)  # all recorders are in step
LOCKED: Final[PointSpec[bool]] = PointSpec("camera.{camera}.locked", bool)  # as the site file declares it

CLOCK: Final = Capability("clock", 1, (STATE, WHY, OFFSET, GIVE, DRIFT, REFERENCE, AGREED, LOCKED), ())


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of one recorder's timecode; offsets in frames, drift in frames an hour, None: not known."""

    state: ClockState
    why: str
    label: str = ""
    rate: str = ""
    offset: float | None = None
    give: float | None = None
    drift: float | None = None
    answers: int = 0


class _Ear(Poked):
    """Hears every reading of one timecode."""

    __slots__ = ("_follower", "_soon")

    def __init__(self, follower: Follower, soon: Callable[[str], None]) -> None:
        self._follower = follower
        self._soon = soon

    def poke(self, reading: Reading[Any]) -> None:
        if reading.asked_at == reading.read_at and reading.quality is Quality.GOOD:
            return  # told unasked: as old as its way here, which nobody knows
        if self._follower.heard() or reading.quality is not Quality.GOOD:
            self._soon(self._follower.device)


class Clocks:
    """The timecodes of all recorders, compared."""

    name = "clock"

    def __init__(
        self,
        board: Board,
        wanted: LineupEntry,
        recorders: Mapping[str, str],
        chance: Stream,
        look: Callable[[str, tuple[str, ...], Callable[[], None]], object | None],
        *,
        cameras: Mapping[str, CameraEntry] = MappingProxyType({}),
    ) -> None:
        """`recorders`: device -> what people call it; `look(device, points, done)` asks once more; None: it can't."""
        self._board = board
        self._clock: Clock = board.clock
        self._wanted = wanted
        self._called = recorders
        self._chance = chance
        self._look = look
        self._followers = {name: Follower(board, name, jam=wanted.jam) for name in recorders}
        self.capability = Capability(
            CLOCK.kind,
            CLOCK.version,
            (
                *(spec.at(name) for name in recorders for spec in (STATE, WHY, OFFSET, GIVE, DRIFT)),
                *(LOCKED.at(name) for name in cameras),
                REFERENCE,
                AGREED,
            ),
            (),
        )
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        for name, camera in cameras.items():
            self._put(LOCKED.at(name).name, camera.locked, known=True)
        self._dirty: dict[str, None] = {}
        self._states: dict[str, ClockState] = dict.fromkeys(recorders, ClockState.UNKNOWN)
        self._drifts: dict[str, tuple[tuple[float, str], Between | None]] = {}
        self._open: dict[str, float] = {}
        self._middle = ""
        self._against: tuple[str, Rate | None] = ("", None)  # reference and rate, as they last were looked for
        self._against_at = NEVER
        self._next = 0
        for follower in self._followers.values():
            follower.reading.watches += (_Ear(follower, self._soon),)
        if recorders:
            self._clock.later(self._clock.now() + ROUND_S, self._ask_some)

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """It can only be read. Raises RefusedError."""
        raise RefusedError("The clock is only looked at.", remedy="See: stagectl clock", code="verb")

    def act(self, verb: Verb) -> None:
        """Nothing."""

    # -- asking ---------------------------------------------------------------------------------------------------

    async def sample(self, answers: int = ANSWERS) -> None:
        """Ask every recorder so often, at random moments, and compute anew: for two seconds, less often if need be."""
        until = self._clock.now() + SAMPLE_S
        for _ in range(answers if self._followers else 0):
            for name in self._followers:
                self._ask(name)
            await asyncio.sleep(self._chance.uniform(*APART_S))
            if self._clock.now() >= until:
                break
        against, rate = self.reference(), self.rate()
        for place, (name, one) in enumerate(self._followers.items()):
            if place % TELL_SLICE == 0:
                await asyncio.sleep(0)
            self._tell_one(name, self._told(one, against, rate))
        self._tell()

    def _ask(self, name: str) -> None:
        """One look at a time: what asks more often than a slow box answers would only pile up."""
        if name in self._open and self._clock.now() < self._open[name]:
            return
        self._open[name] = self._clock.now() + OPEN_S
        if self._look(name, (TIMECODE.name,), partial(self._answered, name)) is None:
            del self._open[name]

    def _answered(self, name: str) -> None:
        self._open.pop(name, None)

    def _ask_some(self) -> None:
        names = list(self._followers)
        for name in names[self._next : self._next + SLICE]:
            self._ask(name)
        self._next = self._next + SLICE if self._next + SLICE < len(names) else 0
        slices = -(-len(names) // SLICE)
        round_s = max(ROUND_S, len(names) / ASKS_PER_S)
        self._clock.later(self._clock.now() + round_s * self._chance.uniform(0.6, 1.4) / slices, self._ask_some)

    # -- from points ----------------------------------------------------------------------------------------------

    def _soon(self, device: str) -> None:
        if not self._dirty:
            self._clock.later(self._clock.now() + TELL_S, self._tell)
        self._dirty[device] = None

    def _tell(self) -> None:
        """Compute those that were heard, some in one turn of the loop."""
        now = self._clock.now()
        if now - self._against_at >= len(self._followers) / ASKS_PER_S:  # all are looked at for it: once a round
            self._against, self._against_at = (self.reference(), self.rate()), now
        against, rate = self._against
        for name in list(self._dirty)[:TELL_SLICE]:
            del self._dirty[name]
            self._tell_one(name, self._told(self._followers[name], against, rate))
        self._put(REFERENCE.name, against or "none", known=True)
        states = self._states.values()
        unsure = all(state in (ClockState.IN_STEP, ClockState.UNKNOWN) for state in states)
        agreed = all(state is ClockState.IN_STEP for state in states)
        self._put(AGREED.name, agreed, known=agreed or not unsure)
        if self._dirty:
            self._clock.later(self._clock.now(), self._tell)

    def _tell_one(self, name: str, one: Told) -> None:
        self._states[name] = one.state
        self._put(STATE.at(name).name, one.state, known=one.state is not ClockState.UNKNOWN)
        self._put(WHY.at(name).name, one.why, known=True)
        for spec, value in ((OFFSET, one.offset), (GIVE, one.give), (DRIFT, one.drift)):
            told = None if value is None else round(value, 1) + 0.0  # no finer: each change goes out; and no -0.0
            self._put(spec.at(name).name, told, known=value is not None)

    def _put(self, name: str, value: object, *, known: bool) -> None:
        quality = Quality.GOOD if known else Quality.UNKNOWN
        self._writer.compute(name, value, quality=quality, asked_at=self._clock.now())

    def reference(self) -> str:
        """Whom the others are compared to: the site's recorder, else the one in the middle; empty: there is none."""
        now = self._clock.now()
        if self._wanted.reference:
            follower = self._followers[self._wanted.reference]
            return follower.device if self._counts(follower, now) else ""
        leads = sorted(
            (one.lead.now(now).middle, name) for name, one in self._followers.items() if self._counts(one, now)
        )
        if not leads:
            return ""
        middle, name = leads[(len(leads) - 1) // 2]
        kept = next((lead for lead, other in leads if other == self._middle), None)
        if kept is None or abs(kept - middle) > STAYS_S:  # among equals the one that was it stays it
            self._middle = name
        return self._middle

    @staticmethod
    def _counts(follower: Follower, now: float) -> bool:
        proven = follower.lead.count and follower.lead.now(now)
        return bool(proven and proven.give < HOUR_S and follower.fresh(now) and not follower.stands())

    def rate(self) -> Rate | None:
        """What labels should count: the site's, else what most recorders do; None: not known, or a tie."""
        if self._wanted.timecode:
            return RATES[self._wanted.timecode]
        rates = [one.rate for one in self._followers.values() if one.rate is not None]
        counts = sorted(((rates.count(rate), str(rate)) for rate in dict.fromkeys(rates)), reverse=True)
        if not counts or (len(counts) > 1 and counts[0][0] == counts[1][0]):
            return None
        return next(rate for rate in rates if str(rate) == counts[0][1])

    def told(self) -> dict[str, Told]:
        """What is known of every recorder now."""
        against, rate = self.reference(), self.rate()
        return {name: self._told(one, against, rate) for name, one in self._followers.items()}

    def _told(self, one: Follower, against: str, wanted: Rate | None) -> Told:
        now = self._clock.now()
        rate = one.rate
        offset = drift = None
        if against and rate is not None and self._counts(one, now):
            reference = self._followers[against]
            offset = self._apart(one, reference, rate, now)
            drift = self._drift(one, reference) if one is not reference else None
        state, why = self._judge(one, wanted, offset, drift)
        per_hour = HOUR_S * rate.frames / rate.seconds if rate is not None else 0.0
        return Told(
            state,
            why,
            one.label,
            str(rate) if rate is not None else "",
            offset.middle if offset is not None else None,
            offset.give if offset is not None else None,
            drift.middle * per_hour if drift is not None and drift.give * per_hour < SURE_FRAMES else None,
            one.lead.count,
        )

    def _drift(self, one: Follower, reference: Follower) -> Between | None:
        """The slope, computed anew when there is a new estimate."""
        if not one.lead.told:
            return None
        key = (one.lead.told[-1][0], reference.device)
        kept = self._drifts.get(one.device)
        if kept is None or kept[0] != key:
            kept = self._drifts[one.device] = key, one.lead.drift(reference.lead)
        return kept[1]

    def _apart(self, one: Follower, reference: Follower, rate: Rate, now: float) -> Between:
        """How many frames it leads the reference, its fixed lag taken off."""
        lag = self._wanted.lags.get(one.device, 0)
        if one is reference:
            return Between(0.0, 0.0)
        mine, theirs = one.lead.now(now), reference.lead.now(now)
        per_s = rate.frames / rate.seconds
        return Between((mine.low - theirs.high) * per_s + lag, (mine.high - theirs.low) * per_s + lag)

    def _judge(
        self, one: Follower, wanted: Rate | None, offset: Between | None, drift: Between | None
    ) -> tuple[ClockState, str]:
        """What it is, and why, a clause; what makes all else meaningless first."""
        now = self._clock.now()
        if not one.fresh(now):
            return ClockState.UNKNOWN, "no timecode is read from it now"
        if not one.comes_in:
            return ClockState.UNKNOWN, "it shows the timecode of a clip, for it neither records nor previews"
        if one.stands():
            return ClockState.FROZEN, f"its timecode stands at {one.label}"
        if wanted is not None and one.drops != wanted.drop:
            said = "drop-frame" if one.drops else "non-drop"
            return ClockState.DROP, f"it counts {said}, wanted {wanted}"
        if one.rate is not None and wanted is not None and one.rate != wanted:
            return ClockState.RATE, f"it runs at {one.rate}, wanted {wanted}"
        if one.wrong:
            return ClockState.UNKNOWN, one.wrong
        if one.slipping(now):
            return ClockState.RATE, f"it slips against {one.rate} frames a second again and again"
        if one.slips and now - one.slips[-1].at < ROUND_S * 2:
            return ClockState.JUMPED, f"it jumped by {one.slips[-1].frames:+.0f} frames to {one.slips[-1].label}"
        if one.free_by_itself:
            return ClockState.FREE, "its timecode source is its own clock"
        if drift is not None and (drift.low > FREE_RATIO or drift.high < -FREE_RATIO):
            return ClockState.FREE, f"it drifts by {drift.middle * 1e6:+.0f} millionths"
        return self._judge_offset(offset)

    def _judge_offset(self, offset: Between | None) -> tuple[ClockState, str]:
        if offset is None:
            return ClockState.UNKNOWN, "nothing to compare it with" if len(self._followers) > 1 else "it is alone"
        within = self._wanted.offset_frames
        said = f"{offset.middle:+.1f} frames, give or take {offset.give:.1f}"
        if abs(offset.middle) + offset.give <= within:
            return ClockState.IN_STEP, ""
        if abs(offset.middle) - offset.give > within:
            return ClockState.OFF, f"{said}, wanted within {within}"
        return ClockState.UNKNOWN, f"{said}: too few answers, or its link is too slow, to tell"

    # -- for the doors --------------------------------------------------------------------------------------------

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        rate, against = self.rate(), self.reference()
        return {
            "reference": against,
            "reference_by": "the site file" if self._wanted.reference else "the middle of all",
            "rate": str(rate) if rate is not None else "",
            "within": self._wanted.offset_frames,
            "clocks": [
                {
                    "device": name,
                    "called": self._called[name],
                    "state": str(one.state),
                    "why": one.why,
                    "label": one.label,
                    "rate": one.rate,
                    "offset": None if one.offset is None else round(one.offset, 2),
                    "give": None if one.give is None else round(one.give, 2),
                    "drift": None if one.drift is None else round(one.drift, 2),
                    "answers": one.answers,
                }
                for name, one in self.told().items()
            ],
        }
