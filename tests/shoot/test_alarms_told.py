"""How bad is an alarm, when is it news again, and what is written, counted and listed of it?

Source: own construction; what is counted is counted as ISA-18.2 does (from memory). Boxes are pretended, time is
passed in.
"""

from datetime import timedelta
from typing import Any

import pytest

from stagectl.model.capabilities.recorder import (
    INPUT_PRESENT,
    REMOTE,
    SLOT_ACTIVE,
    SLOT_LEFT,
    SLOT_STATE,
    TRANSPORT,
    SlotState,
    Transport,
)
from stagectl.model.errors import RefusedError
from stagectl.shoot.alarmrules import OFF_S
from stagectl.shoot.alarms import REASON
from tests.shoot.test_alarms import INES, Hall


def grades(hall: Hall) -> dict[str, str]:
    return {alarm.id: alarm.grade for alarm in hall.alarms.wrong()}


def lines(hall: Hall, what: str) -> list[dict[str, Any]]:
    """What the journal has of this turn of alarms."""
    journal: Any = hall.house.chronicle._journal
    return [data for kind, _, data in journal.records if kind == "alarm" and data["what"] == what]


# -- how bad


def test_a_box_that_is_lost_is_worse_while_it_belongs_to_the_take() -> None:
    hall = Hall()
    hall.lose("iso-1")
    hall.go(1)
    assert grades(hall) == {"iso-1.unreached": "soon"}
    hall.well("iso-1")
    hall.go(OFF_S + 1)
    hall.roll("iso-1", "iso-2")
    hall.lose("iso-1")
    hall.lose("iso-3")
    hall.go(1)
    assert grades(hall) == {"iso-1.unreached": "now", "iso-3.unreached": "soon"}, "the third has no part in the take"


def test_a_cause_is_as_bad_as_the_worst_that_lies_under_it() -> None:
    hall = Hall()
    hall.roll("iso-1", "iso-2")
    for name in ("iso-1", "iso-3", "iso-4"):
        hall.lose(name)
    hall.go(1)
    assert grades(hall) == {"net-10.0.5.x.unreached": "now"}
    hall.put("iso-1", TRANSPORT, Transport.STOPPED)
    hall.well("iso-1")
    hall.go(OFF_S + 1)
    assert grades(hall)["net-10.0.5.x.unreached"] == "soon", "what is left under it belongs to no take"


def test_a_missing_input_is_soon_again_when_nothing_rolls_any_more() -> None:
    hall = Hall()
    hall.roll("iso-1")
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    assert grades(hall) == {"iso-1.no-input": "now"}
    feed = hall.alarms.feed(lambda: None)
    hall.put("iso-1", TRANSPORT, Transport.STOPPED)
    hall.go(2)
    assert grades(hall)["iso-1.no-input"] == "soon"
    assert "iso-1.no-input" in feed.take()


def test_a_medium_that_filled_and_was_changed_is_news_at_each_step_again() -> None:
    hall = Hall()
    hall.put("iso-1", SLOT_ACTIVE, 1)
    told = []
    hall.put("iso-1", SLOT_LEFT.at(1), 9000)
    hall.roll("iso-1")
    for left in (500, 9000, 500):
        hall.put("iso-1", SLOT_LEFT.at(1), left)
        hall.go(OFF_S + 1)
        told.append((left, [one for one in hall.news() if one[1] == "iso-1.filling"]))
    assert told == [
        (500, [("on", "iso-1.filling")]),
        (9000, [("off", "iso-1.filling")]),
        (500, [("on", "iso-1.filling")]),
    ]
    (alarm,) = hall.alarms.wrong()
    hall.alarms.know(alarm, INES, "test")
    hall.put("iso-1", SLOT_LEFT.at(1), 150)
    hall.go(1)
    assert (alarm.state, alarm.grade) == ("on", "now"), "the next step is news to who knew the one before"


@pytest.mark.parametrize(
    ("part", "grade", "shown"),
    [
        ("journal", "now", True),
        ("mqtt-booth", "soon", True),
        ("disk-soon", "soon", True),
        ("disk-later", "later", False),
    ],
)
def test_a_trouble_of_the_daemon_is_as_bad_as_its_name_says(part: str, grade: str, shown: bool) -> None:
    hall = Hall()
    hall.house.trouble[part] = "It is so."
    hall.go(1)
    assert [(alarm.id, alarm.grade) for alarm in hall.alarms.everything()] == [(f"stagectl.{part}", grade)]
    assert bool(hall.wrong()) is shown, "what can wait is for lists"


def test_who_follows_is_told_when_a_trouble_has_other_words() -> None:
    hall = Hall()
    hall.house.trouble["journal"] = "Its disk is slow."
    hall.go(1)
    feed = hall.alarms.feed(lambda: None)
    hall.house.trouble["journal"] = "Its disk is full."
    assert feed.take() == ["stagectl.journal"]
    hall.house.trouble["journal"] = "Its disk is full."
    assert feed.take() == []


def test_a_box_that_is_left_alone_is_told_and_is_over_at_once_when_it_is_taken_back() -> None:
    hall = Hall()
    hall.house.devices.quarantined["iso-2"] = "its driver failed three times"
    hall.lose("iso-2")
    hall.go(1)
    assert hall.wrong() == ["iso-2.left-alone"], "what it keeps from being reached lies under it"
    hall.well("iso-2")
    hall.house.devices.quarantined.pop("iso-2", None)
    hall.go(0.5)
    assert ("off", "iso-2.left-alone") in hall.news()


# -- what is listed, counted, written


def test_all_are_listed_worst_first_then_those_that_stand_then_as_they_came() -> None:
    hall = Hall()
    hall.put("iso-3", INPUT_PRESENT, False)
    hall.go(1)
    hall.put("iso-3", INPUT_PRESENT, True)
    hall.go(OFF_S + 1)
    hall.put("iso-2", INPUT_PRESENT, False)
    hall.go(1)
    hall.put("iso-1", SLOT_STATE.at(2), SlotState.ERROR)
    hall.go(1)
    hall.house.trouble["journal"] = "Its disk is full."
    hall.house.trouble["disk-later"] = "Its disk will be full."
    hall.go(1)
    assert [alarm.id for alarm in hall.alarms.everything()] == [
        "stagectl.journal",
        "iso-2.no-input",
        "iso-1.medium-in-error",
        "iso-3.no-input",
        "stagectl.disk-later",
    ]
    assert hall.wrong() == ["stagectl.journal", "iso-1.medium-in-error", "iso-2.no-input"], "in the site's order"


def test_a_line_of_an_alarm_says_grade_take_cause_who_and_how_long() -> None:
    hall = Hall()
    hall.roll("iso-1", "iso-2")
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1.26)
    (alarm,) = hall.alarms.wrong()
    hall.alarms.know(alarm, INES, "http")
    hall.put("iso-1", INPUT_PRESENT, True)
    hall.go(OFF_S + 1)
    (on,), (known,), (off,) = lines(hall, "on"), lines(hall, "known"), lines(hall, "off")
    assert (on["alarm"], on["device"], on["grade"], on["take"]) == ("iso-1.no-input", "iso-1", "now", 1)
    assert (on["say"], "by" in on, "under" in on) == ("Rec 1 has no input picture.", False, False)
    assert (known["by"], known["inlet"]) == ("ines", "http")
    assert off["seconds"] == pytest.approx(1.26 + OFF_S, abs=0.26)
    assert off["seconds"] == round(off["seconds"], 1)
    assert hall.alarms.back() == [], "somebody knew of it"


def test_what_is_told_while_it_is_put_aside_is_not_counted_as_met() -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    (alarm,) = hall.alarms.wrong()
    hall.alarms.put_aside(alarm, INES, "test", hall.clock.wall() + timedelta(seconds=0.5), "x" * REASON)
    hall.go(1)
    rates = hall.alarms.rates()
    assert (rates.total, rates.aside, rates.standing) == (2, 0, 1), "its time is over: news again"
    hall.alarms.put_aside(alarm, INES, "test", hall.clock.wall() + timedelta(hours=8), "on the bench")
    hall.put("iso-2", REMOTE, True)
    hall.go(OFF_S + 1)
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    rates = hall.alarms.rates()
    assert (rates.total, rates.aside, rates.standing) == (2, 1, 0)


def test_nothing_that_is_off_is_put_aside_or_known() -> None:
    hall = Hall()
    alarm = hall.alarms.find("iso-2.remote-off")
    with pytest.raises(RefusedError, match="Nothing is wrong there"):
        hall.alarms.put_aside(alarm, INES, "test", hall.clock.wall() + timedelta(hours=1), "bench")
    with pytest.raises(RefusedError, match="Nothing is wrong there"):
        hall.alarms.know(alarm, INES, "test")
    assert lines(hall, "aside") == lines(hall, "known") == []


def test_who_follows_is_told_that_what_stands_is_not_known_any_more_and_that_it_came_again() -> None:
    hall = Hall()
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    feed = hall.alarms.feed(lambda: None)
    box: Any = hall.house.boxes["iso-1"]
    box.writer.unknown(INPUT_PRESENT.name, "?")
    hall.go(0.5)
    assert feed.take() == ["iso-1.no-input"]
    assert hall.alarms.find("iso-1.no-input").kept
    hall.put("iso-1", INPUT_PRESENT, True)
    hall.go(0.5)
    assert feed.take() == ["iso-1.no-input"], "it is going"
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(0.5)
    assert feed.take() == ["iso-1.no-input"], "it is here again"
    assert hall.alarms.rates().total == 1
