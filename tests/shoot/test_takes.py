"""Does the take log tell what was really recorded, whoever rolled it, whatever was lost from view or restarted?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts). That
recorders started seconds apart line up exactly by their timecode is common practice, without a source.
"""

import asyncio
import copy
from collections.abc import Mapping
from typing import Any

import pytest

from stagectl.control.chronicle import Chronicle
from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import (
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    INPUT_FORMAT,
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Cut,
    Play,
    Roll,
    Transport,
)
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Set, Verb
from stagectl.shoot.take import MarkKind, Take
from stagectl.shoot.takerecords import LANES_TOGETHER
from stagectl.shoot.takes import (
    KEEP,
    MARKS_MOST,
    NAME,
    NEXT,
    NEXT_NAME,
    NUMBER,
    ROLLING,
    RUNNING,
    WANTED,
    WISH_S,
    CutTake,
    RollAll,
    Takes,
)
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import PaperJournal

RECORDERS = {"iso-1": "Rec 1", "iso-2": "Rec 2", "iso-3": "Rec 3"}
POINTS = (TRANSPORT, TIMECODE, INPUT_FORMAT, SLOT_ACTIVE, CLIP_NAME, CLIP_START, CLIP_LENGTH)


class Log:
    """The take log over a board that a test writes to, as the recorders' links would."""

    def __init__(self, recorders: Mapping[str, str] = RECORDERS, *, format: str = "1080p25") -> None:  # noqa: A002
        self.clock = VirtualClock(asyncio.get_running_loop())
        self.board = Board(self.clock)
        self.by = "ines"
        self.board.author = lambda reading: self.by
        self.paper = PaperJournal()
        self.writers = {name: self.board.writer(name) for name in recorders}
        self.looked: list[tuple[str, tuple[str, ...]]] = []
        self.takes = Takes(
            self.board,
            self.clock,
            Chronicle(self.paper, self.clock),
            recorders,
            lambda device, names: self.looked.append((device, names)),
            lambda word: {"iso": list(recorders), "hall": ["hall"]}.get(word, [word]),
        )
        for name in recorders:
            self.writers[name].declare(*POINTS)
            if format:
                self.says(name, INPUT_FORMAT, format)

    def says(self, device: str, spec: PointSpec[Any], value: Any, *, asked_ago_s: float = 0.0) -> None:
        now = self.clock.now()
        writer = self.writers[device]
        writer.gather()
        writer.put(spec.name, value)
        writer.commit(now - asked_ago_s, now)

    def rests(self, *devices: str) -> None:
        for device in devices or tuple(self.writers):
            self.says(device, TRANSPORT, Transport.STOPPED)

    def rolls(self, *devices: str, label: str = "10:00:00:00", by: str = "ines") -> None:
        """The recorders say that they record, and a label a moment later."""
        self.by = by
        for device in devices:
            self.says(device, TRANSPORT, Transport.RECORDING)
            self.says(device, TIMECODE, label)

    def stops(self, *devices: str, by: str = "ines") -> None:
        self.by = by
        for device in devices:
            self.says(device, TRANSPORT, Transport.STOPPED)

    def lists(self, device: str, clip: str, start: str, length: str = "00:00:10:00") -> None:
        """Its own clip list ends so."""
        for spec, value in ((CLIP_NAME, clip), (CLIP_START, start), (CLIP_LENGTH, length)):
            self.says(device, spec, value)

    def loses(self, *devices: str) -> None:
        for device in devices:
            self.writers[device].lost()

    def presses(self, *devices: str, name: str = "", who: str = "ines") -> None:
        """Somebody presses roll."""
        ask = Ask("id", who, "test", "takes", RollAll(name))
        self.takes.expect(self.takes.roll_asks(ask, devices or tuple(self.writers), name), name)

    def runs(self) -> bool:
        """Does a take run? A call, so that no type checker takes an earlier answer for this one."""
        return self.takes.open is not None

    @property
    def last(self) -> Take:
        return next(reversed(self.takes.takes.values()))

    def told(self, number: int, device: str) -> list[tuple[str, str, bool]]:
        """(clip, note, ended) of each lane."""
        return [
            (lane.clip, lane.note, lane.ended is not None) for lane in self.takes.takes[number].lanes.get(device, [])
        ]

    def point(self, spec: PointSpec[Any]) -> Any:
        return self.board.get("takes", spec).value

    @property
    def records(self) -> list[dict[str, Any]]:
        return [copy.deepcopy(data) for kind, _, data in self.paper.records if kind == "take"]

    def again(self, records: list[dict[str, Any]] | None = None) -> "Log":
        """The daemon starts anew on the same journal; nothing was read yet."""
        log = Log()
        log.takes.restore(self.records if records is None else records)
        return log


async def moment(seconds: float = 1.0) -> None:
    await asyncio.sleep(seconds)


def ask(verb: Verb, target: str = "takes") -> Ask:
    return Ask("id", "ines", "test", target, verb)


# -- rolling -------------------------------------------------------------------------------------------------------


@virtual
async def test_a_take_opens_when_a_recorder_rolls_and_not_when_somebody_presses() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    await moment()
    assert not log.runs()
    assert (log.point(RUNNING), log.point(NEXT)) == (False, 1)
    log.rolls("iso-1", "iso-2", "iso-3")
    await moment()
    take = log.last
    assert (take.number, take.name, take.by, take.wanted) == (1, "Masterclass", "ines", ("iso-1", "iso-2", "iso-3"))
    assert take.rolling == ["iso-1", "iso-2", "iso-3"]
    assert [log.point(spec) for spec in (RUNNING, NUMBER, NAME, ROLLING, WANTED, NEXT)] == [
        *(True, 1, "Masterclass", 3, 3, 2)
    ]


@virtual
async def test_a_deck_rolled_at_its_front_opens_a_take_by_the_box() -> None:
    log = Log()
    log.rests()
    log.rolls("iso-2", by="box")
    await moment()
    assert (log.last.by, log.last.name, log.last.wanted) == ("box", "", ())
    assert log.told(1, "iso-2") == [("", "rolled at its front", False)]


@virtual
async def test_a_deck_that_rolls_of_itself_opens_a_take_by_nobody_known() -> None:
    log = Log()
    log.rolls("iso-2", by="")
    assert log.last.by == "not known"


@virtual
async def test_a_late_deck_joins_the_take_that_runs() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    log.rolls("iso-1")
    await moment(7)
    log.rolls("iso-2")
    log.rolls("iso-3", by="box")
    await moment()
    assert list(log.takes.takes) == [1]
    assert log.told(1, "iso-2") == [("", "", False)]
    assert log.told(1, "iso-3") == [("", "rolled at its front", False)]


@virtual
async def test_a_press_for_more_decks_while_a_take_runs_wants_them_too() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1")
    log.rolls("iso-1")
    log.presses("iso-1", "iso-2")
    await moment()
    assert log.last.wanted == ("iso-1", "iso-2")
    assert log.again().last.wanted == ("iso-1", "iso-2")


@virtual
async def test_a_press_that_nobody_followed_names_no_later_take() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    await moment(WISH_S + 1)
    log.rolls("iso-1", by="box")
    assert (log.last.name, log.last.by) == ("", "box")


@virtual
async def test_a_front_that_was_quicker_than_the_press_does_not_take_its_name_away() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1", "iso-2", name="Masterclass")
    log.rolls("iso-3", by="box")  # a hand at a recorder that nobody asked to roll
    log.rolls("iso-1", "iso-2")
    await moment()
    assert list(log.takes.takes) == [1]
    assert (log.last.name, log.last.by, log.last.wanted) == ("Masterclass", "ines", ("iso-1", "iso-2"))
    assert log.point(NAME) == "Masterclass"
    assert log.again().last.name == "Masterclass"


@virtual
async def test_the_clips_are_asked_to_carry_take_name_and_recorder() -> None:
    log = Log()
    asks = log.takes.expand(ask(RollAll("Masterclass", "iso-1, iso-3")))
    assert [(one.target, one.verb, one.take) for one in asks] == [
        ("iso-1", Roll("T001_Masterclass_iso-1"), 1),
        ("iso-3", Roll("T001_Masterclass_iso-3"), 1),
    ]
    assert [one.verb for one in log.takes.expand(ask(RollAll(on="iso-1")))] == [Roll("T001_iso-1")]


@virtual
async def test_the_slate_names_the_next_take_once() -> None:
    log = Log()
    log.takes.act(Set(NEXT_NAME, "Encore"))
    assert log.point(NEXT_NAME) == "Encore"
    assert log.takes.upcoming("") == (1, "Encore")
    assert log.takes.upcoming("Other") == (1, "Other")
    log.presses()
    log.rolls("iso-1")
    await moment()
    assert (log.last.name, log.point(NEXT_NAME)) == ("Encore", "")


# -- stopping ------------------------------------------------------------------------------------------------------


@virtual
async def test_the_take_ends_with_its_last_recorder() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.stops("iso-1", by="box")
    await moment()
    assert log.told(1, "iso-1") == [("", "stopped at its front", True)]
    assert log.last.rolling == ["iso-2"]
    assert log.takes.open is log.last
    log.stops("iso-2")
    await moment()
    assert log.told(1, "iso-2") == [("", "", True)]
    assert log.last.closed is not None
    assert (log.point(RUNNING), log.point(ROLLING), log.point(NUMBER), log.point(NEXT)) == (False, 0, 1, 2)


@virtual
async def test_a_deck_rolled_again_within_a_take_has_two_lanes() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.stops("iso-1", by="box")
    log.rolls("iso-1", by="box")
    await moment()
    assert [ended for _, _, ended in log.told(1, "iso-1")] == [True, False]
    assert log.last.rolling == ["iso-1", "iso-2"]


@virtual
async def test_playing_is_not_rolling() -> None:
    log = Log()
    log.says("iso-1", TRANSPORT, Transport.PLAYING)
    assert not log.runs()
    log.rolls("iso-1")
    log.says("iso-1", TRANSPORT, Transport.PLAYING)
    assert log.last.closed is not None


# -- spill, renamed clips, lists -----------------------------------------------------------------------------------


@virtual
async def test_a_spill_opens_a_second_lane_in_the_same_take() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment(60)
    log.says("iso-1", SLOT_ACTIVE, 2)
    log.says("iso-1", TIMECODE, "10:01:01:00")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")  # its list still ends in the first clip
    assert log.told(1, "iso-1") == [("A001", "", True), ("", "went on on slot 2", False)]
    log.lists("iso-1", "A002", "10:01:01:00")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on on slot 2", False)]
    assert [lane.slot for lane in log.last.lanes["iso-1"]] == [1, 2]
    assert log.last.rolling == ["iso-1"]


@virtual
async def test_a_spill_soon_after_the_start_does_not_get_the_first_clip_again() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment()
    log.says("iso-1", SLOT_ACTIVE, 2)
    log.says("iso-1", TIMECODE, "10:00:02:00")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:02:00")
    assert [clip for clip, _, _ in log.told(1, "iso-1")] == ["A001", ""]


@virtual
async def test_a_deck_that_goes_on_in_a_new_clip_has_a_second_lane() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment(60)
    log.lists("iso-1", "A002", "10:01:01:00")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on in a new clip", False)]


@virtual
async def test_two_segments_in_one_moment_are_all_written_down() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    log.says("iso-1", SLOT_ACTIVE, 2)
    log.says("iso-1", SLOT_ACTIVE, 1)
    await moment()
    again = log.again()
    assert [(note, ended) for _, note, ended in again.told(1, "iso-1")] == [
        ("", True),
        ("went on on slot 2", True),
        ("went on on slot 1", False),
    ]


@virtual
async def test_a_list_that_still_ends_in_the_clip_before_is_not_believed() -> None:
    log = Log()
    log.says("iso-1", TIMECODE, "10:30:00:00")
    log.rolls("iso-1", label="10:30:00:00")
    await moment()
    log.lists("iso-1", "OLD", "09:00:00:00")
    assert log.told(1, "iso-1") == [("", "", False)]
    log.lists("iso-1", "A001", "10:30:00:01")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", False)]
    assert log.last.lanes["iso-1"][0].start_exact


@virtual
async def test_a_list_asked_for_before_the_roll_is_not_believed() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment(0.1)
    for spec, value in ((CLIP_NAME, "OLD"), (CLIP_START, "10:00:00:00"), (CLIP_LENGTH, "00:00:01:00")):
        log.says("iso-1", spec, value, asked_ago_s=0.5)
    assert log.told(1, "iso-1") == [("", "", False)]


@virtual
async def test_the_clip_of_the_take_before_is_not_believed_though_the_format_is_not_known() -> None:
    log = Log(format="")
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    log.stops("iso-1")
    await moment()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:02:00")
    assert [clip for clip, _, _ in log.told(2, "iso-1")] == [""]
    log.lists("iso-1", "A002", "10:00:03:00")
    assert [clip for clip, _, _ in log.told(2, "iso-1")] == ["A002"]


@virtual
async def test_a_clip_told_after_the_take_is_not_put_in_place_of_its_own() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    log.stops("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")  # its length is known now
    assert log.last.lanes["iso-1"][0].length == "00:00:01:00"
    log.lists("iso-1", "A000", "09:00:00:00")  # someone erased the last clip at its front
    assert [clip for clip, _, _ in log.told(1, "iso-1")] == ["A001"]


@virtual
async def test_recorders_are_asked_for_their_clips_soon_after_roll_and_cut() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    assert log.looked == []  # not now: the proof of the roll goes first
    await moment()
    assert log.looked == [(name, ("clip.name", "clip.start")) for name in ("iso-1", "iso-2")]
    del log.looked[:]
    log.stops("iso-2")
    await moment()
    assert [name for name, _ in log.looked] == ["iso-2"]


# -- spread and common range ---------------------------------------------------------------------------------------


@virtual
async def test_recorders_started_seconds_apart_line_up_by_their_labels() -> None:
    log = Log()
    log.rolls("iso-2", label="10:00:00:00")
    await moment(3)
    log.rolls("iso-1", label="10:00:03:00")
    await moment(1)
    spread = log.last.spread()
    assert spread is not None
    assert (spread.exact, spread.of) == (False, 2)
    log.lists("iso-2", "B", "10:00:00:00", "00:00:20:00")
    log.lists("iso-1", "A", "10:00:03:07", "00:00:10:00")
    await moment()
    spread = log.last.spread()
    assert spread is not None
    assert (spread.frames, spread.give, spread.of, spread.exact) == (82, 0, 2, True)
    assert log.last.offsets() == {"iso-2": 0, "iso-1": 82}
    log.stops("iso-1", "iso-2")
    assert log.last.common() is None  # what was told while they rolled was their length so far
    log.lists("iso-2", "B", "10:00:00:00", "00:00:20:00")
    log.lists("iso-1", "A", "10:00:03:07", "00:00:10:00")
    assert log.last.common() == {"first": "10:00:03:07", "last": "10:00:13:06", "frames": 250}


@virtual
async def test_a_deck_whose_labels_are_not_known_leaves_the_spread_to_what_was_seen() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment(0.2)
    log.rolls("iso-2")
    await moment(0.1)
    log.lists("iso-1", "A", "10:00:00:00")
    spread = log.last.spread()
    assert spread is not None
    assert (spread.frames, spread.give, spread.exact) == (5, 1, False)
    assert log.last.common() is None


@virtual
async def test_decks_that_write_a_semicolon_where_there_is_no_drop_frame_line_up_by_their_digits() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2", label="10:00:00;00")
    await moment(1)
    log.lists("iso-1", "A", "10:00:00;00", "00:00:10:00")
    log.lists("iso-2", "B", "10:00:00:05", "00:00:10:00")
    await moment()
    log.stops("iso-1", "iso-2")
    log.lists("iso-1", "A", "10:00:00;00", "00:00:10:00")
    log.lists("iso-2", "B", "10:00:00:05", "00:00:10:00")
    spread = log.last.spread()
    assert spread is not None
    assert (spread.frames, spread.of, spread.exact) == (5, 2, True)
    assert log.last.common() == {"first": "10:00:00:05", "last": "10:00:09:24", "frames": 245}


@virtual
async def test_a_clip_that_begins_at_a_label_that_does_not_exist_is_told_without_being_compared() -> None:
    """A medium may hold anything: 10:01:00;00 is left out in drop-frame, 99 is no number of seconds."""
    for label in ("10:01:00;00", "10:00:99:00", "10:00:00:27"):
        log = Log()
        log.rolls("iso-1", "iso-2")
        await moment(1)
        lane = log.last.lanes["iso-2"][0]
        lane.start, lane.start_exact, lane.length = label, True, "00:00:10:00"
        told = log.last.plain()
        assert told["lanes"][1]["start"] == label
        assert told["common"] is None


# -- lost from view ------------------------------------------------------------------------------------------------


@virtual
async def test_a_lost_deck_stays_in_its_take_and_is_the_same_recording_when_it_returns() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    await moment(10)
    assert log.last.rolling == ["iso-1", "iso-2"]
    log.rolls("iso-2", label="10:00:11:00")
    await moment()
    assert log.told(1, "iso-2") == [("", "", False)]
    log.stops("iso-1", "iso-2")
    await moment()
    assert (list(log.takes.takes), log.takes.open) == ([1], None)


@virtual
async def test_a_deck_that_returns_stopped_ended_its_lane() -> None:
    log = Log()
    log.rolls("iso-1")
    log.loses("iso-1")
    await moment(5)
    assert log.runs()
    log.stops("iso-1", by="box")
    await moment()
    assert log.last.closed is not None


@virtual
async def test_a_cut_that_ended_closes_the_take_over_decks_that_cannot_be_seen() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    log.stops("iso-1")
    await moment()
    assert log.runs()  # nobody has cut yet: iso-2 may roll on
    log.takes.close_unseen(1)
    await moment()
    assert not log.runs()
    assert log.last.unseen == ("iso-2",)
    assert log.told(1, "iso-2") == [("", "lost from view", True)]
    assert log.again().last.unseen == ("iso-2",)


@virtual
async def test_a_cut_that_ended_leaves_open_what_is_seen_to_roll_on() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.loses("iso-2")
    log.takes.close_unseen(1)
    log.takes.close_unseen(7)
    assert log.takes.open is log.last


@virtual
async def test_a_deck_that_returns_still_rolling_opens_its_take_again() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.lists("iso-2", "B001", "10:00:00:00")
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1)
    await moment(20)
    log.by = "box"
    log.rolls("iso-2", label="10:00:21:00", by="box")
    await moment()
    assert list(log.takes.takes) == [1]
    assert log.takes.open is log.last
    assert (log.last.closed, log.last.unseen) == (None, ())
    assert log.told(1, "iso-2") == [("B001", "seen again", False)]
    assert [one.target for one in log.takes.expand(ask(CutTake(1)))] == ["iso-2"]
    again = log.again()
    assert again.takes.open is again.last
    log.stops("iso-2")
    await moment()
    assert not log.runs()
    assert (log.point(RUNNING), log.takes.next_number) == (False, 2)


@virtual
async def test_a_deck_that_returns_still_rolling_joins_the_take_that_runs_now() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1)
    await moment()
    log.rolls("iso-1")
    assert log.last.number == 2
    log.rolls("iso-2")
    await moment()
    assert log.told(2, "iso-2") == [("", "still rolls from take 1", False)]
    assert [one.target for one in log.takes.expand(ask(CutTake(2)))] == ["iso-1", "iso-2"]


@virtual
async def test_a_deck_that_returns_stopped_after_its_take_changes_nothing_but_what_its_list_tells() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1)
    await moment(20)
    log.stops("iso-2")
    log.lists("iso-2", "B001", "10:00:00:00", "00:00:09:00")
    await moment()
    assert not log.runs()
    assert log.told(1, "iso-2") == [("B001", "lost from view", True)]
    log.rolls("iso-2")
    assert log.last.number == 2


# -- cutting -------------------------------------------------------------------------------------------------------


@virtual
async def test_a_cut_names_the_take_that_runs() -> None:
    log = Log()
    with pytest.raises(RefusedError, match="Take 3 is not running: nothing rolls") as refused:
        log.takes.expand(ask(CutTake(3)))
    assert refused.value.code == "take"
    log.rolls("iso-1")
    with pytest.raises(RefusedError, match="Take 3 is not running: take 1 is") as refused:
        log.takes.guard(ask(Cut(3), "iso-1"))
    assert refused.value.remedy == "To end it: stagectl cut 1"
    with pytest.raises(RefusedError, match="Rec 2 does not roll in take 1"):
        log.takes.guard(ask(Cut(1), "iso-2"))
    good = ask(Cut(1), "iso-1")
    assert log.takes.guard(good) is good
    assert log.takes.guard(ask(Play(), "iso-2")).verb == Play()


@virtual
async def test_a_cut_of_a_take_is_for_those_that_roll_in_it() -> None:
    log = Log()
    log.rolls("iso-1", "iso-3")
    asks = log.takes.expand(ask(CutTake(1)))
    assert [(one.target, one.verb, one.take) for one in asks] == [("iso-1", Cut(1), 1), ("iso-3", Cut(1), 1)]
    assert [one.target for one in log.takes.expand(ask(CutTake(1, "iso-3")))] == ["iso-3"]
    with pytest.raises(RefusedError, match="hall is no recorder"):
        log.takes.expand(ask(CutTake(1, "hall")))


@virtual
async def test_a_take_takes_no_other_verb() -> None:
    with pytest.raises(RefusedError, match="takes can't play"):
        Log().takes.expand(ask(Play()))


# -- marks ---------------------------------------------------------------------------------------------------------


@virtual
async def test_a_take_is_marked_and_noted_and_that_survives() -> None:
    log = Log()
    log.rolls("iso-1")
    log.stops("iso-1")
    await moment()
    log.takes.mark(1, "tomas", good=True)
    log.takes.mark(1, "tomas", note="page turn at 3 min")
    kept = log.again().last
    assert kept.good
    assert kept.notes == ["2027-03-12T14:03:41.000Z tomas: page turn at 3 min"]
    log.takes.mark(1, "tomas", good=False)
    assert not log.again().last.good
    with pytest.raises(RefusedError, match="There is no take 9"):
        log.takes.mark(9, "tomas", good=True)


@virtual
async def test_a_mark_while_it_rolls_holds_the_timecode_of_its_moment_and_survives() -> None:
    log = Log()
    log.rolls("iso-1", label="23:59:59:20")
    await asyncio.sleep(0.42)  # virtual: ten frames at 25, and a half
    log.takes.mark(1, "ines", kind=MarkKind.PROBLEM)
    log.takes.mark(1, "ines", kind=MarkKind.GOOD, note="the trill")
    log.stops("iso-1")
    await moment()
    log.takes.mark(1, "tomas", note="after the end")
    kept = log.again().last.marks
    assert kept == log.takes.takes[1].marks
    assert [(one.kind, one.label, one.device, one.text) for one in kept] == [
        ("problem", "00:00:00:05", "iso-1", ""),
        ("good", "00:00:00:05", "iso-1", "the trill"),
        ("note", "", "", "after the end"),
    ]


@virtual
async def test_a_label_read_before_the_roll_is_no_place_in_the_take() -> None:
    log = Log()
    log.says("iso-1", TIMECODE, "00:00:07:00")  # at rest it shows a clip's
    await moment()
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    log.takes.mark(1, "ines", kind=MarkKind.GOOD)
    log.says("iso-1", TIMECODE, "10:00:00:00")
    await asyncio.sleep(0.42)
    log.takes.mark(1, "ines", kind=MarkKind.GOOD)
    assert [mark.label for mark in log.takes.takes[1].marks] == ["", "10:00:00:10"]


@virtual
async def test_notes_that_an_earlier_version_kept_are_marks() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    old = [data | {"notes": ["2027-03-12T14:03:41.000Z tomas: bar 3: late"]} for data in log.records]
    (mark,) = log.again([data for data in old if data["what"] == "head"]).last.marks
    assert (mark.kind, mark.who, mark.text) == (MarkKind.NOTE, "tomas", "bar 3: late")


@virtual
async def test_a_take_that_is_full_of_marks_says_so_and_can_still_be_rated() -> None:
    log = Log()
    log.rolls("iso-1")
    for _ in range(MARKS_MOST):
        log.takes.mark(1, "ines", kind=MarkKind.GOOD)
    with pytest.raises(RefusedError, match="takes no more"):
        log.takes.mark(1, "ines", note="one too many")
    assert log.takes.mark(1, "ines", good=True).good


@virtual
async def test_a_deck_whose_labels_cannot_be_reckoned_is_not_written_down_again_and_again() -> None:
    log = Log(format="")
    log.rolls("iso-1")
    await moment()
    before = len(log.records)
    for _ in range(30):
        log.says("iso-1", TRANSPORT, Transport.RECORDING)
        await moment()
    assert len(log.records) == before


@virtual
async def test_a_label_reckoned_late_is_written_down_once() -> None:
    log = Log()
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment()
    for second in range(3):
        log.says("iso-1", TIMECODE, f"10:00:0{second + 2}:00")
        log.says("iso-1", TRANSPORT, Transport.RECORDING)
        await moment()
    assert log.last.lanes["iso-1"][0].start == "10:00:01:00"
    assert log.again().last.lanes["iso-1"][0].start == "10:00:01:00"
    assert [data["what"] for data in log.records] == ["head", "lanes", "lanes"]


# -- records and restart -------------------------------------------------------------------------------------------


@virtual
async def test_all_recorders_of_a_roll_stand_in_one_record() -> None:
    names = {f"iso-{number}": f"Rec {number}" for number in range(1, LANES_TOGETHER + 3)}
    log = Log(names)
    log.rolls(*names)
    await moment()
    whats = [data["what"] for data in log.records]
    assert whats == ["head", "lanes", "lanes"]
    assert [len(data["lanes"]) for data in log.records if data["what"] == "lanes"] == [LANES_TOGETHER, 2]


@virtual
async def test_how_the_lanes_ended_stands_before_the_end_of_the_take() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    before = len(log.records)
    log.stops("iso-1")
    await moment()
    after = log.records[before:]
    assert [data["what"] for data in after][:2] == ["lanes", "head"]
    assert after[0]["lanes"][0]["ended"] is not None
    assert after[1]["closed"] is not None


@virtual
async def test_after_a_restart_rolling_decks_are_adopted_to_their_take() -> None:
    log = Log()
    log.presses(name="Masterclass")
    log.rolls("iso-1", "iso-2")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment()
    again = log.again()
    assert (again.takes.open, again.takes.next_number) == (again.last, 2)
    assert (again.point(RUNNING), again.point(NUMBER), again.point(NAME)) == (True, 1, "Masterclass")
    again.rolls("iso-1", label="10:00:30:00", by="")
    again.rolls("iso-2", label="10:00:30:00", by="")
    await moment()
    assert list(again.takes.takes) == [1]
    assert again.told(1, "iso-1") == [("A001", "adopted", False)]
    assert again.told(1, "iso-2") == [("", "adopted", False)]
    assert again.last.wanted == ("iso-1", "iso-2", "iso-3")
    again.stops("iso-1", "iso-2", by="ines")
    await moment()
    assert not again.runs()
    assert [note for _, note, _ in again.told(1, "iso-1")] == ["adopted"]


@virtual
async def test_a_lane_that_ended_before_a_timecode_was_read_in_it_gets_its_clip() -> None:
    log = Log()
    log.says("iso-1", TIMECODE, "10:00:00:00")
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment(0.4)
    log.stops("iso-1")
    await moment(0.2)
    log.lists("iso-1", "Somebody's", "08:30:00:00")
    await moment()
    assert log.told(1, "iso-1") == [("", "", True)], "a list may still end in the clip before"
    log.lists("iso-1", "A001", "10:00:01:02", "00:00:00:10")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", True)]


@virtual
async def test_a_lane_that_no_process_lived_to_reckon_gets_the_clip_that_ends_where_it_did() -> None:
    log = Log()
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment()
    again = log.again()
    again.says("iso-1", INPUT_FORMAT, "1080p25")
    again.says("iso-1", TIMECODE, "10:46:31:01")
    again.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment(0.3)
    again.stops("iso-1")
    again.lists("iso-1", "Somebody's", "10:40:00:00", "00:00:01:00")
    await moment()
    assert [lane.clip for lane in again.last.all_lanes()] == [""]
    again.lists("iso-1", "A001", "10:45:53:07", "00:00:37:22")
    await moment()
    assert [lane.clip for lane in again.last.all_lanes()] == ["A001"]


@virtual
async def test_a_recorder_that_was_seen_for_its_last_moment_alone_gets_its_clip() -> None:
    log = Log()
    log.rests("iso-1")
    await moment(8)  # out of sight meanwhile
    log.rolls("iso-1", label="10:00:12:10")
    await moment(0.3)
    log.stops("iso-1")
    await moment(0.2)
    log.lists("iso-1", "Somebody's", "09:59:50:00", "00:00:01:00")
    assert log.told(1, "iso-1") == [("", "", True)]
    log.lists("iso-1", "A001", "10:00:04:18", "00:00:07:24")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", True)]


@virtual
async def test_a_roll_that_nobody_lived_to_see_keeps_its_name_over_a_restart() -> None:
    again = Log()
    again.takes.recall(1, "Masterclass", "ines", ("iso-1", "iso-2"))
    again.rolls("iso-1", "iso-2", by="")
    await moment()
    assert (again.last.name, again.last.by, again.last.wanted) == ("Masterclass", "ines", ("iso-1", "iso-2"))
    assert [data["name"] for data in again.records if data["what"] == "head"][-1] == "Masterclass"


@virtual
async def test_a_roll_that_came_to_nothing_names_no_take_that_is_there_already_or_comes_much_later() -> None:
    log = Log()
    log.presses(name="Masterclass")
    log.rolls("iso-1")
    await moment()
    again = log.again()
    again.takes.recall(1, "Another", "ben", ("iso-1",))
    again.rolls("iso-1", by="")
    assert again.last.name == "Masterclass"
    later = Log()
    later.takes.recall(1, "Another", "ben", ("iso-1",))
    await moment(60)
    later.rolls("iso-1", by="box")
    assert (later.last.name, later.last.wanted) == ("", ())


@virtual
async def test_a_deck_whose_labels_were_not_known_before_a_restart_is_adopted_too() -> None:
    log = Log(format="")
    log.rolls("iso-1")
    await moment()
    again = log.again()
    again.rolls("iso-1", label="10:00:30:00", by="")
    await moment()
    assert again.told(1, "iso-1") == [("", "adopted", False)]
    assert again.last.lanes["iso-1"][0].start == ""  # nobody knows when it began
    assert again.records[-1]["lanes"][0]["note"] == "adopted"


@virtual
async def test_what_ended_while_the_daemon_was_away_is_told_so() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    again = log.again()
    again.rolls("iso-1", by="")
    again.stops("iso-2", by="")
    await moment()
    assert again.told(1, "iso-2") == [("", "ended while stagectl was away", True)]
    assert again.last.rolling == ["iso-1"]
    last = again.again()
    last.stops("iso-1", by="")
    await moment()
    assert not last.runs()


@virtual
async def test_a_deck_that_rolled_while_the_daemon_was_away_joins_the_open_take() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    again = log.again()
    again.rolls("iso-1", "iso-3", by="")
    await moment()
    assert again.last.rolling == ["iso-1", "iso-3"]
    assert list(again.takes.takes) == [1]


@virtual
async def test_doubled_and_repeated_records_tell_the_same() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    for _ in range(2):
        log.rolls("iso-1", "iso-2")
        await moment()
        log.says("iso-1", SLOT_ACTIVE, 2)
        await moment()
        log.stops("iso-1", "iso-2")
        await moment()
        log.says("iso-1", SLOT_ACTIVE, 1)
    log.takes.mark(1, "ines", good=True)
    log.rolls("iso-1")
    await moment()
    once = log.again()
    doubled = log.again([copy.deepcopy(data) for data in log.records for _ in range(2)])
    repeated = log.again([*log.records, *log.records])
    told = [take.plain() for take in once.takes.takes.values()]
    assert [take.plain() for take in doubled.takes.takes.values()] == told
    assert [take.plain() for take in repeated.takes.takes.values()] == told
    monotonic = {"spread": None}  # from when lanes were seen: gone with the process
    assert [take.plain() | monotonic for take in log.takes.takes.values()] == [one | monotonic for one in told]
    assert (once.takes.next_number, once.takes.open is once.last) == (4, True)


@virtual
async def test_reading_records_leaves_them_as_they_are() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    records = log.records
    before = copy.deepcopy(records)
    Log().takes.restore(records)
    assert records == before


@virtual
async def test_a_take_whose_lanes_all_ended_before_the_crash_is_closed() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.stops("iso-1")
    await moment()
    cut_off = [data for data in log.records if not (data["what"] == "head" and data["closed"])]
    again = log.again(cut_off)
    assert not again.runs()
    assert again.last.closed == again.last.lanes["iso-1"][0].ended
    again.rolls("iso-1")
    await moment()
    assert again.last.number == 2


@virtual
async def test_a_take_that_was_only_just_opened_before_the_crash_keeps_its_decks() -> None:
    log = Log()
    log.presses("iso-1", "iso-2", name="Masterclass")
    log.rolls("iso-1", "iso-2")
    await moment()
    again = log.again([data for data in log.records if data["what"] == "head"])
    again.stops("iso-3", by="")
    assert again.takes.open is again.last
    again.rolls("iso-1", "iso-2", by="")
    await moment()
    assert (list(again.takes.takes), again.last.rolling) == ([1], ["iso-1", "iso-2"])


@virtual
async def test_a_take_that_was_only_just_opened_closes_if_nobody_rolls() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    again = log.again([data for data in log.records if data["what"] == "head"])
    again.stops("iso-1", "iso-2", by="")
    assert again.takes.open is again.last  # iso-3 was not seen yet
    again.stops("iso-3", by="")
    await moment()
    assert not again.runs()
    assert again.takes.next_number == 2


@virtual
async def test_a_take_that_was_only_just_opened_can_be_cut_though_a_deck_never_returns() -> None:
    log = Log()
    log.presses("iso-1", name="Masterclass")
    log.rolls("iso-1")
    await moment()
    again = log.again([data for data in log.records if data["what"] == "head"])
    assert [one.target for one in again.takes.expand(ask(CutTake(1)))] == ["iso-1"]
    again.takes.close_unseen(1)
    assert not again.runs()


@virtual
async def test_the_slate_survives_also_when_it_was_written_while_a_take_ran() -> None:
    log = Log()
    log.presses("iso-1")
    log.rolls("iso-1")
    await moment()
    log.takes.act(Set(NEXT_NAME, "Encore"))
    log.presses("iso-2")  # writes the running take's head again
    await moment()
    assert log.again().takes.slate == "Encore"


@virtual
async def test_takes_are_kept_up_to_a_bound_also_after_a_restart() -> None:
    log = Log({"iso-1": "Rec 1"})
    for _ in range(KEEP + 5):
        log.rolls("iso-1")
        log.stops("iso-1")
        await moment(0.01)
    await moment()
    assert len({data["take"] for data in log.records}) == KEEP + 5
    assert (len(log.takes.takes), log.last.number) == (KEEP, KEEP + 5)
    again = Log({"iso-1": "Rec 1"})
    again.takes.restore(log.records)
    assert (len(again.takes.takes), again.takes.next_number) == (KEEP, KEEP + 6)


@virtual
async def test_lanes_of_a_recorder_that_left_the_site_are_left_out() -> None:
    log = Log()
    log.rolls("iso-1", "iso-3")
    await moment()
    again = Log({"iso-1": "Rec 1"})
    again.takes.restore(log.records)
    assert list(again.last.lanes) == ["iso-1"]


@virtual
async def test_a_recording_behind_a_lost_record_stands_once_and_keeps_its_number() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.says("iso-1", SLOT_ACTIVE, 2)
    await moment()
    log.stops("iso-1")
    await moment()
    true = [lane.plain() for lane in log.last.lanes["iso-1"]]
    assert len(true) == 2
    for _ in range(2):  # of the first lane's records none is left; a second start changes nothing
        again = Log()
        kept = [
            record
            if record["what"] != "lanes"
            else record | {"lanes": [one for one in record["lanes"] if one["i"] == 1]}
            for record in log.records
        ]
        again.takes.restore(kept)
        assert [lane.plain() for lane in again.last.lanes["iso-1"]] == true[1:]
        again.takes._records._dirty["iso-1", 1] = 0
        again.takes._records._write_lanes()
        assert [one["i"] for one in again.records[-1]["lanes"]] == [1]
        log.records.append(again.records[-1])


@pytest.mark.parametrize(
    "odd",
    [
        {"what": "head", "take": "x", "opened": "2027-03-12T14:02:00.000Z"},
        {"what": "head", "take": 9},
        {"what": "head", "take": 9, "opened": "2027-03-12T14:02:00"},
        {"what": "head", "take": 0, "opened": "2027-03-12T14:02:00.000Z"},
        {"what": "head", "take": 9, "opened": "2027-03-12T14:02:00.000Z", "wanted": 5},
        {"what": "lanes", "take": 1, "lanes": 7},
        {"what": "lanes", "take": 1, "lanes": [{"device": "iso-1", "rolled": None}]},
        {"what": "lanes", "take": 1, "lanes": [{"device": "iso-1", "rolled": "2027-03-12T14:02:00Z", "give_s": "nan"}]},
        {"what": "slate"},
        {"what": ["head"]},
    ],
)
def test_a_record_that_makes_no_sense_is_left_out_whole(odd: dict[str, Any]) -> None:
    @virtual
    async def story() -> None:
        log = Log()
        log.rolls("iso-1")
        await moment()
        again = Log()
        again.takes.restore([*log.records, odd, {"what": "slate", "name": "Trio"}])
        assert list(again.takes.takes) == [1]
        assert [lane.plain() for lane in again.last.all_lanes()] == [lane.plain() for lane in log.last.all_lanes()]
        assert again.takes.slate == "Trio"

    story()


@virtual
async def test_what_an_older_version_did_not_write_or_a_newer_one_adds_is_no_reason_to_lose_a_take() -> None:
    log = Log()
    head = {"what": "head", "take": 3, "opened": "2027-03-12T14:02:00.000Z", "mood": "good"}
    lane = {"device": "iso-1", "rolled": "2027-03-12T14:02:01.000Z", "hue": 3}
    log.takes.restore([head, {"what": "lanes", "take": 3, "lanes": [lane]}])
    assert log.takes.takes[3].lanes["iso-1"][0].plain()["rolled"] == "2027-03-12T14:02:01.000Z"
