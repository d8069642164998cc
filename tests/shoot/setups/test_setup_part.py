"""Is the house brought into a set-up in the right order, kept in it, and brought back?

Source: own construction; boxes are pretended, all else is real. The order of stages is that of common practice: sound
down, boxes, pictures, locks, levels up, sound on.
"""

import asyncio
from pathlib import Path
from typing import Any

import pytest

from stagectl.control.access import Lock
from stagectl.model.capabilities.mixer import SEND_LEVEL, STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import CODEC, INPUT_FORMAT, TRANSPORT, Transport
from stagectl.model.capabilities.router import INPUT_NAME, OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.order import MOST
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.setups.part import VALUES
from stagectl.shoot.setups.verbs import DIFFERS, DRIFT, HELD, STATE
from tests.driverkit.memory import virtual
from tests.shoot.setups.shelf import EVENING, INES, TOMAS, bad, has, kept, press, records, sent

VCX = "vc3-90"


def value(own: House, device: str, spec: Any) -> Any:
    return own.board.get(device, spec).value


def sentences(own: House, name: str, **more: Any) -> list[str]:
    made = own.setups.plan(name, person=INES, **more)
    return [said for row in made.rows if (said := own.setups.tell.row(row))]


def went(own: House) -> list[tuple[str, str]]:
    """(box, point) in the order their first bytes left."""
    found: dict[tuple[str, str], float] = {}
    for name, box in own.boxes.items():
        pretended: Any = box
        for at, verb in zip(pretended.left_at, pretended.sent, strict=True):
            found.setdefault((name, verb.point.name), at)
    return sorted(found, key=lambda one: found[one])


def test_the_difference_is_told_in_the_order_it_is_put_right(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        assert sentences(own, "evening") == [
            "Mixer strip 1 muted is no, becomes yes.".replace("Mixer", "Box mixer"),
            "Box mixer strip 3 level is -10 dB, becomes -20 dB.",
            "Box iso-1 record codec is vc3-185, becomes vc3-90.",
            "Box iso-2 record codec is vc3-185, becomes vc3-90.",
            "Box iso-1 input shows stage-left, becomes wide.",
            "Box mixer strip 5 level is -10 dB, becomes -6 dB.",
        ]
        assert own.setups.tell.plan(own.setups.plan("evening")) == "Evening: of 6 values, 6 differ."
        assert sent(own, "mixer") == []

    story()


def test_an_apply_does_the_difference_alone_and_ends_verified(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        has(own, "iso-2", CODEC, VCX)
        group = await press(own, "apply", setup="Evening")
        assert group.worst is Ended.VERIFIED, bad(group)
        assert own.teller.group(group) == "Evening: 5 values put right, 1 was right already."
        order = went(own)
        assert order[:2] == [("mixer", "strip.1.muted"), ("mixer", "strip.3.level")]
        assert order[-1] == ("mixer", "strip.5.level")
        assert set(order[2:-1]) == {("iso-1", "record.codec"), ("hall", "output.1.source")}
        assert sent(own, "iso-2") == []
        assert (value(own, "setups", HELD), value(own, "setups", STATE)) == ("evening", "holds")
        again = await press(own, "apply", setup="evening")
        assert (again.worst, len(again.commands)) == (Ended.VERIFIED, 1)
        assert own.teller.group(again) == "Evening: nothing to do, 6 values are as wanted."

    story()


def test_what_was_there_comes_back_where_it_is_still_ours(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        await press(own, "apply", setup="evening")  # nothing to do: what was kept stays kept
        has(own, "mixer", STRIP_LEVEL.at(3), -33.0)  # a hand
        own.boxes["iso-2"].writer.lost()
        await asyncio.sleep(1)
        _, back, left = own.setups.back()
        assert len(back) == 4
        assert left == [
            "iso-2 record codec is not known now and is left alone",
            "mixer strip 3 level was changed since and is left alone",
        ]
        group = await press(own, "undo")
        assert group.worst is Ended.VERIFIED, bad(group)
        assert own.teller.group(group) == "Evening is undone: 4 of 4 values put back."
        assert value(own, "paths", SHOWS.at("iso-1")) == "stage-left"
        assert value(own, "mixer", STRIP_LEVEL.at(3)) == -33.0
        assert (value(own, "mixer", STRIP_MUTED.at(1)), value(own, "mixer", STRIP_LEVEL.at(5))) == (False, -10.0)
        assert value(own, "setups", STATE) == "none"
        with pytest.raises(RefusedError, match="No set-up was applied that could be undone"):
            await press(own, "undo")

    story()


def test_two_at_once_end_each_for_itself_and_the_later_one_is_held(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING, late="set-up: Late\nwants: {mixer: {strip 5 level: 0 dB}}\n")
        first = await own.submit(Wish(INES, "test", "setups", "apply", {"setup": "evening"}))
        second = await own.submit(Wish(TOMAS, "test", "setups", "apply", {"setup": "late"}))
        assert await first.wait(60)
        assert value(own, "setups", STATE) == "applying"
        assert await second.wait(60)
        await asyncio.sleep(0.2)
        assert own.teller.group(first) == "Evening: 5 of 6 values put right."
        assert bad(first) == {"mixer strip.5.level": "overtaken by set strip 5 level to 0 dB of tomas"}
        assert own.teller.group(second) == "Late: 1 value put right, 0 were right already."
        assert (value(own, "setups", HELD), value(own, "setups", STATE)) == ("late", "holds")

    story()


def test_a_level_that_still_rises_is_put_back_as_well(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening="set-up: Evening\nwants: {mixer: {strip 5 level: 0 dB}}\n")
        applied = await own.submit(Wish(INES, "test", "setups", "apply", {"setup": "evening"}))
        await asyncio.sleep(0.8)  # of 1.7 s that it takes
        assert -10 < value(own, "mixer", STRIP_LEVEL.at(5)) < 0
        undone = await press(own, "undo")
        assert undone.worst is Ended.VERIFIED, bad(undone)
        assert own.teller.group(undone) == "Evening is undone: 1 of 1 value put back."
        assert applied.ended
        await asyncio.sleep(5)
        assert value(own, "mixer", STRIP_LEVEL.at(5)) == -10.0

    story()


def test_undo_comes_back_to_the_set_up_before(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING, late="set-up: Late\nwants: {mixer: {strip 3 level: off}}\n")
        await press(own, "apply", setup="evening")
        await press(own, "apply", setup="late")
        assert (await press(own, "undo")).worst is Ended.VERIFIED
        assert (value(own, "setups", HELD), value(own, "setups", STATE)) == ("evening", "holds")

    story()


def test_a_recorder_that_rolls_keeps_its_settings_and_its_picture_and_the_rest_is_done(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        has(own, "iso-1", TRANSPORT, Transport.RECORDING)
        left = [one for one in sentences(own, "evening") if "left alone" in one]
        assert [one.partition(":")[0] for one in left] == [
            "Box iso-1 record codec is vc3-185, wanted vc3-90, and is left alone",
            "Box iso-1 input shows stage-left, wanted wide, and is left alone",
        ]
        assert [one.partition(": ")[2] for one in left] == [
            "it records. Cut its take first.",
            "iso-1 records, and keeps its picture. Cut its take first.",
        ]
        group = await press(own, "apply", setup="evening")
        assert group.worst is Ended.FAILED
        assert set(bad(group)) == {"iso-1 record.codec", "hall output.1.source", "paths iso-1.shows"}
        assert own.teller.group(group) == "Evening: 4 of 6 values put right."
        assert sent(own, "iso-1") == sent(own, "hall") == []
        assert value(own, "iso-2", CODEC) == VCX
        assert (value(own, "setups", STATE), value(own, "setups", DIFFERS)) == ("differs", 2)

    story()


def test_a_roll_that_comes_while_sound_goes_down_is_minded(tmp_path: Path) -> None:
    """The recorder's turn comes later than its check: it is asked again when its bytes are to leave."""

    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        mixer: Any = own.boxes["mixer"]
        enqueue = mixer.enqueue

        def late(prepared: Any) -> None:
            has(own, "iso-1", TRANSPORT, Transport.RECORDING)
            enqueue(prepared)

        mixer.enqueue = late
        group = await press(own, "apply", setup="evening")
        assert set(bad(group)) == {"iso-1 record.codec", "hall output.1.source", "paths iso-1.shows"}
        assert sent(own, "iso-1") == sent(own, "hall") == []

    story()


def test_sound_that_does_not_come_down_holds_the_rest_back(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        own.commands.locks.append(Lock(frozenset({("mixer", "strip.1.muted")}), "it is on air", may_lift=TOMAS.role))
        told = sentences(own, "evening")
        assert "is left alone: mixer strip 1 muted is protected by the site file: it is on air" in told[0]
        assert told[-1].endswith(
            "is left alone: mixer strip 1 muted has to come first and can't. "
            "Put that right first, or apply a part: --only."
        )
        group = await press(own, "apply", setup="evening")
        assert group.worst is Ended.FAILED
        assert sent(own, "hall") == sent(own, "iso-1") == []
        assert value(own, "mixer", STRIP_LEVEL.at(3)) == -20.0  # down is done
        assert value(own, "mixer", STRIP_LEVEL.at(5)) == -10.0  # up is not
        part = await press(own, "apply", setup="evening", only="paths, every recorder")
        assert part.worst is Ended.VERIFIED
        assert (await press(own, "apply", TOMAS, setup="evening")).worst is Ended.VERIFIED

    story()


def test_a_part_of_it_is_applied_undone_and_watched_alone(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        assert len(sentences(own, "evening", only="mixer strip 5, Box iso-1")) == 2
        group = await press(own, "apply", setup="evening", only="mixer strip 5, paths")
        assert group.worst is Ended.VERIFIED
        assert {target for target, _ in went(own)} == {"mixer", "hall"}
        assert value(own, "setups", STATE) == "holds"
        with pytest.raises(RefusedError, match='There is no device, group or part "mixr"'):
            await press(own, "apply", setup="evening", only="mixr strip 5")

    story()


def test_a_change_afterwards_is_told_with_old_new_and_whose_it_was(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        has(own, "mixer", STRIP_LEVEL.at(3), -5.0)
        has(own, "hall", OUTPUT_SOURCE.at(1), 2)
        await asyncio.sleep(1)
        told = [own.setups.tell.drift(one) for one in own.setups.drifts]
        assert [one.rpartition(" at ")[0] for one in told] == [
            "Box mixer strip 3 level is -5 dB, was -20 dB; changed by a hand at the box",
            "Box iso-1 input shows stage-right, was wide; changed by a hand at the box",
        ]
        assert (value(own, "setups", STATE), value(own, "setups", DIFFERS)) == ("differs", 2)
        assert value(own, "setups", DRIFT) == told[-1]
        assert [(one["was"], one["now"]) for one in records(own, "drift")] == [(-20.0, -5.0), ("wide", "stage-right")]
        has(own, "mixer", STRIP_LEVEL.at(3), -20.1)  # within what boxes round
        await asyncio.sleep(1)
        assert [one["point"] for one in records(own, "right-again")] == ["strip.3.level"]
        assert len(own.setups.drifts) == 1

    story()


def test_somebody_of_the_house_is_named(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        args = {"point": "strip.3.level", "value": "-30 dB"}
        group = await own.submit(Wish(TOMAS, "test", "mixer", "set", args))
        assert await group.wait(30)
        await asyncio.sleep(1)
        assert [one.by for one in own.setups.drifts] == ["tomas"]

    story()


def test_only_what_is_to_hold_is_watched_and_a_box_out_of_sight_is_no_drift(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING + "hold: [mixer strip 1 muted, every recorder record codec]\n")
        await press(own, "apply", setup="evening")
        has(own, "mixer", STRIP_LEVEL.at(3), -5.0)
        own.boxes["iso-1"].writer.lost()
        await asyncio.sleep(1)
        assert own.setups.drifts == []
        assert value(own, "setups", STATE) == "unsure"
        has(own, "iso-1", CODEC, "vc3-45")  # it comes back as another one
        await asyncio.sleep(1)
        assert [one.now for one in own.setups.drifts] == ["vc3-45"]

    story()


def test_what_is_set_at_the_box_alone_is_told_and_never_sent(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING + "  every iso: {input format: 1080p50}\n")
        told = sentences(own, "evening")
        assert told[-2:] == [
            "Box iso-1 input format is 1080p25, wanted 1080p50: set it at the box.",
            "Box iso-2 input format is 1080p25, wanted 1080p50: set it at the box.",
        ]
        group = await press(own, "apply", setup="evening")
        assert group.worst is Ended.VERIFIED
        assert own.teller.group(group).endswith("2 values differ that can be set only at the box.")
        assert (value(own, "setups", STATE), value(own, "setups", DIFFERS)) == ("differs", 2)
        has(own, "iso-1", INPUT_FORMAT, "1080p50")
        await asyncio.sleep(1)
        assert value(own, "setups", DIFFERS) == 1

    story()


def test_what_can_not_be_told_is_asked_for_and_said_to_be(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        own.boxes["mixer"].writer.lost()
        assert "Box mixer strip 3 level is not known now, was last -10 dB, becomes -20 dB." in sentences(own, "evening")
        group = await press(own, "apply", setup="evening")
        assert group.worst is Ended.VERIFIED
        assert own.board.get("mixer", STRIP_LEVEL.at(3)).quality is Quality.GOOD

    story()


def test_two_things_wanted_of_one_crosspoint_are_refused(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING + "  hall: {output 1 source: 3}\n")
        with pytest.raises(RefusedError) as no:
            sentences(own, "evening")
        assert str(no.value) == (
            "hall output 1 source and paths iso-1 shows want different things of hall output 1 source."
        )
        assert no.value.code == "contradicts"

    story()


def test_a_station_is_a_wish_like_any_other_and_its_sends_come_back(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        text = "set-up: Bench\nwants: {stations: {director sees: stage-left, director hears: program}}\n"
        own = kept(tmp_path, bench=text)
        has(own, "mixer", SEND_LEVEL.at(1, 4), -12.0)  # up already, by ear
        has(own, "gallery", OUTPUT_SOURCE.at(2), 1)  # so that a tie-line is free
        has(own, "hall", OUTPUT_SOURCE.at(15), 4)
        await asyncio.sleep(0.1)
        group = await press(own, "apply", setup="bench")
        assert group.worst is Ended.VERIFIED, bad(group)
        assert value(own, "mixer", SEND_LEVEL.at(1, 4)) == -12.0
        assert value(own, "setups", STATE) == "holds"
        assert (await press(own, "undo")).worst is Ended.VERIFIED
        assert (value(own, "mixer", SEND_LEVEL.at(1, 4)), value(own, "mixer", SEND_LEVEL.at(5, 4))) == (-12.0, "off")

    story()


def test_a_way_that_is_taken_is_refused_in_words_and_the_rest_is_done(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(
            tmp_path, full="set-up: Full\nwants: {paths: {director shows: hands}, iso-1: {record codec: vc3-90}}\n"
        )
        group = await press(own, "apply", setup="full")
        assert set(bad(group)) == {"paths director.shows"}
        assert "is held by program" in bad(group)["paths director.shows"]
        assert value(own, "iso-1", CODEC) == VCX

    story()


def test_a_tie_line_that_one_picture_leaves_is_there_for_another_in_one_press(tmp_path: Path) -> None:
    """One by one the second would be refused: what is being left is not free before it is seen to be left."""

    @virtual
    async def story() -> None:
        swap = "set-up: Swap\nwants: {paths: {program shows: titles, director shows: hands}}\n"
        own = kept(tmp_path, swap=swap)
        has(own, "gallery", OUTPUT_SOURCE.at(3), 8)  # the director sees the titles, which are the gallery's own
        has(own, "hall", OUTPUT_SOURCE.at(15), 4)  # program looks through here
        has(own, "hall", OUTPUT_SOURCE.at(16), 2)  # and the recorder through there
        has(own, "gallery", OUTPUT_SOURCE.at(1), 1)
        has(own, "gallery", OUTPUT_SOURCE.at(2), 2)
        await asyncio.sleep(0.1)
        group = await press(own, "apply", setup="swap")
        assert group.worst is Ended.VERIFIED, bad(group)
        assert own.teller.group(group) == "Swap: 2 values put right, 0 were right already."
        assert went(own) == [
            ("gallery", "output.1.source"),
            ("hall", "output.15.source"),
            ("gallery", "output.3.source"),
        ]
        assert [value(own, "paths", SHOWS.at(name)) for name in ("program", "director")] == ["titles", "hands"]
        undone = await press(own, "undo")
        assert undone.worst is Ended.VERIFIED, bad(undone)
        assert [value(own, "paths", SHOWS.at(name)) for name in ("program", "director")] == ["wide", "titles"]

    story()


def test_many_values_of_one_box_go_out_in_rounds(tmp_path: Path) -> None:
    """So that the first ones are looked at before their time is over."""

    @virtual
    async def story() -> None:
        rows = "".join(f"    strip {strip} name: Voice {strip}\n" for strip in range(1, MOST + 3))
        own = kept(tmp_path, many=f"set-up: Many\nwants:\n  mixer:\n{rows}")
        group = await press(own, "apply", setup="many")
        assert group.worst is Ended.VERIFIED
        stages = [one.ask.stage for one in group.commands if one.ask.target == "mixer"]
        assert sorted(stages.count(one) for one in set(stages)) == [2, MOST]

    story()


def test_what_was_applied_can_be_undone_when_its_file_is_gone(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        told = [entry.data for entry in own.chronicle.recent if entry.kind == "setup"]
        (tmp_path / "setups" / "evening.yaml").unlink()
        again = kept(tmp_path)
        has(again, "mixer", STRIP_MUTED.at(1), True)
        again.setups.restore(told)
        assert (value(again, "setups", HELD), value(again, "setups", STATE)) == ("", "none")
        group = await press(again, "undo")
        assert group.worst is Ended.VERIFIED
        assert again.teller.group(group) == "The last set-up is undone: 1 of 1 value put back."
        assert value(again, "mixer", STRIP_MUTED.at(1)) is False

    story()


def test_a_large_set_up_is_kept_in_several_lines_and_comes_back_whole(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        many = range(1, VALUES + 52)
        rows = "".join(f"    input {number} name: New {number}\n" for number in many)
        own = kept(tmp_path, many=f"set-up: Many\nwants:\n  hall:\n{rows}")
        for number in many:
            has(own, "hall", INPUT_NAME.at(number), f"Old {number}")
        assert (await press(own, "apply", setup="many")).worst is Ended.VERIFIED
        told = [entry.data for entry in own.chronicle.recent if entry.kind == "setup"]
        assert [len(one["values"]) for one in told if one["what"] == "kept"] == [VALUES, 51]

        again = kept(tmp_path)
        for number in many:
            has(again, "hall", INPUT_NAME.at(number), f"New {number}")
        again.setups.restore(told)
        assert (await press(again, "undo")).worst is Ended.VERIFIED
        assert [value(again, "hall", INPUT_NAME.at(number)) for number in (1, many[-1])] == ["Old 1", f"Old {many[-1]}"]

    story()


def test_after_a_restart_it_is_held_watched_and_can_be_undone(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        told = [entry.data for entry in own.chronicle.recent if entry.kind == "setup"]

        again = kept(tmp_path)
        for name, spec, wanted in (
            *(("mixer", STRIP_MUTED.at(1), True), ("mixer", STRIP_LEVEL.at(3), -20.0), ("iso-1", CODEC, VCX)),
            *(("iso-2", CODEC, VCX), ("hall", OUTPUT_SOURCE.at(1), 4), ("mixer", STRIP_LEVEL.at(5), -6.0)),
        ):
            has(again, name, spec, wanted)
        await asyncio.sleep(0.1)
        again.setups.restore(told)
        await asyncio.sleep(0.2)
        assert (value(again, "setups", HELD), value(again, "setups", STATE)) == ("evening", "holds")
        has(again, "mixer", STRIP_LEVEL.at(5), -40.0)
        await asyncio.sleep(0.2)
        assert [one.was for one in again.setups.drifts] == [-6.0]
        group = await press(again, "undo")
        assert group.worst is Ended.VERIFIED
        assert value(again, "mixer", STRIP_LEVEL.at(5)) == -40.0  # somebody's by now
        assert value(again, "mixer", STRIP_LEVEL.at(3)) == -10.0

        third = kept(tmp_path)
        third.setups.restore([*told, *(entry.data for entry in again.chronicle.recent if entry.kind == "setup")])
        assert value(third, "setups", HELD) == ""
        with pytest.raises(RefusedError, match="could be undone"):
            third.setups.back()

    story()
