"""Is each cause one alarm, told in time, folded under its cause, and over when it heals?

Source: own construction; the states are those of ISA-18.2, the limits those of our own reliability goals (D03, D10,
O09, invariant 17). Boxes are pretended, time is passed in.
"""

import dataclasses
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.model.capabilities.base import HEALTH, HEALTH_WHY, Health
from stagectl.model.capabilities.recorder import (
    INPUT_PRESENT,
    RECORDER,
    REMOTE,
    SLOT_ACTIVE,
    SLOT_LEFT,
    SLOT_STATE,
    TIMECODE,
    TRANSPORT,
    SlotState,
    Transport,
)
from stagectl.model.capabilities.router import ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.sentences import parse_for
from stagectl.shoot.alarmcauses import net_of
from stagectl.shoot.alarmrules import FREE_S, OFF_S
from stagectl.shoot.alarms import START_S
from stagectl.shoot.clock.part import STATE, ClockState
from stagectl.shoot.house import House
from stagectl.site import AlarmEntry, DeviceEntry
from tests.model.hand_clock import HandClock
from tests.shoot.hall import house as hall_of
from tests.shoot.hall import site

INES = Person("ines", Role.OPERATOR)


class Hall:
    """A house on a hand clock whose boxes do what a test says."""

    def __init__(self, recorders: int = 5, alarms: Callable[[House], tuple[AlarmEntry, ...]] | None = None) -> None:
        self.clock = HandClock()
        kinds = {**{f"iso-{number}": RECORDER for number in range(1, recorders + 1)}, "hall": ROUTER}
        own = site()
        devices = {
            name: DeviceEntry(
                name,
                "pretend",
                f"10.0.5.{10 + place}",
                1,
                f"Rec {name[4:]}" if "iso" in name else "Hall router",
                {},
                {},
                1,
            )
            for place, name in enumerate(kinds)
        }
        own = dataclasses.replace(own, devices=devices)
        if alarms is not None:
            own = dataclasses.replace(own, alarms=alarms(hall_of(HandClock(), own, kinds)))
        self.house = hall_of(self.clock, own, kinds)
        self.alarms = self.house.alarms
        self.tell_all()
        self.go(START_S + 1)

    def tell_all(self) -> None:
        for name in self.house.boxes:
            self.well(name)

    def well(self, name: str) -> None:
        self.put(name, HEALTH, Health.WELL)
        self.put(name, HEALTH_WHY, "")

    def lose(self, name: str) -> None:
        """Its link is gone: what was known of it grows old."""
        box: Any = self.house.boxes[name]
        box.writer.lost()
        self.put(name, HEALTH_WHY, "it closed the link")
        self.put(name, HEALTH, Health.FAILED)

    def put(self, name: str, spec: Any, value: Any) -> None:
        box: Any = self.house.boxes[name]
        box.has(spec, value)

    def roll(self, *names: str) -> None:
        self.house.takes.expect(self.house.expand(_wish(names)), "")
        for name in names:
            self.put(name, TRANSPORT, Transport.RECORDING)
        self.go(0.2)

    def go(self, seconds: float) -> None:
        self.clock.go(seconds)

    def news(self) -> list[tuple[str, str]]:
        """What was told since the last look: (what, alarm), without what lies under a cause."""
        journal: Any = self.house.chronicle._journal
        found = [
            (data["what"], data["alarm"])
            for kind, _, data in journal.records
            if kind == "alarm" and "under" not in data
        ]
        journal.records.clear()
        return found

    def wrong(self) -> list[str]:
        return [alarm.id for alarm in self.alarms.wrong()]


def _wish(names: tuple[str, ...]) -> Any:
    from stagectl.shoot.house import Wish

    return Wish(INES, "test", "takes", "roll", {"on": ", ".join(names)})


def test_a_well_house_has_no_alarm() -> None:
    hall = Hall()
    assert hall.wrong() == []
    assert hall.news() == []
    assert hall.alarms.rates().total == 0


def test_the_start_is_no_alarm_though_no_box_is_met_yet() -> None:
    hall = Hall.__new__(Hall)
    hall.clock = HandClock()
    hall.house = hall_of(hall.clock)
    hall.alarms = hall.house.alarms
    hall.lose("iso-1")
    hall.go(START_S - 0.5)
    hall.well("iso-1")
    hall.lose("iso-2")
    hall.go(1.0)
    assert hall.news() == [("on", "iso-2.unreached")], "what is still not met is news"


@pytest.mark.parametrize(
    ("spec", "bad", "good", "alarm"),
    [
        (INPUT_PRESENT, False, True, "no-input"),
        (REMOTE, False, True, "remote-off"),
        (SLOT_STATE.at(1), SlotState.EMPTY, SlotState.READY, "cannot-roll"),
        (SLOT_STATE.at(2), SlotState.ERROR, SlotState.EMPTY, "medium-in-error"),
        (TRANSPORT, Transport.PLAYING, Transport.STOPPED, "cannot-roll"),
    ],
)
def test_each_cause_is_one_alarm_and_returns_when_it_heals(spec: Any, bad: Any, good: Any, alarm: str) -> None:
    hall = Hall()
    hall.put("iso-2", spec, bad)
    hall.go(1)
    assert hall.news() == [("on", f"iso-2.{alarm}")]
    hall.put("iso-2", spec, good)
    assert hall.wrong() == [], "what is not so any more is not told as wrong"
    hall.go(OFF_S + 1)
    assert hall.news() == [("off", f"iso-2.{alarm}")]


def test_a_contact_that_flutters_is_one_alarm() -> None:
    hall = Hall()
    for _ in range(20):
        hall.put("iso-2", INPUT_PRESENT, False)
        hall.go(0.5)
        hall.put("iso-2", INPUT_PRESENT, True)
        hall.go(0.5)
    assert hall.news() == [("on", "iso-2.no-input")]
    hall.go(OFF_S + 1)
    assert hall.news() == [("off", "iso-2.no-input")]
    assert hall.alarms.rates().total == 1


def test_a_timecode_that_stands_while_it_rolls_is_told_and_is_the_take_in_danger() -> None:
    hall = Hall()
    hall.roll("iso-1", "iso-2")
    for _ in range(60):
        for name in ("iso-1", "iso-2"):
            hall.put(name, TIMECODE, "") if name == "iso-2" else _stand(hall, name)
        hall.go(0.1)
    (alarm,) = hall.alarms.wrong()
    assert (alarm.id, alarm.grade) == ("iso-1.timecode-stands", "now")


def _stand(hall: Hall, name: str) -> None:
    """It tells the same label again."""
    box: Any = hall.house.boxes[name]
    now = hall.clock.now()
    box.writer.asked_at, box.writer.read_at = now, now
    box.writer.put(TIMECODE.name, "10:00:00:00")


def test_a_recorder_that_is_stopped_at_its_front_while_its_take_runs_is_told_within_a_second() -> None:
    hall = Hall()
    hall.roll("iso-1", "iso-2")
    hall.put("iso-2", TRANSPORT, Transport.STOPPED)
    hall.go(1)
    (alarm,) = hall.alarms.wrong()
    assert (alarm.id, alarm.grade, alarm.take) == ("iso-2.stopped", "now", 1)
    assert hall.house.teller.row(alarm).say.startswith("Rec 2 stopped at ")
    hall.roll("iso-2")
    assert hall.wrong() == []


def test_the_only_recorder_stopped_at_its_front_is_told_though_its_take_is_over() -> None:
    hall = Hall()
    hall.roll("iso-1")
    hall.put("iso-1", TRANSPORT, Transport.STOPPED)
    hall.go(1)
    assert hall.house.takes.open is None
    assert hall.news() == [("on", "iso-1.stopped"), ("off", "iso-1.stopped")]
    (back,) = hall.alarms.back()
    assert hall.house.teller.row(back).say.startswith("Over after 0 s: Rec 1 stopped at ")


def test_a_medium_that_fills_is_told_at_thirty_at_ten_and_at_three_minutes() -> None:
    hall = Hall()
    hall.put("iso-1", SLOT_ACTIVE, 1)
    hall.put("iso-1", SLOT_LEFT.at(1), 2000)
    hall.roll("iso-1")
    told = []
    for left in (1790, 1000, 590, 400, 170, 100):
        hall.put("iso-1", SLOT_LEFT.at(1), left)
        hall.go(1)
        if hall.news():
            told.append((left, hall.alarms.wrong()[0].grade))
            hall.alarms.know(hall.alarms.wrong()[0], INES, "test")
            hall.news()
    assert told == [(1790, "soon"), (590, "soon"), (170, "now")]


def test_a_missing_input_gets_worse_when_the_recorder_rolls() -> None:
    hall = Hall()
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    hall.alarms.know(hall.alarms.wrong()[0], INES, "test")
    assert hall.alarms.wrong()[0].state == "known"
    hall.roll("iso-1")
    (alarm,) = hall.alarms.wrong()
    assert (alarm.grade, alarm.state) == ("now", "on"), "what was known as soon is news as now"


def test_an_alarm_whose_device_is_lost_is_kept_under_its_cause() -> None:
    hall = Hall()
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    hall.lose("iso-1")
    hall.go(OFF_S + 1)
    assert hall.wrong() == ["iso-1.unreached"]
    kept = hall.alarms.find("iso-1.no-input")
    assert (kept.kept, kept.under) == (True, "iso-1.unreached")
    hall.put("iso-1", INPUT_PRESENT, True)
    hall.well("iso-1")
    hall.go(OFF_S + 1)
    assert hall.wrong() == []


def test_one_switch_that_is_lost_is_at_most_three_alarms_for_24_devices() -> None:
    hall = Hall(23)
    names = list(hall.house.boxes)
    for name in names:
        hall.lose(name)
        hall.go(0.2)  # links are missed one after the other
    told = hall.news()
    assert len(told) <= 3
    assert hall.wrong() == ["net-10.0.5.x.unreached"], "the cause stands, the rest is folded under it"
    (cause,) = hall.alarms.wrong()
    assert len(cause.under_it) == 24
    row = hall.house.teller.row(cause)
    assert row.say.startswith("24 boxes at 10.0.5.x not reached since ")
    assert row.say.endswith(": Rec 1, Rec 2, Rec 3 and 21 more.")
    hall.alarms.know(cause, INES, "test")
    assert hall.alarms.rates().ten_minutes <= 3
    hall.news()
    for name in names:
        hall.well(name)
        hall.go(0.2)
    hall.go(2 * OFF_S)
    assert hall.wrong() == []
    assert hall.alarms.everything() == [], "all is over, and was known"
    assert not any(what == "on" for what, _ in hall.news())


def test_two_boxes_lost_an_hour_apart_are_two_causes() -> None:
    hall = Hall()
    for name in ("iso-1", "iso-2", "iso-3"):
        hall.lose(name)
        hall.go(3600)
    assert hall.wrong() == ["iso-1.unreached", "iso-2.unreached", "iso-3.unreached"]


def test_two_boxes_lost_together_are_still_two_alarms_and_the_third_makes_it_one() -> None:
    hall = Hall()
    hall.lose("iso-1")
    hall.lose("iso-2")
    hall.go(1)
    assert hall.wrong() == ["iso-1.unreached", "iso-2.unreached"]
    hall.lose("iso-4")
    hall.go(1)
    assert hall.wrong() == ["net-10.0.5.x.unreached"]


def test_boxes_that_answer_as_others_are_no_lost_network() -> None:
    hall = Hall()
    for name in ("iso-1", "iso-2", "iso-3"):
        hall.put(name, HEALTH_WHY, "it answers as another box: model")
        hall.put(name, HEALTH, Health.FAILED)
    hall.go(1)
    assert hall.wrong() == ["iso-1.unreached", "iso-2.unreached", "iso-3.unreached"]
    assert hall.house.teller.row(hall.alarms.wrong()[0]).say.startswith(
        "Rec 1 is not driven: it answers as another box"
    )


def test_an_alarm_is_found_by_its_number_and_a_wrong_one_is_said() -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    (alarm,) = hall.alarms.wrong()
    assert hall.alarms.find(str(alarm.number)) is alarm
    for word in ("0", "99", "iso-2.remote", ""):
        with pytest.raises(RefusedError, match="There is no alarm"):
            hall.alarms.find(word)


def test_who_follows_alarms_hears_each_change_once() -> None:
    hall = Hall()
    woken: list[int] = []
    feed = hall.alarms.feed(lambda: woken.append(1))
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    assert feed.take() == ["iso-2.remote-off", "iso-2.cannot-roll"]
    assert feed.take() == []
    hall.alarms.drop_feed(feed)
    hall.alarms.drop_feed(feed)
    hall.put("iso-2", REMOTE, True)
    hall.go(10)
    assert feed.take() == []
    assert woken


def test_an_alarm_put_aside_again_has_the_newer_end() -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    (alarm,) = hall.alarms.wrong()
    for hours in (1, 3):
        hall.alarms.put_aside(alarm, INES, "test", hall.clock.wall() + timedelta(hours=hours), "on the bench")
    hall.go(2 * 3600)
    assert hall.wrong() == []
    hall.go(3600)
    assert hall.wrong() == ["iso-2.remote-off"]


def test_what_is_no_time_in_an_old_record_is_passed_over() -> None:
    hall = Hall()
    hall.alarms.restore([{"what": "aside", "alarm": "iso-1.no-input", "until": "soon"}, {"what": "aside"}, {}])
    assert hall.alarms.everything() == []


def test_recorders_behind_a_lost_router_are_folded_under_it() -> None:
    hall = Hall()
    hall.lose("hall")
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.put("iso-2", INPUT_PRESENT, False)
    hall.go(1)
    assert hall.wrong() == ["hall.unreached"]
    assert hall.alarms.wrong()[0].under_it == ("iso-1.no-input", "iso-2.no-input")


def test_what_healed_unseen_stays_until_somebody_knows() -> None:
    hall = Hall()
    hall.put("iso-2", INPUT_PRESENT, False)
    hall.go(42)
    hall.put("iso-2", INPUT_PRESENT, True)
    hall.go(OFF_S + 1)
    (back,) = hall.alarms.back()
    assert hall.house.teller.row(back).say == "Over after 45 s: Rec 2 has no input picture."
    hall.alarms.know(back, INES, "test")
    assert hall.alarms.everything() == []
    with pytest.raises(RefusedError, match="is off"):
        hall.alarms.know(back, INES, "test")


def test_what_is_put_aside_comes_back_at_its_time_with_a_name_and_a_reason() -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    (alarm,) = hall.alarms.wrong()
    hall.alarms.put_aside(alarm, INES, "test", hall.clock.wall() + timedelta(hours=2), "it is on the bench")
    assert hall.wrong() == []
    assert alarm.plain()["is"] == "aside"
    assert alarm.plain()["aside"]["reason"] == "it is on the bench"
    hall.news()
    hall.go(2 * 3600 - 10)
    assert hall.wrong() == []
    hall.go(20)
    assert hall.wrong() == ["iso-2.remote-off"]
    assert hall.news() == [("again", "iso-2.remote-off"), ("on", "iso-2.remote-off")]


@pytest.mark.parametrize(
    ("hours", "reason", "says"),
    [(9, "x", "8 h at most"), (-1, "x", "8 h at most"), (1, "  ", "The reason is missing"), (1, "x" * 300, "longer")],
)
def test_nothing_is_put_aside_for_ever_or_without_a_reason(hours: float, reason: str, says: str) -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    with pytest.raises(RefusedError, match=says):
        hall.alarms.put_aside(hall.alarms.wrong()[0], INES, "test", hall.clock.wall() + timedelta(hours=hours), reason)


def test_what_was_put_aside_still_is_after_a_restart() -> None:
    hall = Hall()
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    hall.alarms.put_aside(hall.alarms.wrong()[0], INES, "test", hall.clock.wall() + timedelta(hours=1), "on the bench")
    journal: Any = hall.house.chronicle._journal
    records = [json.loads(json.dumps(data)) for kind, _, data in journal.records if kind == "alarm"]
    again = Hall()
    again.alarms.restore(records)
    again.put("iso-2", REMOTE, False)
    again.go(10)
    assert again.wrong() == []
    assert again.alarms.find("iso-2.remote-off").aside.by == "ines"  # type: ignore[union-attr]
    again.go(3600)
    assert again.wrong() == ["iso-2.remote-off"]


def test_the_daemons_own_trouble_is_an_alarm_too() -> None:
    hall = Hall()
    hall.house.trouble["journal"] = "The journal can't be written. Free its disk."
    hall.go(1)
    assert hall.news() == [("on", "stagectl.journal")]
    hall.house.trouble.pop("journal", None)
    hall.go(OFF_S + 1)
    assert hall.news() == [("off", "stagectl.journal")]


def test_rates_are_counted_as_an_operator_meets_them() -> None:
    hall = Hall(12)
    for number in range(1, 13):
        hall.put(f"iso-{number}", REMOTE, False)
        hall.go(1)
    rates = hall.alarms.rates()
    assert (rates.ten_minutes, rates.flood, rates.worst, rates.standing) == (12, True, 12, 12)
    hall.go(86_400)
    rates = hall.alarms.rates()
    assert (rates.ten_minutes, rates.flood, rates.worst, rates.stale) == (0, False, 12, 12)


def test_an_alarm_that_comes_three_times_in_a_minute_chatters() -> None:
    hall = Hall()
    for _ in range(3):
        hall.put("iso-2", REMOTE, False)
        hall.go(1)
        hall.put("iso-2", REMOTE, True)
        hall.go(OFF_S + 2)
    assert hall.alarms.rates().chattering == ["iso-2.remote-off"]


def test_the_sites_own_alarm_speaks_in_its_own_words() -> None:
    def own(house: House) -> tuple[AlarmEntry, ...]:
        words = house.site.vocabulary({"pretend": _Kind()}, {})
        when = parse_for("input format is not 1080p25 for 5 s", "iso-1", words)
        return (
            AlarmEntry("iso-1", "site-format", when, "soon", "{called} has another format.", "Look at {called}.", 9),
        )

    hall = Hall(alarms=own)
    from stagectl.model.capabilities.recorder import INPUT_FORMAT

    hall.put("iso-1", INPUT_FORMAT, "720p50")
    hall.go(4)
    assert hall.wrong() == [], "it has not lasted yet"
    hall.go(2)
    (alarm,) = hall.alarms.wrong()
    row = hall.house.teller.row(alarm)
    assert (alarm.id, row.say, row.remedy) == ("iso-1.site-format", "Rec 1 has another format.", "Look at Rec 1.")


def test_a_site_alarm_that_says_what_every_house_says_is_folded_under_it() -> None:
    def own(house: House) -> tuple[AlarmEntry, ...]:
        when = parse_for("input present is no", "iso-1", house.site.vocabulary({"pretend": _Kind()}, {}))
        return (AlarmEntry("iso-1", "site-dark", when, "now", "{called} is dark.", "Look.", 9),)

    hall = Hall(alarms=own)
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.go(1)
    assert hall.wrong() == ["iso-1.no-input"]


def test_a_site_alarm_that_looks_at_another_device_stands_for_itself() -> None:
    def own(house: House) -> tuple[AlarmEntry, ...]:
        when = parse_for("iso-2 remote is no", "iso-1", house.site.vocabulary({"pretend": _Kind()}, {}))
        return (AlarmEntry("iso-1", "site-twin", when, "soon", "The twin of {called} is off.", "Look.", 9),)

    hall = Hall(alarms=own)
    hall.put("iso-1", INPUT_PRESENT, False)
    hall.put("iso-2", REMOTE, False)
    hall.go(1)
    assert {"iso-1.no-input", "iso-1.site-twin"} <= set(hall.wrong())


class _Kind:
    capability = RECORDER


@pytest.mark.parametrize(
    ("host", "net"),
    [("10.0.5.11", "10.0.5.x"), ("fd00::1:2", "fd00:0:0:0:x"), ("rec-1.local", "rec-1.local")],
)
def test_boxes_of_one_network_are_known_by_their_addresses(host: str, net: str) -> None:
    assert net_of(host) == net


def test_alarm_ids_can_stand_in_a_topic_and_an_address() -> None:
    import re

    hall = Hall(2)
    assert all(re.fullmatch(r"[A-Za-z0-9._-]{1,64}", name) for name in hall.alarms.ids())


def test_a_recorder_that_runs_on_a_clock_of_its_own_is_told_once_and_over_when_it_is_in_step_again() -> None:
    hall = Hall()
    clock = hall.house.board.writer("clock")
    clock.age_of = lambda spec: float("inf")
    clock.declare(STATE.at("iso-2"))
    for state, passes_s in ((ClockState.FREE, 1.0), (ClockState.IN_STEP, 1.0), (ClockState.FREE, 2.0)):
        clock.compute(STATE.at("iso-2").name, state, asked_at=hall.clock.now())
        hall.clock.go(passes_s)
    assert hall.news() == []  # one answer is no drift
    hall.clock.go(FREE_S)
    assert hall.news() == [("on", "iso-2.free-clock")]
    told = hall.house.teller.row(hall.alarms.wrong()[0])
    assert told.say == "Rec 2 runs on a clock of its own: its timecode drifts away from the others."
    assert told.remedy.startswith("Set its timecode input to the house's, and look at the cable.")
    clock.compute(STATE.at("iso-2").name, ClockState.IN_STEP, asked_at=hall.clock.now())
    hall.clock.go(OFF_S + 1)
    assert hall.news() == [("off", "iso-2.free-clock")]
