"""Is what is read of alarms true at once, and is whoever follows told of each turn?

Source: own construction; the limits are those of our own reliability goals (D03, invariant 17). Boxes are pretended,
time is passed in.
"""

from collections.abc import Callable
from datetime import timedelta

import pytest

from stagectl.control.groups import Command, Group
from stagectl.model.capabilities.recorder import INPUT_PRESENT, REMOTE, TRANSPORT, Roll, Transport
from stagectl.model.verbs import Ask, Ended, Verdict
from stagectl.shoot.alarmrules import OFF_S
from stagectl.shoot.alarms import Alarms
from stagectl.shoot.house import Wish
from tests.shoot.test_alarms import INES, Hall


@pytest.mark.parametrize(
    "read",
    [
        pytest.param(lambda alarms: [alarm.id for alarm in alarms.wrong()], id="wrong"),
        pytest.param(lambda alarms: ["iso-2.remote-off"] * alarms.rates().standing, id="rates"),
        pytest.param(lambda alarms: [one.id for one in alarms.everything() if not one.under], id="everything"),
        pytest.param(lambda alarms: ["iso-2.remote-off"] * alarms.find("iso-2.remote-off").told, id="find"),
    ],
)
def test_what_just_turned_is_in_whatever_is_read(read: Callable[[Alarms], list[str]]) -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    assert read(hall.alarms) == ["iso-2.remote-off"]


def test_what_was_just_rolled_again_is_back_at_once() -> None:
    hall = Hall()
    hall.roll("iso-1", "iso-2")
    hall.put("iso-2", TRANSPORT, Transport.STOPPED)
    hall.go(1)
    assert hall.wrong() == ["iso-2.stopped"]
    hall.put("iso-2", TRANSPORT, Transport.RECORDING)
    assert [alarm.id for alarm in hall.alarms.back()] == ["iso-2.stopped"]


def test_what_lay_under_a_cause_stands_for_itself_as_soon_as_that_heals() -> None:
    hall = Hall()
    hall.lose("hall")
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    assert hall.wrong() == ["hall.unreached"]
    hall.news()
    hall.well("hall")
    hall.go(OFF_S / 4)
    assert hall.news() == [("on", "iso-1.no-input")], "it does not wait until its cause is surely over"
    assert hall.wrong() == ["iso-1.no-input"]


def test_who_follows_hears_that_an_alarm_came_under_a_cause() -> None:
    hall = Hall()
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    feed = hall.alarms.feed(lambda: None)
    hall.lose("hall")
    hall.go(1)
    assert set(feed.take()) == {"hall.unreached", "iso-1.no-input"}


def rolled(hall: Hall, recorder: str, verdict: Verdict, take: int) -> None:
    """The press of a roll for this take came to this."""
    ask = Ask("id", "ines", "test", recorder, Roll("x"), take)
    group = Group(
        "id", "ines", "test", "roll", "roll", "", hall.clock.now(), [Command(ask, verdict=verdict)], take=take
    )
    for tell in hall.house.commands.judge.on_end:
        tell(group)
    hall.go(1)


@pytest.mark.parametrize(
    ("verdict", "take", "wrong"),
    [
        (Verdict(Ended.FAILED, "no medium", code="device"), 1, ["iso-2.not-rolled"]),
        (Verdict(Ended.UNCONFIRMED, "not known if it happened", code="not-known"), 1, ["iso-2.not-rolled"]),
        (Verdict(Ended.SENT), 1, []),  # it went out and can't be seen: nothing is known to be wrong
        (Verdict(Ended.FAILED, "no medium", code="device"), 7, []),  # of another take
        (Verdict(Ended.FAILED, "mara may only watch", code="role"), 1, []),  # of who asked, not of the recorder
    ],
)
def test_a_recorder_that_was_to_roll_and_does_not_is_told_by_the_verdict_of_this_take(
    verdict: Verdict, take: int, wrong: list[str]
) -> None:
    hall = Hall()
    hall.house.takes.expect(hall.house.expand(Wish(INES, "test", "takes", "roll", {"on": "iso-1, iso-2"})), "")
    hall.put("iso-1", TRANSPORT, Transport.RECORDING)
    hall.go(0.2)
    rolled(hall, "iso-2", verdict, take)
    assert hall.wrong() == wrong
    if wrong:
        assert hall.alarms.wrong()[0].grade == "now"
        hall.put("iso-2", TRANSPORT, Transport.RECORDING)
        hall.go(1)
        assert hall.wrong() == []


@pytest.mark.parametrize(("left_s", "stays"), [(0.5, True), (-0.5, False), (8 * 3600 - 1, True), (8 * 3600 + 1, False)])
def test_only_what_has_time_left_is_still_put_aside_after_a_restart(left_s: float, stays: bool) -> None:
    hall = Hall()
    until = (hall.clock.wall() + timedelta(seconds=left_s)).isoformat()
    hall.alarms.restore([{"what": "aside", "alarm": "iso-1.no-input", "until": until, "by": "ines", "reason": "bench"}])
    assert (hall.alarms.find("iso-1.no-input").aside is not None) is stays
