"""Is the take log whole after a restart, whatever was written twice, not at all, or makes no sense?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts).
"""

import copy
from collections import OrderedDict
from typing import Any

import pytest

from stagectl.control.chronicle import Chronicle
from stagectl.model.capabilities.recorder import (
    INPUT_FORMAT,
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Transport,
)
from stagectl.model.late import BEHIND_S, PATIENCE_S
from stagectl.model.verbs import Set
from stagectl.shoot.take import Lane, Take
from stagectl.shoot.takerecords import LANES_S, LANES_TOGETHER, TakeRecords
from stagectl.shoot.takes import (
    KEEP,
    NAME,
    NEXT_NAME,
    NUMBER,
    RUNNING,
    CutTake,
)
from tests.driverkit.memory import virtual
from tests.model.hand_clock import LateClock
from tests.shoot.hall import PaperJournal
from tests.shoot.takelog import Log, ask, moment


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
        for _ in range(2):
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
    again.takes.close_unseen(1, again.takes.recorders)
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
    for _ in range(2):
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


def test_a_loop_that_is_always_behind_writes_the_lanes_all_the_same() -> None:
    """They wait for the answer that the loop is late with; for ever would leave the take without lanes."""
    clock, paper, written = LateClock(), PaperJournal(), list[float]()
    take = Take(1, "", clock.wall(), clock.now())
    take.lanes["iso-1"] = [Lane("iso-1", "Rec 1", clock.wall(), clock.now())]
    records = TakeRecords(
        clock,
        Chronicle(paper, clock),
        OrderedDict({1: take}),
        finish=lambda lane: None,
        written=lambda: written.append(clock.now()),
    )
    records.lane_soon("iso-1", take)
    clock.go(PATIENCE_S - LANES_S)
    assert written == []
    clock.go(2 * (LANES_S + 3 * BEHIND_S))
    assert len(written) == 1
    clock.go(10)
    assert len(written) == 1
