"""Is the house told ready when it is, and what keeps it from being, each thing once and with its remedy?

Boxes without a wire (tests/shoot/hall.py); what is wanted is the site's.
"""

import asyncio
from dataclasses import replace
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.model.capabilities.base import HEALTH, LINK_UP, Health
from stagectl.model.capabilities.recorder import (
    CLIP_NAME,
    CLIP_START,
    CODEC,
    INPUT_FORMAT,
    INPUT_PRESENT,
    REMOTE,
    SLOT_FREE,
    SLOT_STATE,
    TIMECODE_SOURCE,
    TRANSPORT,
    Roll,
    SlotState,
    Transport,
)
from stagectl.model.capabilities.router import OUTPUT_LOCK, Lock
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.lineup.part import FAILED, READY, RECORDER_READY, SAY, Lineup
from stagectl.shoot.readiness import readiness
from stagectl.site import CameraEntry, CheckEntry, LineupEntry, PlannedTake
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import KINDS, house, site

INES = Person("ines", Role.OPERATOR)
WANTED = LineupEntry(
    format="1080p25",
    codec="VC3-HQ",
    timecode="25",
    plan=(PlannedTake("Suite", 3600.0),),
    leave_out=("timecode",),  # the pretended boxes' labels are looked at in tests/shoot/clock
)


class Stage:
    """The hall with its line-up; everything right at first."""

    def __init__(self, wanted: LineupEntry = WANTED, **more: Any) -> None:
        self.own: House = house(VirtualClock(asyncio.get_running_loop()), replace(site(), lineup=wanted, **more))
        own = self.own
        self.own.parts |= readiness(own.world, own.board, own.site, own.boxes, chronicle=own.chronicle, takes=own.takes)
        part = self.own.parts["lineup"]
        assert isinstance(part, Lineup)
        self.part = part
        for name, box in own.boxes.items():
            box.has(LINK_UP, True)
            box.has(HEALTH, Health.WELL)
            if KINDS[name].kind == "recorder":
                for spec, value in (
                    (CODEC, "VC3-HQ"),
                    (TRANSPORT, Transport.PREVIEW),
                    (TIMECODE_SOURCE, "external"),
                    (SLOT_FREE.at(1), 480 * 10**9),
                ):
                    box.has(spec, value)

    async def settle(self) -> None:
        await asyncio.sleep(2)

    def point(self, spec: Any) -> Any:
        reading = self.own.board.get("lineup", spec)
        return reading.value if reading.quality is Quality.GOOD else None

    def wrong(self) -> dict[str, str]:
        return {row.check.id: row.stands for row in self.part.rows() if row.stands != "pass"}


@virtual
async def test_a_hall_where_everything_is_right_is_ready() -> None:
    stage = Stage()
    await stage.settle()
    assert stage.wrong() == {}
    assert (stage.point(READY), stage.point(FAILED)) == (True, 0)
    assert stage.part.plain()["say"].startswith("Ready to roll: ")


@virtual
async def test_while_a_take_rolls_no_door_says_that_the_house_is_ready_to_roll() -> None:
    stage = Stage()
    await stage.settle()
    group = await stage.own.submit(Wish(INES, "test", "takes", "roll"))
    assert await group.wait(30)
    await stage.settle()
    say = stage.part.plain()["say"]
    assert say.startswith("Take 1 rolls. What can be looked at meanwhile is right: ")
    assert stage.point(SAY) == say
    stage.own.boxes["iso-2"].has(INPUT_PRESENT, False)
    await stage.settle()
    assert str(stage.point(SAY)).startswith("Take 1 rolls: 1 of ")
    assert stage.part.plain()["say"] == stage.point(SAY)
    stage.own.boxes["iso-2"].has(INPUT_PRESENT, True)
    group = await stage.own.submit(Wish(INES, "test", "takes", "cut", {"take": 1}))
    assert await group.wait(30)
    await stage.settle()
    assert stage.part.plain()["say"] == stage.point(SAY)
    assert str(stage.point(SAY)).startswith("Ready to roll: ")


@virtual
async def test_one_take_right_after_another_is_the_one_that_is_told() -> None:
    stage = Stage()
    await stage.settle()
    for number in (1, 2):
        stage.own.boxes["iso-1"].has(TRANSPORT, Transport.RECORDING)
        await stage.settle()
        assert str(stage.point(SAY)).startswith(f"Take {number} rolls")
        stage.own.boxes["iso-1"].has(TRANSPORT, Transport.PREVIEW)


ROWS = [
    # what happens to iso-2, the row that fails, what is found, a word of the remedy
    (REMOTE, False, "iso-2.remote", "remote is no", "Switch remote on"),
    (TRANSPORT, Transport.PLAYING, "iso-2.at-rest", "transport is playing", "Stop what it plays"),
    (SLOT_STATE.at(1), SlotState.ERROR, "iso-2.medium", "slot 1 state is error, slot 2 state is empty", "Put in"),
    (INPUT_PRESENT, False, "iso-2.signal", "input present is no", "the route"),
    (INPUT_FORMAT, "1080i50", "iso-2.format", "input format is 1080i50", "Set the camera"),
    (CODEC, "VC3-LB", "iso-2.codec", "record codec is VC3-LB", 'stagectl set iso-2 "record codec" VC3-HQ'),
    (SLOT_FREE.at(1), 20 * 10**9, "iso-2.record-time", "13 min left, 1 h 00 min planned", "Change its medium"),
    (LINK_UP, False, "iso-2.reachable", "link up is no, health is well", "power"),
]


@pytest.mark.parametrize(("spec", "value", "row", "found", "remedy"), ROWS, ids=[row[2] for row in ROWS])
def test_each_fault_is_its_own_row_with_its_remedy(spec: Any, value: Any, row: str, found: str, remedy: str) -> None:
    @virtual
    async def story() -> None:
        stage = Stage()
        await stage.settle()
        good = stage.own.boxes["iso-2"].values[spec.name]
        stage.own.boxes["iso-2"].has(spec, value)
        await stage.settle()
        failing = [one for one in stage.part.rows() if one.stands == "fail"]
        assert row in [one.check.id for one in failing]
        assert {one.check.device for one in failing} == {"iso-2"}
        one = next(one for one in failing if one.check.id == row)
        assert one.found == found
        assert remedy in one.remedy
        assert (stage.point(READY), stage.point(RECORDER_READY.at("iso-2"))) == (False, False)
        assert stage.point(RECORDER_READY.at("iso-1")) is True
        stage.own.boxes["iso-2"].has(spec, good)
        await stage.settle()
        assert (stage.point(READY), stage.wrong()) == (True, {})

    story()


@virtual
async def test_what_is_not_known_never_passes() -> None:
    stage = Stage()
    await stage.settle()
    stage.own.boxes["iso-1"].writer.lost()
    await stage.settle()
    assert set(stage.wrong().values()) == {"not known"}
    assert stage.point(READY) is None
    assert stage.part.plain()["ready"] is False


@virtual
async def test_a_line_up_and_a_roll_can_not_differ_in_what_a_roll_needs() -> None:
    stage = Stage()
    await stage.settle()
    asked = {leaf.spec.name for row in stage.part.rows() for leaf in row.check.condition.leaves()}
    assert {leaf.spec.name for leaf in Roll().needs().leaves()} <= asked
    stage.own.boxes["iso-2"].has(REMOTE, False)
    await stage.settle()
    group = await stage.own.submit(Wish(INES, "test", "takes", "roll"))
    assert await group.wait(30)
    refused = [command.ask.target for command in group.commands if command.verdict and command.verdict.refused]
    assert refused == [row.check.device for row in stage.part.rows() if row.stands == "fail"] == ["iso-2"]
    assert group.worst is Ended.FAILED


@virtual
async def test_a_way_that_another_panel_has_locked_and_a_take_that_is_played_back_are_told() -> None:
    stage = Stage()
    hall, deck = stage.own.boxes["hall"], stage.own.boxes["iso-2"]
    hall.has(OUTPUT_LOCK.at(2), Lock.FREE)
    await stage.settle()
    assert stage.wrong() == {}
    hall.has(OUTPUT_LOCK.at(2), Lock.THEIRS)
    await stage.settle()
    assert (stage.wrong(), stage.point(READY)) == ({"iso-2.route-free": "fail"}, True)
    deck.has(TRANSPORT, Transport.RECORDING)
    deck.has(CLIP_NAME, "Suite")
    deck.has(CLIP_START, "10:00:00:00")
    deck.has(TRANSPORT, Transport.STOPPED)
    await stage.settle()
    group = await stage.own.submit(Wish(INES, "test", "playback", "play", {"take": 1}))
    await asyncio.sleep(0.3)
    assert stage.wrong() == {"iso-2.route-free": "fail", "playback": "fail", "iso-2.at-rest": "fail"}
    rows = {row.check.id: row for row in stage.part.rows()}
    assert rows["playback"].found in ("a take is being cued", "a take plays")
    assert rows["playback"].check.help(stage.own.board) == "End it: stagectl play stop"
    assert await group.wait(20)


@virtual
async def test_a_run_asks_every_box_anew_and_sends_nothing_else() -> None:
    stage = Stage()
    await stage.settle()
    told = await stage.part.run("ines")
    assert told["ready"] is True
    assert all(box.sent == [] for box in stage.own.boxes.values())
    own = ("reachable", "route", "record-time")  # of what the house itself computes, nothing is asked
    ages = [row["age_s"] for row in told["rows"] if row["device"] in stage.own.boxes and row["check"] not in own]
    assert max(ages) < 3  # 2 s of settling before; a run takes 2 s


@virtual
async def test_a_box_that_does_not_answer_a_run_is_not_known() -> None:
    stage = Stage()
    await stage.settle()
    stage.own.boxes["iso-1"].look_now = lambda names, done=None: stage  # asked, and then silence
    told = await stage.part.run("ines")
    rows = [row for row in told["rows"] if row["device"] == "iso-1" and row["stands"] == "not known"]
    assert rows
    assert rows[0]["found"].startswith("it did not answer within 2.5 s; last seen: ")
    assert told["ready"] is False


@virtual
async def test_a_result_is_kept_with_the_day() -> None:
    stage = Stage()
    stage.own.boxes["iso-2"].has(INPUT_FORMAT, "720p50")
    await stage.settle()
    await stage.part.run("ines")
    kinds = [
        (entry.kind, entry.who, dict(entry.data)) for entry in stage.own.chronicle.recent if entry.kind == "lineup"
    ]
    (kind, who, data) = kinds[-1]
    assert (kind, who, data["ready"]) == ("lineup", "ines", False)
    assert "iso-2.format: input format is 720p50" in data["wrong"]


@virtual
async def test_a_waiver_has_a_name_a_reason_and_an_end() -> None:
    stage = Stage(replace(WANTED, kept_s=60.0))
    stage.own.boxes["iso-2"].has(INPUT_FORMAT, "720p50")
    await stage.settle()
    stage.part.waive("iso-2.format", INES, "it is the guest's")
    await stage.settle()
    (row,) = [row for row in stage.part.rows() if row.waiver is not None]
    assert (row.stands, row.waiver.by, row.waiver.because) == ("fail", "ines", "it is the guest's")
    assert stage.point(READY) is True
    await asyncio.sleep(61)
    assert stage.part.plain()["ready"] is False
    assert stage.point(READY) is False


@virtual
async def test_a_waiver_lasts_over_a_restart_and_is_taken_back_without_a_reason() -> None:
    stage = Stage()
    stage.part.waive("iso-2.format", INES, "it is the guest's")
    records = [dict(entry.data) for entry in stage.own.chronicle.recent if entry.kind == "lineup"]
    again = Stage()
    again.part.restore(records)
    assert [row.check.id for row in again.part.rows() if row.waiver] == ["iso-2.format"]
    again.part.waive("iso-2.format", INES, "")
    assert [row for row in again.part.rows() if row.waiver] == []
    with pytest.raises(RefusedError, match=r'There is no check "iso-2\.formt"'):
        again.part.waive("iso-2.formt", INES, "why")


@virtual
async def test_a_tracked_camera_that_runs_free_on_a_moving_head_keeps_from_being_ready() -> None:
    cameras = {
        "hands": CameraEntry("hands", locked=False, moves=True, tracked=True, line=1),
        "wide": CameraEntry("wide", locked=True, moves=False, tracked=True, line=2),
        "stage-left": CameraEntry("stage-left", locked=False, moves=True, tracked=False, line=3),
    }
    stage = Stage(cameras=cameras)
    await stage.settle()
    (row,) = [row for row in stage.part.rows() if row.stands == "fail"]
    assert (row.check.id, row.check.must) == ("hands.reference", True)
    assert row.found == "it runs free on a moving head, as the site file says"
    assert stage.point(READY) is False


@virtual
async def test_the_sites_own_check_is_a_row_like_any_other() -> None:
    condition = CODEC.is_("VC3-HQ").on("iso-1")
    stage = Stage(replace(WANTED, checks=(CheckEntry("iso-1", "best", condition, "Choose it.", False, 9),)))
    stage.own.boxes["iso-1"].has(CODEC, "VC3-LB")
    await stage.settle()
    row = next(row for row in stage.part.rows() if row.check.name == "best")
    assert (row.stands, row.holds_up, row.remedy) == ("fail", False, "Choose it.")
