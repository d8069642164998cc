"""Which boxes were lost together, and until when is that one cause?

Source: own construction; the limits are those of `stagectl/shoot/alarmcauses.py`. Boxes are pretended, time is passed
in.
"""

import pytest

from stagectl.shoot.alarmcauses import TOGETHER_S
from stagectl.shoot.alarmrules import OFF_S
from tests.shoot.test_alarms import Hall

NET = "net-10.0.5.x.unreached"


def lost(*names: str, apart_s: float = 0.2) -> Hall:
    hall = Hall()
    for name in names:
        hall.lose(name)
        hall.go(apart_s)
    hall.go(1)
    return hall


def under(hall: Hall) -> tuple[str, ...]:
    return hall.alarms.find(NET).under_it


def test_a_cause_names_its_network_and_its_boxes() -> None:
    hall = lost("iso-1", "iso-2", "iso-4")
    (cause,) = hall.alarms.wrong()
    assert hall.alarms.where(cause) == ("10.0.5.x", ["iso-1", "iso-2", "iso-4"])
    assert hall.alarms.where(hall.alarms.find("iso-3.no-input")) == ("", [])


def test_a_cause_stands_until_the_last_box_behind_it_is_back() -> None:
    hall = lost("iso-1", "iso-2", "iso-4")
    for name in ("iso-1", "iso-4"):
        hall.well(name)
        hall.go(OFF_S + 1)
        assert hall.wrong() == [NET]
    assert under(hall) == ("iso-2.unreached",)
    hall.well("iso-2")
    hall.go(2 * OFF_S + 1)
    assert hall.wrong() == []
    assert ("off", NET) in hall.news()


def test_after_a_cause_is_over_two_boxes_are_two_again() -> None:
    hall = lost("iso-1", "iso-2", "iso-4")
    for name in ("iso-1", "iso-2", "iso-4"):
        hall.well(name)
    hall.go(2 * OFF_S + 1)
    hall.lose("iso-1")
    hall.lose("iso-2")
    hall.go(1)
    assert hall.wrong() == ["iso-1.unreached", "iso-2.unreached"]


@pytest.mark.parametrize(("apart_s", "joins"), [(TOGETHER_S - 2, True), (TOGETHER_S + 2, False)])
def test_what_is_lost_soon_after_is_of_that_cause_and_later_stands_for_itself(apart_s: float, joins: bool) -> None:
    hall = lost("iso-1", "iso-2", "iso-4")
    hall.go(apart_s - 1.2)
    hall.lose("iso-3")
    hall.go(1)
    assert hall.wrong() == ([NET] if joins else [NET, "iso-3.unreached"])
    assert ("iso-3.unreached" in under(hall)) is joins


@pytest.mark.parametrize(("apart_s", "one"), [(TOGETHER_S - 1, True), (TOGETHER_S + 1, False)])
def test_links_of_one_switch_are_missed_one_after_the_other(apart_s: float, one: bool) -> None:
    hall = lost("iso-1", "iso-2", "iso-4", apart_s=apart_s)
    assert hall.wrong() == ([NET] if one else ["iso-1.unreached", "iso-2.unreached", "iso-4.unreached"])
