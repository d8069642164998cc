"""Does a lane hold the clip that its recorder really wrote, and does the take say where all overlap?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts). That
recorders started seconds apart line up exactly by their timecode is common practice, without a source.
"""

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import (
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Transport,
)
from stagectl.model.late import BEHIND_S
from stagectl.model.timecode import RATES, label_at
from stagectl.shoot.once import Once
from stagectl.shoot.takeclips import LIST_S, TakeClips
from tests.driverkit.memory import virtual
from tests.model.hand_clock import LateClock
from tests.shoot.takelog import Log, moment

# -- spill, renamed clips, lists ---------------------------------------------------------------------------------------


@virtual
async def test_a_spill_opens_a_second_lane_in_the_same_take() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment(60)
    for _ in range(2):
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
async def test_a_medium_told_once_is_asked_for_again_and_opens_no_lane() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment(5)
    del log.looked[:]
    for slot in (3, 1, 5, 9, 1, 1):
        log.says("iso-1", SLOT_ACTIVE, slot)
    await moment()
    assert log.looked == [("iso-1", ("slot.active",))] * 3
    assert log.told(1, "iso-1") == [("", "", False)]
    watches = len(log.board.reading("iso-1", SLOT_ACTIVE).watches)
    log.says("iso-1", SLOT_ACTIVE, 2)
    told = log.clock.wall()
    log.writers["iso-1"].lost()  # what is only old proves nothing
    await moment()
    assert log.told(1, "iso-1") == [("", "", False)]
    log.says("iso-1", SLOT_ACTIVE, 2)
    assert log.told(1, "iso-1") == [("", "", True), ("", "went on on slot 2", False)]
    assert (told - log.last.lanes["iso-1"][1].wall).total_seconds() < 0.1
    assert len(log.board.reading("iso-1", SLOT_ACTIVE).watches) == watches


@virtual
async def test_a_spill_that_was_told_once_before_the_cut_is_not_lost() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.says("iso-1", SLOT_ACTIVE, 2)
    log.stops("iso-1")
    log.says("iso-1", SLOT_ACTIVE, 2)
    await moment()
    assert log.told(1, "iso-1") == log.again().told(1, "iso-1") == [("", "", True), ("", "went on on slot 2", True)]
    assert [lane.slot for lane in log.last.lanes["iso-1"]] == [1, 2]


@virtual
async def test_an_answer_that_says_a_thing_twice_is_one_answer() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    await moment()
    now, writer = log.clock.now(), log.writers["iso-1"]
    writer.gather()
    for _ in range(2):
        for spec, value in ((CLIP_NAME, "A009"), (CLIP_START, "14:00:00:00"), (CLIP_LENGTH, "00:00:02:00")):
            writer.put(spec.name, value)
        writer.put(SLOT_ACTIVE.name, 5)
    writer.commit(now, now)
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", False)]


@virtual
async def test_a_new_clip_on_a_new_medium_is_one_lane_whichever_is_told_first() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    await moment()
    log.says("iso-1", SLOT_ACTIVE, 2)
    for _ in range(2):
        log.lists("iso-1", "A002", "10:00:02:00", "00:00:01:00")
        await moment()
    log.says("iso-1", SLOT_ACTIVE, 2)
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on in a new clip", False)]
    assert [lane.slot for lane in log.last.lanes["iso-1"]] == [1, 2]


@virtual
async def test_a_spill_soon_after_the_start_does_not_get_the_first_clip_again() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment()
    for _ in range(2):
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
    log.lists("iso-1", "A002", "10:01:01:00", "00:00:00:10")
    assert log.told(1, "iso-1") == [("A001", "", False)]  # one answer alone may be misread
    del log.looked[:]
    await moment()
    assert log.looked == [("iso-1", ("clip.name", "clip.start"))]
    log.lists("iso-1", "A002", "10:01:01:00", "00:00:01:10")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on in a new clip", False)]
    before, after = log.last.lanes["iso-1"]
    assert before.ended == after.wall
    assert after.length == "00:00:01:10"


@virtual
async def test_an_answer_misread_from_end_to_end_makes_no_second_recording() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    wrong = [
        ("A081", "10:00:00:08", "00:00:06:00"),
        ("A081", "10:00:00:08", "00:00:06:00"),  # and the right one in between
        ("A001", "10:00:00:00", "08:00:11:00"),  # longer than it is, and then shorter than it was
        ("A\x1001", "10:00:00:00", "00:00:06:00"),
        ("A009", "14:00:00:00", "00:00:21:00"),
        ("A801", "10:00:00:00", "00:00:01:00"),
    ]
    for answer in wrong:
        await moment(5)
        log.lists("iso-1", *answer)
        await moment(5)
        log.lists("iso-1", "A001", "10:00:00:00", "00:00:30:00")
    await moment()
    assert log.told(1, "iso-1") == log.again().told(1, "iso-1") == [("A001", "", False)]


@virtual
async def test_two_answers_misread_otherwise_make_no_second_recording() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    for name in ("A009", "A011", "A003", "A081"):
        log.lists("iso-1", name, "14:00:00:00", "00:00:21:00")
        await moment()
    assert log.told(1, "iso-1") == [("A001", "", False)]


@virtual
async def test_a_new_clip_that_was_seen_once_before_the_cut_is_not_lost() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    await moment(60)
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    log.lists("iso-1", "A002", "10:01:01:00", "00:00:00:05")
    await moment()
    log.stops("iso-1", by="box")
    await moment()
    assert not log.runs()
    log.lists("iso-1", "A003", "10:01:01:00", "00:00:01:00")  # misread
    await moment()
    for _ in range(2):
        log.lists("iso-1", "A002", "10:01:01:00", "00:00:01:05")
        await moment()
    notes = "went on in a new clip, stopped at its front"
    assert log.told(1, "iso-1") == log.again().told(1, "iso-1") == [("A001", "", True), ("A002", notes, True)]
    before, after = log.last.lanes["iso-1"]
    assert (after.length, after.ended_by, before.ended) == ("00:00:01:05", "box", after.wall)
    assert after.ended is not None
    assert after.ended > after.wall
    log.lists("iso-1", "A002", "10:01:01:00", "00:00:01:05")
    assert len(log.last.lanes["iso-1"]) == 2


@virtual
async def test_a_clip_that_was_named_anew_at_the_box_gets_its_name() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    log.stops("iso-1")
    for _ in range(2):
        log.lists("iso-1", "Suite", "10:00:00:00", "00:00:01:00")
        await moment()
    assert log.told(1, "iso-1") == [("Suite", "", True)]


@virtual
async def test_a_clip_name_misread_on_the_wire_makes_no_second_recording() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:01:00")
    await moment(5)
    log.lists("iso-1", "A081", "10:00:00:00", "00:00:06:00")  # a bit of the 0 turned
    await moment(5)
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:11:00")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", False)]
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    log.stops("iso-1")
    log.lists("iso-1", "A0\x111", "10:00:00:00", "00:00:12:00")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00", "00:00:12:00")
    await moment()
    assert log.told(1, "iso-1") == log.again().told(1, "iso-1") == [("A001", "", True)]
    assert log.last.lanes["iso-1"][0].length == "00:00:12:00"


@virtual
async def test_a_name_alone_opens_no_second_recording() -> None:
    log = Log()
    log.rolls("iso-1")
    await moment()
    log.lists("iso-1", "A001", "10:00:00:00")
    await moment(60)
    log.says("iso-1", CLIP_NAME, "A002")
    await moment()
    assert log.told(1, "iso-1") == [("A001", "", False)]
    for _ in range(2):
        log.lists("iso-1", "A002", "10:01:01:00", "00:00:01:00")
        await moment()
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on in a new clip", False)]


@virtual
async def test_a_new_clip_of_a_recorder_that_counts_each_from_nought_is_a_second_recording() -> None:
    log = Log()
    log.rolls("iso-1", label="00:00:00:00")
    await moment()
    log.lists("iso-1", "A001", "00:00:00:00", "00:00:02:00")
    await moment(3)
    log.says("iso-1", TIMECODE, "00:00:00:10")
    for length in ("00:00:00:10", "00:00:01:10"):
        log.lists("iso-1", "A002", "00:00:00:00", length)
        await moment()
    assert log.told(1, "iso-1") == [("A001", "", True), ("A002", "went on in a new clip", False)]


@virtual
async def test_two_segments_in_one_moment_are_all_written_down() -> None:
    log = Log()
    log.says("iso-1", SLOT_ACTIVE, 1)
    log.rolls("iso-1")
    for slot in (2, 2, 1, 1):
        log.says("iso-1", SLOT_ACTIVE, slot)
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
    for _ in range(3):
        log.lists("iso-1", "A000", "09:00:00:00")  # someone erased the last clip at its front
        await moment()
    assert [clip for clip, _, _ in log.told(1, "iso-1")] == ["A001"]


@virtual
async def test_recorders_are_asked_for_their_clips_soon_after_roll_and_cut() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    assert log.looked == []  # not now: the proof of the roll goes first
    await moment(0.5)
    assert log.looked == [(name, ("clip.name", "clip.start")) for name in ("iso-1", "iso-2")]
    del log.looked[:]
    await moment(5)
    assert [name for name, _ in log.looked] == ["iso-1", "iso-2"]  # once more: some write their list late
    del log.looked[:]
    log.stops("iso-2")
    await moment()
    assert [name for name, _ in log.looked] == ["iso-2"]


# -- spread and common range -------------------------------------------------------------------------------------------


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


@virtual
async def test_a_lane_gets_its_first_label_with_the_first_timecode_that_is_read_in_it() -> None:
    log = Log()
    log.rests("iso-1")
    log.says("iso-1", TIMECODE, "09:59:00:00")  # of the clip it shows at rest
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment(1)
    lane = log.last.lanes["iso-1"][0]
    assert lane.start == ""
    began = lane.seen_at
    log.says("iso-1", TIMECODE, "10:00:01:00")
    assert lane.start == str(label_at(25 * 36001 - round(25 * (log.clock.now() - began)), RATES["25"]))
    await moment(1)
    assert log.records[-1]["lanes"][0]["start"] == lane.start
    assert not any(isinstance(one, Once) for one in log.board.reading("iso-1", TIMECODE).watches)


@virtual
async def test_a_lane_that_ends_before_a_timecode_was_read_takes_none_that_is_told_later() -> None:
    log = Log()
    log.says("iso-1", TRANSPORT, Transport.RECORDING)
    await moment(1)
    log.says("iso-1", TRANSPORT, Transport.STOPPED)
    log.says("iso-1", TIMECODE, "10:00:01:00")
    await moment(1)
    assert log.last.lanes["iso-1"][0].start == ""
    assert not any(isinstance(one, Once) for one in log.board.reading("iso-1", TIMECODE).watches)


def test_a_loop_that_is_always_behind_asks_for_clip_lists_all_the_same() -> None:
    """They are put off once, since what proves the roll may lie unread; for ever would leave the take without clips."""
    clock, asked = LateClock(), list[str]()
    clips = TakeClips(Board(clock), clock, lambda device, names: asked.append(device))
    clips.ask_soon("iso-1")
    clock.go(LIST_S + 3 * BEHIND_S)
    assert asked == []
    clock.go(LIST_S + 3 * BEHIND_S)
    assert asked == ["iso-1"]
