"""Does a mark stand where and as it was made?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts).
"""

import asyncio

import pytest

from stagectl.model.capabilities.recorder import (
    TIMECODE,
    TRANSPORT,
    Transport,
)
from stagectl.model.errors import RefusedError
from stagectl.shoot.take import MarkKind
from stagectl.shoot.takes import (
    MARKS_MOST,
)
from tests.driverkit.memory import virtual
from tests.shoot.takelog import Log, moment


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
