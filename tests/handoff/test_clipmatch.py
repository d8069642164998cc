"""Is each clip on a recorder some take's or nobody's, and is nothing called missing that only can't be told?

Source: own construction, from the rules that the module states.
"""

from typing import Any

import pytest

from stagectl.handoff.clipmatch import Listing, Matched, Row, matched, parts_of, told
from tests.handoff.test_ranges import lane, take

MINUTE = "00:01:00:00"


def listing(*rows: Row, **more: Any) -> Listing:
    return Listing("wide", "Rec 1", rows, slot=1, **more)


def held(takes: list[dict[str, Any]], *listings: Listing) -> Matched:
    return matched(parts_of(takes), listings)


def one(start: str = "10:00:00:00", length: str = MINUTE, *, number: int = 1, **more: Any) -> dict[str, Any]:
    return take(lane("wide", start, length, **more), take=number)


def by(result: Matched) -> list[tuple[int, str, str]]:
    return [(match.part.take, match.row.name, match.by) for match in result.found]


@pytest.mark.parametrize(
    ("lane_says", "row", "way"),
    [
        ({"clip": "A"}, Row("A", "10:00:00:00", MINUTE), "name and label"),
        ({"clip": "A"}, Row("A", "10:00:00:00", "00:00:59:00"), "name and label"),  # its length was told while it grew
        ({"clip": "A"}, Row("B", "10:00:00:00", MINUTE), "label and length"),  # renamed at its front
        ({"clip": "A", "start_exact": False}, Row("A", "10:00:03:00", MINUTE), "name"),
        ({"clip": "", "start_exact": False}, Row("A", "10:00:01:24", MINUTE), "label"),  # within two seconds
    ],
    ids=["both", "grown", "renamed", "label reckoned", "name not told"],
)
def test_a_clip_is_found_by_name_and_label_and_by_what_of_them_is_known(
    lane_says: dict[str, Any], row: Row, way: str
) -> None:
    result = held([one(**lane_says)], listing(row))
    assert by(result) == [(1, row.name, way)]
    assert (result.orphans, result.absent) == ((), ())


@pytest.mark.parametrize(
    ("lane_says", "row"),
    [
        ({"clip": "A"}, Row("A", "11:00:00:00", MINUTE)),  # a name that was used twice
        ({"clip": "A"}, Row("B", "10:00:00:00", "00:02:00:00")),
        ({"clip": "A"}, Row("A", "10:00:00:00", MINUTE, slot=2)),
        ({"clip": "", "start_exact": False}, Row("A", "10:00:02:01", MINUTE)),
        ({"clip": "", "start_exact": False}, Row("A", "no label", MINUTE)),
    ],
    ids=["begins elsewhere", "another length", "another slot", "too far", "no label"],
)
def test_what_may_be_another_clip_is_an_orphan_and_the_takes_own_is_missing(
    lane_says: dict[str, Any], row: Row
) -> None:
    result = held([one(**lane_says)], listing(row))
    assert [(orphan[1], result.found) for orphan in result.orphans] == [(row, ())]
    assert [absent.known for absent in result.absent] == [True]


def test_of_two_that_may_be_it_neither_is() -> None:
    rows = [Row("B", "10:00:00:00", MINUTE), Row("C", "10:00:00:00", MINUTE)]
    result = held([one(clip="A")], listing(*rows))
    assert (by(result), len(result.orphans), len(result.absent)) == ([], 2, 1)


def test_each_clip_is_one_takes_alone() -> None:
    takes = [one(number=1, clip="A"), one(number=2, clip="A"), one("11:00:00:00", number=3, clip="C")]
    result = held(takes, listing(Row("A", "10:00:00:00", MINUTE), Row("D", "12:00:00:00", MINUTE)))
    assert by(result) == [(2, "A", "name and label")]
    assert [orphan[1].name for orphan in result.orphans] == ["D"]
    assert [(absent.part.take, absent.known) for absent in result.absent] == [(1, True), (3, True)]


@pytest.mark.parametrize(
    ("more", "lane_says", "why"),
    [
        ({"why": "it is not reached"}, {}, "it is not reached"),
        ({}, {"slot": 2}, "it is on slot 2, and slot 1 is in use"),
        ({}, {"clip": "", "start": ""}, "the log has neither its name nor its first label"),
    ],
)
def test_what_can_not_be_told_is_not_called_missing(more: dict[str, Any], lane_says: dict[str, Any], why: str) -> None:
    result = held([take(lane("wide", "10:00:00:00", MINUTE) | lane_says)], listing(**more))
    assert [(absent.known, absent.why) for absent in result.absent] == [(False, why)]


def test_what_still_rolls_is_not_looked_for() -> None:
    assert parts_of([take(lane("wide", "10:00:00:00", "", ended=None))]) == []


def test_a_reason_says_where_it_was_looked_for() -> None:
    (absent,) = held([one(clip="A")], listing(Row("A", "11:00:00:00", MINUTE))).absent
    assert absent.why == "it is not on the medium in slot 1: a clip of its name there begins elsewhere"
    (absent,) = held([one(clip="A")], Listing("wide", "Rec 1")).absent
    assert absent.why == "it is not on the medium in use"


def test_a_medium_not_in_use_is_listed_without_labels_and_its_clips_are_told_by_name_and_length() -> None:
    """Source: text-deck sheet, `disk list`."""
    rows = (Row("A", "10:00:00:00", MINUTE, 1), Row("B", "", MINUTE, 2), Row("C", "", "00:00:30:00", 2))
    takes = [one(clip="A", slot=1), one("11:00:00:00", number=2, clip="B", slot=2)]
    takes += [one("12:00:00:00", number=3, clip="C", slot=2), one("13:00:00:00", number=4, clip="D", slot=3)]
    result = held(takes, Listing("wide", "Rec 1", rows, slot=1, others=(2,)))
    assert by(result) == [(1, "A", "name and label"), (2, "B", "name and length")]
    assert [(absent.part.take, absent.known) for absent in result.absent] == [(3, True), (4, False)]
    why = "it is not on the medium in slot 2: a clip of its name there has another length"
    assert [absent.why for absent in result.absent] == [why, "it is on slot 3, and slot 1 is in use"]
    assert [row.name for _, row in result.orphans] == ["C"]


def test_it_is_told_with_every_fact() -> None:
    takes = [one(clip="A"), one("11:00:00:00", number=2, clip="B"), one("12:00:00:00", number=3, clip="C", slot=2)]
    listings = [listing(Row("A", "10:00:00:00", MINUTE, 1), Row("D", "13:00:00:00", MINUTE, 1))]
    assert told(matched(parts_of(takes), listings), listings) == {
        "recorders": [{"device": "wide", "called": "Rec 1", "slot": 1, "others": [], "clips": 2, "why": ""}],
        "clips": [
            {"take": 1, "name": "Masterclass 3", "device": "wide", "called": "Wide", "clip": "A",
             "start": "10:00:00:00", "length": MINUTE, "slot": 1, "by": "name and label"},
        ],
        "orphans": [
            {"device": "wide", "called": "Rec 1", "clip": "D", "start": "13:00:00:00", "length": MINUTE, "slot": 1}
        ],
        "missing": [
            {"take": 2, "name": "Masterclass 3", "device": "wide", "called": "Wide", "clip": "B",
             "start": "11:00:00:00", "length": MINUTE, "slot": 1, "why": "it is not on the medium in slot 1"},
        ],
        "unknown": [
            {"take": 3, "name": "Masterclass 3", "device": "wide", "called": "Wide", "clip": "C",
             "start": "12:00:00:00", "length": MINUTE, "slot": 2, "why": "it is on slot 2, and slot 1 is in use"},
        ],
    }  # fmt: skip
