"""Who holds the desk, how does it pass on, and what needs no desk? Source: the desk's rules, own construction."""

import random
from typing import Any

import pytest

from stagectl.control.access import Pass, Person, Role
from stagectl.control.desk import ANSWER_S, Desk
from stagectl.model.errors import RefusedError
from tests.control.disk import ManualClock

INES, OTTO = Person("ines", Role.OPERATOR), Person("otto", Role.OPERATOR)
MARA = Person("mara", Role.VIEWER)
PEDAL = Person("pedal", Role.OPERATOR, Pass(frozenset({"set"}), frozenset({"hall"})))


class Booth:
    def __init__(self) -> None:
        self.clock = ManualClock()
        self.records: list[tuple[str, dict[str, Any]]] = []
        self.desk = Desk(self.clock, self, random.Random(1))
        self.desk.owner = lambda number: {1: "otto"}.get(number, "ines")

    def write(self, kind: str, who: str, **data: Any) -> int:
        assert kind == "desk"
        self.records.append((who, data))
        return len(self.records)


@pytest.fixture
def booth() -> Booth:
    return Booth()


def held(booth: Booth, person: Person, word: str, take: int | None = None) -> bool:
    try:
        booth.desk.admit(person, (word,), take)
    except RefusedError as refused:
        return (refused.code, str(refused)) == ("held", "ines holds the desk.")
    return False


def test_nobody_holds_it_as_installed_and_nothing_is_guarded(booth: Booth) -> None:
    assert not any(held(booth, OTTO, word) for word in ("set", "cut", "scene", "cue"))


def test_with_a_holder_others_read_roll_mark_and_end_their_own_take(booth: Booth) -> None:
    booth.desk.take(INES)
    assert not any(held(booth, OTTO, word) for word in ("roll", "mark", "good", "note", "slate", "call"))
    assert not held(booth, OTTO, "cut", take=1)
    assert held(booth, OTTO, "cut", take=2)
    assert all(held(booth, OTTO, word) for word in ("set", "scene", "cue", "route", "retry"))
    assert held(booth, PEDAL, "set")
    assert not any(held(booth, INES, word) for word in ("set", "scene", "cue"))


def test_it_is_taken_over_by_name_after_half_a_minute_without_an_answer(booth: Booth) -> None:
    booth.desk.take(INES)
    with pytest.raises(RefusedError, match="ines holds the desk"):
        booth.desk.take(OTTO)
    booth.desk.ask(OTTO)
    booth.clock.advance(ANSWER_S - 1)
    booth.desk.ask(OTTO)  # asking again begins nothing anew
    with pytest.raises(RefusedError, match="more to answer"):
        booth.desk.take(OTTO)
    booth.clock.advance(1.1)
    booth.desk.take(OTTO)
    assert booth.desk.holder == "otto"
    assert booth.records[-1] == ("otto", {"what": "taken", "holder": "otto", "before": "ines"})


def test_not_now_ends_the_asking(booth: Booth) -> None:
    booth.desk.take(INES)
    booth.desk.ask(OTTO)
    booth.desk.keep(INES)
    booth.clock.advance(ANSWER_S + 1)
    with pytest.raises(RefusedError):
        booth.desk.take(OTTO)
    assert booth.desk.holder == "ines"


def test_it_is_given_to_somebody_or_to_nobody_by_its_holder_alone(booth: Booth) -> None:
    booth.desk.take(INES)
    with pytest.raises(RefusedError, match="ines holds the desk, not otto"):
        booth.desk.give(OTTO, "otto")
    booth.desk.give(INES, "otto")
    assert booth.desk.holder == "otto"
    booth.desk.give(OTTO, "")
    assert booth.desk.say() == "Nobody holds the desk."
    assert not held(booth, INES, "set")


def test_a_viewer_or_a_machine_does_not_hold_it(booth: Booth) -> None:
    for person in (MARA, PEDAL):
        with pytest.raises(RefusedError) as refused:
            booth.desk.take(person)
        assert refused.value.code == "role"


def test_who_held_it_when_the_daemon_ended_holds_it_still(booth: Booth) -> None:
    booth.desk.take(INES)
    booth.desk.ask(OTTO)
    again = Booth()
    again.desk.restore(data for _, data in booth.records)
    assert again.desk.holder == "ines"


def test_it_says_who_asks_and_how_long_there_is_to_answer(booth: Booth) -> None:
    booth.desk.take(INES)
    booth.desk.ask(OTTO)
    assert booth.desk.say().startswith("ines holds the desk; otto asks for it and may take it in ")
    booth.clock.advance(ANSWER_S + 1)
    assert booth.desk.say().endswith("and may take it.")
