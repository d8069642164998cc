"""Can a take be corrected later, and does it keep how it was, whatever dies in between?

Source of rows: own construction, from the rules of the take log: nothing is ever deleted, and a record says how the
thing now is.
"""

from datetime import timedelta

import pytest

from stagectl.control.chronicle import stamp
from stagectl.model.errors import RefusedError
from stagectl.shoot.take import MarkKind, Take
from stagectl.shoot.takecorrections import CHANGES_MOST
from stagectl.shoot.takenumbers import Numbering
from tests.driverkit.memory import virtual
from tests.shoot.takelog import Log, moment


async def rolled(log: Log, *names: str) -> None:
    """A take of each name, one after another."""
    for name in names:
        log.presses(name=name)
        log.rolls("iso-1")
        await moment()
        log.stops("iso-1")
        await moment()


def history(take: Take) -> list[tuple[str, str, str, str]]:
    return [(one.what, one.was, one.now, one.who) for one in take.changes]


@virtual
async def test_each_correction_keeps_what_it_was_who_changed_it_and_when() -> None:
    log = Log(numbering=Numbering.SLATE)
    await rolled(log, "Masterclass 3")
    corrections = log.takes.corrections
    corrections.rate(1, "ines", good=True)
    await moment(60)
    corrections.slate(1, "tomas", "Masterclass 4")
    corrections.rate(1, "tomas", good=False)
    for one in (log, log.again()):
        take = one.last
        assert (take.name, take.slate_take, take.good) == ("Masterclass 4", 1, False)
        assert history(take) == [
            ("good", "no", "yes", "ines"),
            ("slate", "Masterclass 3, take 1", "Masterclass 4, take 1", "tomas"),
            ("good", "yes", "no", "tomas"),
        ]
        assert (take.changes[1].wall - take.changes[0].wall).total_seconds() == pytest.approx(60, abs=0.1)
    assert log.last.plain()["changes"][0] == {
        "what": "good",
        "was": "no",
        "now": "yes",
        "who": "ines",
        "at": stamp(log.last.changes[0].wall),
    }


@virtual
async def test_what_is_so_already_is_no_correction() -> None:
    log = Log()
    await rolled(log, "Masterclass 3")
    log.takes.mark(1, "ines", note="horn late")
    before = len(log.records)
    log.takes.corrections.rate(1, "ines", good=False)
    log.takes.corrections.slate(1, "ines", "Masterclass 3")
    log.takes.corrections.mark(1, 1, "ines", text="horn late")
    assert (history(log.last), len(log.records)) == ([], before)


@virtual
async def test_a_mark_is_corrected_or_struck_out_and_never_deleted() -> None:
    log = Log()
    await rolled(log, "Masterclass 3")
    log.takes.mark(1, "ines", kind=MarkKind.PROBLEM, note="chair")
    log.takes.mark(1, "ines", note="horn late")
    marks = log.takes.corrections.mark
    marks(1, 1, "tomas", text="a chair falls", kind=MarkKind.NOTE)
    marks(1, 2, "tomas", struck=True)
    for one in (log, log.again()):
        take = one.last
        assert [(mark.kind, mark.text, mark.who, mark.struck) for mark in take.marks] == [
            ("note", "a chair falls", "ines", False),
            ("note", "horn late", "ines", True),
        ]
        plain = take.plain()
        assert [(mark["n"], mark["text"]) for mark in plain["marks"]] == [(1, "a chair falls")]
        assert [(mark["n"], mark["text"]) for mark in plain["struck"]] == [(2, "horn late")]
        assert len(take.notes) == 1
        assert history(take) == [
            ("mark 1", "problem, chair", "note, a chair falls", "tomas"),
            ("mark 2", "note, horn late", "note, horn late, struck out", "tomas"),
        ]
    marks(1, 2, "ines", struck=False)
    assert len(log.again().last.notes) == 2


@virtual
async def test_what_can_not_be_corrected_is_refused_and_changes_nothing() -> None:
    log = Log()
    await rolled(log, "Masterclass 3")
    log.takes.mark(1, "ines", note="horn late")
    corrections = log.takes.corrections
    for number in (0, 2):
        with pytest.raises(RefusedError, match=f"Take 1 has no mark {number}"):
            corrections.mark(1, number, "ines", struck=True)
    with pytest.raises(RefusedError, match="A note needs its text"):
        corrections.mark(1, 1, "ines", text="")
    with pytest.raises(RefusedError, match="There is no take 9"):
        corrections.slate(9, "ines", "x")
    for number in range(CHANGES_MOST):
        corrections.rate(1, "ines", good=number % 2 == 0)
    with pytest.raises(RefusedError, match=f"corrected {CHANGES_MOST} times"):
        corrections.rate(1, "ines", good=True)
    assert not log.last.good


@virtual
async def test_records_of_corrections_may_come_twice_or_make_no_sense() -> None:
    log = Log()
    await rolled(log, "Masterclass 3")
    log.takes.mark(1, "ines", note="horn late")
    log.takes.corrections.mark(1, 1, "tomas", text="horn early")
    log.takes.corrections.rate(1, "tomas", good=True)
    records = log.records
    corrected = [record for record in records if record["what"] == "change"]
    odd = [corrected[0] | more for more in ({"i": -1}, {"change": {}}, {"place": -2}, {"take": 99}, {"mark": 1})]
    again = log.again([*records, *corrected, *odd]).last
    assert (history(again), again.good) == (history(log.last), True)
    assert [mark.text for mark in again.marks] == ["horn early"]


@virtual
async def test_a_slate_stands_for_the_takes_that_follow_and_counts_them() -> None:
    log = Log(numbering=Numbering.SLATE)
    log.takes.slate_next("Masterclass 3")
    await rolled(log, "", "", "Warm-up", "masterclass  3")
    log = log.again()
    await rolled(log, "")
    log.takes.slate_next("Songs")
    await rolled(log, "")
    log.takes.slate_next("")
    await rolled(log, "")
    assert [(take.name, take.slate_take) for take in log.takes.takes.values()] == [
        ("Masterclass 3", 1),
        ("Masterclass 3", 2),
        ("Warm-up", 1),
        ("masterclass  3", 3),  # people write a slate as they like
        ("Masterclass 3", 4),
        ("Songs", 1),
        ("", 0),
    ]
    assert [take.number for take in log.takes.takes.values()] == [1, 2, 3, 4, 5, 6, 7]


@virtual
async def test_a_take_rolled_at_a_front_has_the_slate_that_stands() -> None:
    log = Log(numbering=Numbering.SLATE)
    log.takes.slate_next("Masterclass 3")
    log.rolls("iso-1", by="box")
    await moment()
    assert (log.last.name, log.last.slate_take) == ("Masterclass 3", 1)


@virtual
async def test_takes_are_counted_per_day_and_a_name_set_ahead_is_one_takes_alone() -> None:
    log = Log()
    log.takes.slate_next("Masterclass 3")
    await rolled(log, "", "Warm-up")
    for take in log.takes.takes.values():
        take.opened -= timedelta(days=1)
    await rolled(log, "")
    assert [(take.name, take.slate_take) for take in log.takes.takes.values()] == [
        ("Masterclass 3", 1),
        ("Warm-up", 2),
        ("", 1),
    ]
    assert [take.slate_take for take in log.again().takes.takes.values()] == [1, 2, 1]


@virtual
async def test_a_take_moved_to_another_slate_gets_the_next_number_there_or_the_one_that_is_said() -> None:
    log = Log(numbering=Numbering.SLATE)
    await rolled(log, "Songs", "Songs", "Warm-up")
    slate = log.takes.corrections.slate
    assert slate(3, "ines", "Songs").slate_take == 3
    assert slate(3, "ines", "Songs", 7).slate_take == 7
    assert slate(1, "ines", "Encore").slate_take == 1
    await rolled(log, "Songs")
    assert log.again().last.slate_take == 8
