"""Which recordings belong to which take? Takes come from points, never from verdicts.

A deck that rolls late, or is rolled at its front, is in the take; one that is lost from view stays in it. State
changes are journalled as "this lane is now so", which makes replay idempotent.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from typing import Any, ClassVar, Final

from stagectl.control.chronicle import Chronicle
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import (
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    INPUT_FORMAT,
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Cut,
    Roll,
    Transport,
)
from stagectl.model.conditions import Condition
from stagectl.model.errors import RefusedError
from stagectl.model.points import NEVER, Ear, PointSpec, Quality, Reading, Unit
from stagectl.model.verbs import Ask, Set, Verb, VerbSpec
from stagectl.model.world import Clock
from stagectl.shoot.once import Once
from stagectl.shoot.take import Lane, Mark, MarkKind, Take
from stagectl.shoot.takeclips import TakeClips, is_earlier, is_its_own, is_plausible, last_seen
from stagectl.shoot.takecorrections import Corrections
from stagectl.shoot.takenumbers import Numbering, on_slate
from stagectl.shoot.takerecords import TakeRecords
from stagectl.shoot.takesights import Sight, Sights

KEEP: Final = 500  # takes in memory; older ones are in the journal
MARKS_MOST: Final = 500  # marks of one take: one every 15 s for two hours
NOTICE_S: Final = 0.04  # how late a notice may be; own choice, one frame at 25
POLL_S: Final = 1.0  # how late a poll may be
SILENT_S: Final = 3.0  # what was last read longer ago than this was stale: a roll since then began unseen
WISH_S: Final = 10.0  # a roll that comes later than this after the press is not its doing

LOST: Final = "lost from view"  # the note of a lane whose end nobody saw
UNSEEN: Final = "rolled while it was out of sight"  # ...and of one whose beginning nobody saw

RUNNING: Final[PointSpec[bool]] = PointSpec("running", bool)
NUMBER: Final[PointSpec[int]] = PointSpec("number", int)  # of the take that runs, or ran last
NAME: Final[PointSpec[str]] = PointSpec("name", str)
ROLLING: Final[PointSpec[int]] = PointSpec("rolling", int)
WANTED: Final[PointSpec[int]] = PointSpec("wanted", int)
SPREAD: Final[PointSpec[int]] = PointSpec("spread", int, Unit.FRAMES)
NEXT: Final[PointSpec[int]] = PointSpec("next.number", int)
NEXT_NAME: Final[PointSpec[str]] = PointSpec("next.name", str, settable=True)


@dataclass(frozen=True, slots=True)
class RollAll(Verb):
    """Roll the recorders named in `on` (comma-separated; empty: all) as one take."""

    spec: ClassVar[VerbSpec] = Roll.spec
    name: str = ""
    on: str = ""

    def effect(self) -> Condition:
        return RUNNING.is_(True)


@dataclass(frozen=True, slots=True)
class CutTake(Verb):
    """End the take of that number on the recorders named in `on` (empty: all that roll in it)."""

    spec: ClassVar[VerbSpec] = Cut.spec
    take: int
    on: str = ""

    def effect(self) -> Condition:
        return RUNNING.is_(False)


TAKES: Final = Capability(
    "takes", 1, (RUNNING, NUMBER, NAME, ROLLING, WANTED, SPREAD, NEXT, NEXT_NAME), (RollAll, CutTake)
)


@dataclass(slots=True)
class _Wish:
    """Who pressed roll, for what, when: what an opening take is named after."""

    number: int
    name: str
    who: str
    wanted: tuple[str, ...]
    at: float


class Takes:
    """The take log: a house part named "takes".

    Args:
        recorders: device id -> what people call it.
        look: ask a recorder for points now (read-only).
        names: device names of groups and calls, as `on` may hold them.
        numbering: within what takes are counted, and whether a slate stands.
    """

    name = "takes"
    capability = TAKES

    def __init__(  # noqa: PLR0917 - the parts of the house it stands on, each once
        self,
        board: Board,
        clock: Clock,
        chronicle: Chronicle,
        recorders: Mapping[str, str],
        look: Callable[[str, tuple[str, ...]], None],
        names: Callable[[str], Sequence[str]],
        numbering: Numbering = Numbering.DAY,
    ) -> None:
        self.takes: OrderedDict[int, Take] = OrderedDict()
        self.open: Take | None = None
        self.next_number = 1
        self.slate = ""
        self.on_change: list[Callable[[], None]] = []  # the next take's number or name changed
        self._board = board
        self._clock = clock
        self.recorders = recorders
        self._clips = TakeClips(board, clock, look)
        self._sights = Sights(board, clock, look, self._clips.ask_soon)
        self._names = names
        self._wish: _Wish | None = None
        self._recording: dict[str, bool] = dict.fromkeys(recorders, False)
        self._away: dict[str, float] = {}  # recorders out of sight: when their transport was last told
        self._unlabelled: dict[str, Lane] = {}  # of these recorders a timecode is waited for
        self._blind: dict[str, None] = {}  # recorders that were out of sight at some time of the open take
        self._records = TakeRecords(
            clock,
            chronicle,
            self.takes,
            finish=self._reckon,
            written=self._show,
            proving=lambda: clock.now() < board.proving_until,
        )
        self.corrections = Corrections(self.takes, self._records, clock, numbering)
        self.numbering = numbering
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*TAKES.points)
        ear = Ear(self._heard)
        for device in recorders:
            seldom: tuple[PointSpec[Any], ...] = (CLIP_NAME, CLIP_START, CLIP_LENGTH)
            for spec in seldom:
                reading: Reading[Any] = board.reading(device, spec)
                reading.watches = (*reading.watches, ear)
            often: tuple[PointSpec[Any], ...] = (TRANSPORT, SLOT_ACTIVE)  # told with every notice: only a turn matters
            for spec in often:
                reading = board.reading(device, spec)
                reading.turns = (*reading.turns, ear)
        self._show()

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> Sequence[Ask]:
        match ask.verb:
            case RollAll(name=name, on=on):
                devices = self._named(on) or list(self.recorders)
                return self.roll_asks(ask, devices, name)
            case CutTake(take=number, on=on):
                take = self.running(number)
                devices = self._named(on) or take.rolling or list(take.wanted) or list(self.recorders)
                return [replace(ask, target=device, verb=Cut(number), take=number) for device in devices]
            case Set():
                return [ask]
        raise RefusedError(f"takes can't {ask.verb.spec.name}.", code="verb")

    def act(self, verb: Verb) -> None:
        if isinstance(verb, Set) and verb.point.name == NEXT_NAME.name:
            self.slate_next(str(verb.value))

    def slate_next(self, name: str) -> None:
        """The next take gets this slate; where takes are counted per slate, so do those after it."""
        self.slate = name
        self._records.slate(name)
        self._changed()

    def roll_asks(self, ask: Ask, devices: Sequence[str], name: str) -> list[Ask]:
        """One Roll for each recorder, each asked to name its clip after take, name and recorder."""
        number, wanted = self.upcoming(name)
        stem = f"T{number:03d}_{wanted}_" if wanted else f"T{number:03d}_"
        return [replace(ask, target=device, verb=Roll(stem + device), take=number) for device in devices]

    def upcoming(self, name: str) -> tuple[int, str]:
        """Number and name a roll pressed now belongs to: the open take's, else the next one's."""
        if self.open is not None:
            return self.open.number, self.open.name
        return self.next_number, name or self.slate

    def expect(self, asks: Sequence[Ask], name: str) -> None:
        """A roll is about to go: an opening take gets this name and asker."""
        if asks and self.open is None:
            number, wanted = self.upcoming(name)
            devices = tuple(ask.target for ask in asks)
            self._wish = _Wish(number, wanted, asks[0].who, devices, self._clock.now())
        elif asks and self.open is not None:
            more = [ask.target for ask in asks if ask.target not in self.open.wanted]
            if more:
                self.open.wanted = (*self.open.wanted, *more)
                self._records.head_soon(self.open)

    def guard(self, ask: Ask) -> Ask:
        """A cut names the take that runs on that recorder, else it is refused."""
        if isinstance(ask.verb, Cut):
            take = self.running(ask.verb.take)
            if take.open_lane(ask.target) is None:
                called = self.recorders.get(ask.target, ask.target)
                raise RefusedError(f"{called} does not roll in take {take.number}.", code="take")
        return ask

    def running(self, number: int) -> Take:
        """The open take, if it is that one. Raises RefusedError: the sentence says which take runs."""
        take = self.open
        if take is None:
            raise RefusedError(f"Take {number} is not running: nothing rolls.", code="take")
        if take.number != number:
            raise RefusedError(
                f"Take {number} is not running: take {take.number} is.",
                remedy=f"To end it: stagectl cut {take.number}",
                code="take",
            )
        return take

    def mark(
        self, number: int, who: str, *, good: bool | None = None, kind: MarkKind | None = None, note: str = ""
    ) -> Take:
        """Rate a take good (or take that back), or mark this place in it.

        A mark is a note, unless `kind` says more of it. Raises RefusedError: no such take, or it is full of marks.
        """
        take = self.takes.get(number)
        if take is None:
            raise RefusedError(f"There is no take {number}.", code="take")
        placed = kind is not None or bool(note)
        if placed and len(take.marks) >= MARKS_MOST:
            raise RefusedError(f"Take {number} holds {MARKS_MOST} marks, and takes no more.", code="limit")
        if placed:
            label, device = self._clips.label_now(
                lane for device in take.rolling if (lane := take.open_lane(device)) is not None
            )
            take.marks.append(Mark(kind or MarkKind.NOTE, note, who, self._clock.wall(), label, device))
            self._records.mark_now(take)
        return take if good is None else self.corrections.rate(number, who, good=good)

    def close_unseen(self, number: int, devices: Iterable[str]) -> None:
        """A cut of these recorders has ended: lanes of those that can't be seen no longer hold the take open."""
        take, cut = self.open, frozenset(devices)
        if take is None or take.number != number:
            return
        if any(device not in cut or self._transport(device).quality is Quality.GOOD for device in take.rolling):
            return
        for device in take.rolling:
            self._recording[device] = True  # as far as the log knows: this process may never have seen it
            lane = take.open_lane(device)
            assert lane is not None
            lane.note = LOST
            lane.ended = self._clock.wall()
            self._touch(device)
        take.unseen = tuple(device for device in take.lanes if self._transport(device).quality is not Quality.GOOD)
        self._close(take)

    def rolled_last(self, ask: Ask) -> bool:
        """Is it a roll of a recorder that told nothing yet, and that rolled when an earlier process last saw it?"""
        if not isinstance(ask.verb, Roll) or self._transport(ask.target).value is not None:
            return False
        own = next((lanes for take in reversed(self.takes.values()) if (lanes := take.lanes.get(ask.target))), None)
        return own is not None and (own[-1].ended is None or own[-1].note == LOST)

    # -- after a restart ------------------------------------------------------------------------------------------

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """Fold the data of `take` records of earlier processes; later ones about the same thing win."""
        self.slate = self._records.restore(records, self.recorders, stands=self.numbering is Numbering.SLATE)
        self._forget()
        self.next_number = max(self.takes, default=0) + 1
        last = self._last()
        for take in self.takes.values():
            # without a lane it was only just opened: who rolls is still to be seen
            if take.closed is None and (take is not last or (take.lanes and not take.rolls)):
                take.closed = max((lane.ended for lane in take.all_lanes() if lane.ended), default=take.opened)
        self.open = last if last is not None and last.closed is None else None
        self._blind = dict.fromkeys(self._out_of_sight())
        self._changed()

    def recall(self, number: int, name: str, who: str, wanted: tuple[str, ...]) -> None:
        """An earlier process asked for this roll and ended before it saw one: what is found to roll is that take."""
        if number == self.next_number and self.open is None:
            self._wish = _Wish(number, name or self.slate, who, wanted, self._clock.now())

    def _forget(self) -> None:
        while len(self.takes) > KEEP:
            self.takes.popitem(last=False)

    # -- from points ----------------------------------------------------------------------------------------------

    def _heard(self, reading: Reading[Any]) -> None:
        device = reading.device
        if reading.quality is not Quality.GOOD:
            if reading.name == TRANSPORT.name:
                self._away.setdefault(device, self._board.before_at)
                self._blind[device] = None
                self._records.lanes_soon()
            return
        if reading.name == TRANSPORT.name:
            self._transport_heard(device, reading)
        elif self.open is not None or reading.name in (CLIP_START.name, CLIP_LENGTH.name):
            self._clip_heard(device, reading)

    def _transport_heard(self, device: str, reading: Reading[Any]) -> None:
        recording = reading.value is Transport.RECORDING
        before_at = self._away.pop(device, self._board.before_at)
        unseen_s = reading.read_at - before_at if before_at > NEVER else 0.0
        take = self.open
        lane = take.open_lane(device) if take is not None else None
        if recording and lane is None:
            self._began(device, reading, unseen_s)
        elif recording and lane is not None:
            if not self._recording[device]:
                lane.note = lane.note or "adopted"
                self._touch(device)
        elif lane is not None:
            self._ended(device, lane, reading, unseen_s)
        elif take is not None and not take.rolls and self._all_seen():
            self._close(take)  # it was only just opened when an earlier process ended, and nobody rolls
        self._recording[device] = recording

    def _all_seen(self) -> bool:
        return not self._out_of_sight()

    def _out_of_sight(self) -> list[str]:
        return [device for device in self.recorders if self._transport(device).quality is not Quality.GOOD]

    def _began(self, device: str, reading: Reading[Any], unseen_s: float) -> None:
        now = self._clock.now()
        take, lost = self.open, self._lost(device)
        if lost is not None and lost is (take or self._last()):
            self._returned(lost, device)
            return
        if take is None:
            take = self._open(reading, now)
        self._wished(take, device, now)
        told = reading.asked_at == reading.read_at
        lane = Lane(
            device,
            self.recorders[device],
            self._clock.wall(),
            reading.read_at,
            give_s=unseen_s if unseen_s > SILENT_S else NOTICE_S if told else POLL_S,
            slot=last_seen(self._board, device, SLOT_ACTIVE) or 0,
            format=last_seen(self._board, device, INPUT_FORMAT) or "",
        )
        if lost is not None:
            lane.note, lane.clip = f"still rolls from take {lost.number}", lost.lanes[device][-1].clip
        elif reading.by == "box":
            lane.note = "rolled at its front"
        take.lanes.setdefault(device, []).append(lane)
        self._touch(device)
        self._clips.ask_soon(device)

    def _last(self) -> Take | None:
        return next(reversed(self.takes.values()), None)

    def _lost(self, device: str) -> Take | None:
        """The take from which this recorder was lost from view while it rolled; it was not seen to stop since."""
        if not self._recording[device]:
            return None
        take = next((take for take in reversed(self.takes.values()) if device in take.lanes), None)
        if take is None or take.lanes[device][-1].note != LOST:
            return None
        clip, name = take.lanes[device][-1].clip, self._board.get(device, CLIP_NAME)
        another = clip and name.quality is Quality.GOOD and name.value != clip
        return None if another else take  # its newest clip is another one: it stopped and rolled again unseen

    def _returned(self, take: Take, device: str) -> None:
        """It rolls on: its take has not ended."""
        lane = take.lanes[device][-1]
        lane.ended, lane.note = None, "seen again"
        take.closed, take.unseen = None, tuple(one for one in take.unseen if one != device)
        self.open = take
        self._records.head_soon(take)
        self._touch(device)
        self._clips.ask_soon(device)
        self._changed()

    def _wished(self, take: Take, device: str, now: float) -> None:
        """Somebody pressed roll for this recorder a moment ago: the take is what that press asked for."""
        wish = self._wish
        if wish is not None and wish.number == take.number and device in wish.wanted and now - wish.at < WISH_S:
            take.name, take.by, take.wanted = wish.name, wish.who, wish.wanted
            take.slate_take = on_slate(take, self.takes.values(), self.numbering)
            self._wish = None
            self._records.head_soon(take)

    def _open(self, reading: Reading[Any], now: float) -> Take:
        take = Take(self.next_number, "", self._clock.wall(), now, by=reading.by or "not known")
        self.takes[take.number] = take
        self._forget()
        self.open = take
        self._blind = dict.fromkeys(self._out_of_sight())
        self.next_number = take.number + 1
        if self.numbering is Numbering.SLATE:
            take.name = self.slate
        else:
            self.slate = ""
        take.slate_take = on_slate(take, self.takes.values(), self.numbering)
        self._records.head_soon(take)
        self._show()
        return take

    def _ended(self, device: str, lane: Lane, reading: Reading[Any], unseen_s: float) -> None:
        take = self.open
        assert take is not None
        lane.ended = self._clock.wall()
        lane.ended_by = reading.by
        away = lane.seen_at == float("-inf") and not self._recording[device] and lane.note != "adopted"
        if away:
            lane.note = "ended while stagectl was away"
        elif unseen_s > SILENT_S:
            lane.note, lane.ended_by = "ended while it was out of sight", ""
        elif reading.by == "box":
            lane.note = "stopped at its front"
        self._clips.estimate(lane)  # what the timecode tells from now on is no label of it
        lane.end = last_seen(self._board, device, TIMECODE) or ""
        lane.length = ""  # what was told while it rolled was its length so far
        self._touch(device)
        self._clips.ask_soon(device)
        if not take.rolls:
            self._close(take)

    def _close(self, take: Take) -> None:
        take.closed = self._clock.wall()
        unknown = (device for device in take.wanted if device in self._blind and device not in take.lanes)
        take.unseen = tuple(dict.fromkeys((*take.unseen, *unknown)))
        self.open = None
        self._records.head_soon(take)
        self._changed()

    def _clip_heard(self, device: str, reading: Reading[Any]) -> None:
        take = next((take for take in islice(reversed(self.takes.values()), 2) if device in take.lanes), None)
        if take is None:
            return
        lane = take.lanes[device][-1]
        if reading.name == SLOT_ACTIVE.name:
            if lane.ended is None and lane.slot and reading.value != lane.slot:
                self._sights.medium(lane, reading, partial(self._medium_told, take))
        elif reading.asked_at > lane.seen_at:
            self._reckon(lane)
            told = self._clips.told(device)
            if told is not None and self._sights.sure_of_clip(lane, told):
                self._clip_told(take, lane, told)

    def _medium_told(self, take: Take, seen: Sight, slot: int) -> None:
        if take.lanes[seen.lane.device][-1] is seen.lane:
            self._segment(take, f"went on on slot {slot}", seen)

    def reckon(self, take: Take) -> None:
        """Reckon the first labels of its lanes as far as they are not told yet; writing them down would do it."""
        for lane in take.all_lanes():
            self._reckon(lane)

    def _reckon(self, lane: Lane) -> None:
        """Its first label, if it can be known; else when the next timecode is read."""
        if lane.start or lane.ended is not None or self._clips.estimate(lane):
            return
        if lane.seen_at > NEVER and self._unlabelled.get(lane.device) is not lane:
            self._unlabelled[lane.device] = lane
            Once(self._board.get(lane.device, TIMECODE), partial(self._label_told, lane))

    def _label_told(self, lane: Lane, reading: Reading[str]) -> None:
        if self._unlabelled.get(lane.device) is lane:
            del self._unlabelled[lane.device]
            self._reckon(lane)
            if lane.start and self.open is not None and self.open.open_lane(lane.device) is lane:
                self._touch(lane.device)

    def _clip_told(self, take: Take, lane: Lane, told: tuple[str, str, str]) -> None:
        if lane.start_exact and (lane.clip, lane.start, lane.length) == told:
            return
        if not is_plausible(lane, told[1], told[2]):
            return
        another = bool(lane.clip) and lane.clip != told[0] and not is_its_own(lane, told)
        if lane.start_exact and lane.ended is not None and another and not self._sights.of_clip(lane).rolled:
            return  # its own clip is known
        if is_earlier(lane, told, take, self.takes.get(take.number - 1)):
            return
        if another and not lane.start_exact:
            lane.note = UNSEEN  # it was taken for the one that was lost from view
        elif another:
            lane = self._segment(take, "went on in a new clip", self._sights.of_clip(lane))
        fresh = not lane.start_exact or (lane.clip, lane.start) != told[:2]
        lane.clip, lane.start, lane.length = told
        lane.start_exact = True
        if fresh or lane.ended is not None:
            self._records.lane_soon(lane.device, take)

    def _segment(self, take: Take, note: str, seen: Sight) -> Lane:
        """The recorder went on elsewhere then: same take, next lane, which has ended if this one has."""
        lane, device = seen.lane, seen.lane.device
        more = Lane(device, lane.called, seen.wall, seen.at, POLL_S, note=note, format=lane.format)
        more.slot = last_seen(self._board, device, SLOT_ACTIVE) or 0
        if lane.ended is not None:
            more.ended, more.end, more.ended_by = lane.ended, lane.end, lane.ended_by
            more.note, lane.note, lane.end = ", ".join(filter(None, (note, lane.note))), "", ""
        lane.ended, lane.ended_by = seen.wall, "box"
        self._records.lane_soon(device, take)
        take.lanes[device].append(more)
        self._records.lane_soon(device, take)
        self._clips.ask_soon(device)
        return more

    # -- told to the house ----------------------------------------------------------------------------------------

    def _named(self, on: str) -> list[str]:
        devices = [device for word in on.split(",") if word.strip() for device in self._names(word.strip())]
        for device in devices:
            if device not in self.recorders:
                raise RefusedError(f"{device} is no recorder.", code="target")
        return list(dict.fromkeys(devices))

    def _transport(self, device: str) -> Reading[Transport]:
        return self._board.get(device, TRANSPORT)

    def _touch(self, device: str) -> None:
        if self.open is not None:
            self._records.lane_soon(device, self.open)

    def _changed(self) -> None:
        self._show()
        for tell in self.on_change:
            tell()

    def _show(self) -> None:
        take = self.open or self._last()
        spread = take.spread() if take is not None else None
        values: dict[str, object] = {
            RUNNING.name: self.open is not None,
            NUMBER.name: take.number if take is not None else 0,
            NAME.name: take.name if take is not None else "",
            ROLLING.name: len(self.open.rolling) if self.open is not None else 0,
            WANTED.name: len(take.wanted) if take is not None else 0,
            SPREAD.name: spread.frames if spread is not None else 0,
            NEXT.name: self.next_number,
            NEXT_NAME.name: self.slate,
        }
        now = self._clock.now()
        for name, value in values.items():
            self._writer.compute(name, value, asked_at=now)
