"""Who may do what: roles, locks and the site's limits, in one function for every door?

Source of all rows: own construction, from the table of roles in the security model and the rule that locks speak of
the points an act touches.
"""

from collections.abc import Collection
from typing import Any

import pytest

from stagectl.control.access import Limit, Lock, Pass, Person, Role, may, touched, words_of
from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import BUS_LEVEL, STRIP_LEVEL, STRIP_MUTED, Recall
from stagectl.model.capabilities.recorder import CODEC, TRANSPORT, Cue, Cut, Format, Play, Roll, Transport
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.conditions import Watch
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Set, Stay, Verb
from tests.model.hand_clock import HandClock

ADA = Person("ada", Role.VIEWER)
INES = Person("ines", Role.OPERATOR)
TOMAS = Person("tomas", Role.ENGINEER)
ROUTE = OUTPUT_SOURCE.at(1)


def ask(verb: Verb, target: str = "hall", inlet: str = "test") -> Ask:
    return Ask("id", "somebody", inlet, target, verb)


def stay(point: PointSpec[Any]) -> Verb:
    return Stay(point, None)


def refused(person: Person, one: Ask, locks: tuple[Lock, ...] = (), limits: tuple[Limit, ...] = ()) -> str:
    """The code of the refusal; empty: it may."""
    try:
        may(person, one, locks, limits)
    except RefusedError as no:
        return no.code
    return ""


@pytest.mark.parametrize(
    ("verb", "viewer", "operator", "engineer"),
    [
        (Roll(), "role", "", ""),
        (Cut(1), "role", "", ""),
        (Play(), "role", "", ""),
        (Set(ROUTE, 3), "role", "", ""),
        (Recall("7"), "role", "", ""),
        (Format(1), "role", "role", "role"),  # an engineer by name alone; see the next
    ],
)
def test_what_each_role_may(verb: Verb, viewer: str, operator: str, engineer: str) -> None:
    assert [refused(person, ask(verb)) for person in (ADA, INES, TOMAS)] == [viewer, operator, engineer]


def test_only_an_engineer_who_proved_it_with_a_password_erases() -> None:
    proved, by_machine = Pass(login=True), Pass(frozenset({"format"}), frozenset({"hall"}))
    assert refused(Person("tomas", Role.ENGINEER, proved, fresh=True), ask(Format(1))) == ""
    assert refused(Person("tomas", Role.ENGINEER, proved), ask(Format(1))) == "fresh"
    assert refused(Person("ines", Role.OPERATOR, proved), ask(Format(1))) == "role"
    assert refused(Person("pedal", Role.ENGINEER, by_machine), ask(Format(1))) == "role"


def test_a_scene_never_erases_though_an_engineer_runs_it() -> None:
    assert refused(Person("tomas", Role.ENGINEER, Pass(login=True)), ask(Format(1), inlet="scene:tidy")) == "role"
    assert refused(TOMAS, ask(Roll(), inlet="scene:roll-all")) == ""


@pytest.mark.parametrize(
    ("may_lift", "operator", "engineer"),
    [(None, "locked", "locked"), (Role.ENGINEER, "locked", ""), (Role.OPERATOR, "", "")],
)
def test_who_may_pass_a_lock(may_lift: Role | None, operator: str, engineer: str) -> None:
    lock = Lock(frozenset({("hall", ROUTE.name)}), "Rec 1 is the safety copy", may_lift=may_lift)
    assert [refused(person, ask(Set(ROUTE, 3)), (lock,)) for person in (INES, TOMAS)] == [operator, engineer]


def test_a_lock_says_what_why_by_whom_and_who_may_lift_it() -> None:
    lock = Lock(frozenset({("hall", ROUTE.name)}), "Rec 1 is the safety copy", may_lift=Role.ENGINEER)
    with pytest.raises(RefusedError) as no:
        may(INES, ask(Set(ROUTE, 3)), (lock,))
    assert str(no.value) == (
        "hall output 1 source is protected by the site file: Rec 1 is the safety copy; engineer may lift it."
    )
    lock.may_lift = None
    with pytest.raises(RefusedError, match="nobody may lift it"):
        may(TOMAS, ask(Set(ROUTE, 3)), (lock,))


@pytest.mark.parametrize(
    ("verb", "target", "code"),
    [
        (Set(STRIP_MUTED.at(5), True), "mixer", "locked"),
        (Set(STRIP_MUTED.at(6), True), "mixer", ""),
        (Set(STRIP_MUTED.at(5), True), "second", ""),
        (Recall("7"), "mixer", "locked"),  # it may touch anything in its box...
        (Recall("7"), "second", ""),  # ...but not in another
    ],
)
def test_a_lock_is_met_by_the_points_an_act_touches(verb: Verb, target: str, code: str) -> None:
    lock = Lock(frozenset({("mixer", "strip.5.muted")}), "she speaks")
    assert refused(TOMAS, ask(verb, target), (lock,)) == code


def test_a_lock_on_a_transport_is_met_by_every_act_on_it() -> None:
    lock = Lock(frozenset({("iso-1", "transport")}), "it is lent out")
    assert [refused(INES, ask(verb, "iso-1"), (lock,)) for verb in (Roll(), Cut(1), Play(), Cue(clip=1))] == [
        "locked"
    ] * 4


def test_a_lock_with_a_condition_guards_while_it_is_yes_or_not_known() -> None:
    board = Board(HandClock())
    writer = board.writer("iso-1")
    writer.declare(TRANSPORT)
    watch: Watch = board.watch(TRANSPORT.is_(Transport.RECORDING), lambda truth: None, device="iso-1")
    lock = Lock(frozenset({("hall", ROUTE.name)}), "a take runs", watch=watch)
    told = [refused(TOMAS, ask(Set(ROUTE, 3)), (lock,))]
    for value in (Transport.STOPPED, Transport.RECORDING):
        writer.asked_at = writer.read_at = board.clock.now()
        writer.put(TRANSPORT.name, value)
        told.append(refused(TOMAS, ask(Set(ROUTE, 3)), (lock,)))
    writer.lost()
    told.append(refused(TOMAS, ask(Set(ROUTE, 3)), (lock,)))
    assert told == ["locked", "", "locked", "locked"]


@pytest.mark.parametrize(("value", "code"), [(-12.0, ""), (0.0, ""), (0.5, "limit"), (10.0, "limit"), ("off", "")])
def test_the_sites_limit_holds_for_everybody(value: float, code: str) -> None:
    limit = Limit("mixer", BUS_LEVEL.at(3).at_most(0.0))
    for person in (INES, TOMAS):
        assert refused(person, ask(Set(BUS_LEVEL.at(3), value), "mixer"), limits=(limit,)) == code
    assert refused(INES, ask(Set(BUS_LEVEL.at(4), 10.0), "mixer"), limits=(limit,)) == ""
    assert refused(INES, ask(Set(BUS_LEVEL.at(3), 10.0), "second"), limits=(limit,)) == ""


def test_a_lower_limit_refuses_off() -> None:
    limit = Limit("mixer", STRIP_LEVEL.at(1).at_least(-40.0))
    assert refused(INES, ask(Set(STRIP_LEVEL.at(1), "off"), "mixer"), limits=(limit,)) == "limit"


def test_what_an_act_touches() -> None:
    assert list(touched(ask(Roll(), "iso-1"))) == [("iso-1", "transport")]
    assert list(touched(ask(Recall("7"), "mixer"))) == [("mixer", "*")]
    assert list(touched(ask(Cue(clip=1), "iso-1"))) == [("iso-1", one) for one in ("transport", "timecode", "clip.at")]


@pytest.mark.parametrize(
    ("verb", "target", "words"),
    [
        (Roll(), "iso-1", ("roll",)),
        (Set(ROUTE, 3), "hall", ("route", "set")),
        (Set(STRIP_LEVEL.at(1), -6.0), "mixer", ("level", "set")),
        (Set(STRIP_MUTED.at(1), True), "mixer", ("mute", "set")),
        (Set(CODEC, "dnx"), "iso-1", ("set",)),
        (Set(CODEC, "dnx"), "takes", ("slate", "set")),
        (stay(STRIP_LEVEL.at(1)), "mixer", ("level", "stay")),
        (stay(CODEC), "iso-1", ("stay",)),
    ],
)
def test_which_words_grant_an_ask(verb: Verb, target: str, words: tuple[str, ...]) -> None:
    assert words_of(ask(verb, target)) == words


class Holder:
    """A desk somebody else holds: it lets nobody pass, and notes what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, tuple[str, ...], int | None]] = []

    def admit(self, person: Person, words: Collection[str], take: int | None = None) -> None:
        self.asked.append((person.name, tuple(words), take))
        raise RefusedError("mara holds the desk.", code="held")

    def sure(self, person: Person, ask: Ask) -> None:
        """It ends nobody's take."""


@pytest.mark.parametrize(
    ("verb", "words", "take"),
    [(Set(ROUTE, 3), ("route", "set"), None), (Cut(4), ("cut",), 4), (Roll(), ("roll",), None)],
)
def test_a_desk_that_is_held_is_asked_with_the_words_and_the_take_that_would_end(
    verb: Verb, words: tuple[str, ...], take: int | None
) -> None:
    desk = Holder()
    with pytest.raises(RefusedError, match="mara holds the desk"):
        may(INES, ask(verb), (), (), desk)
    assert desk.asked == [("ines", words, take)]
    may(INES, ask(verb, inlet="scene:evening"), (), (), desk)  # let through when it was started
    assert len(desk.asked) == 1
