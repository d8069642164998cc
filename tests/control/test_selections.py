"""What is asked twice, and what makes the second asking count?

Source: the select-before-operate rule (object reserved for one client, ten seconds, refused if the picture changed),
after IEC 61850-7-2's control model as public summaries tell it; the numbers are own choice.
"""

import random
from contextlib import suppress
from typing import Any

import pytest

from stagectl.control.access import Pass, Person, Role, may
from stagectl.control.desk import Desk
from stagectl.control.selections import KEPT, LIFE_S, Picture
from stagectl.model.capabilities.recorder import Cut, Roll
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ask
from tests.control.disk import ManualClock

INES, OTTO = (Person(name, Role.OPERATOR, Pass(login=True), source="192.0.2.9 http") for name in ("ines", "otto"))
ISOS = frozenset({"iso-1", "iso-2", "iso-3", "iso-4"})
FIRST = frozenset((iso, 1) for iso in ISOS)  # each rolls for the first time in this take


class House:
    """A desk in front of take 7, which ines rolled."""

    def __init__(self) -> None:
        self.clock = ManualClock()
        self.records: list[tuple[str, str, dict[str, Any]]] = []
        self.desk = Desk(self.clock, self, random.Random(5))
        self.picture: Picture | None = Picture(7, "ines", FIRST)
        self.desk.selections.picture = lambda number: self.picture if number == 7 else None
        self.desk.selections.called = str.upper

    def write(self, kind: str, who: str, **data: Any) -> int:
        self.records.append((kind, who, data))
        return len(self.records)

    def asks(self, word: str = "", *, inlet: str = "http", who: str = "otto", take: int = 7) -> list[Ask]:
        return [Ask("a1", who, inlet, iso, Cut(take), take, confirm=word) for iso in sorted(ISOS)]

    def passes(self, person: Person, asks: list[Ask]) -> bool:
        """Through the one function that every door passes."""
        with suppress(RefusedError):
            for ask in asks:
                may(person, ask, (), (), self.desk)
            return True
        return False

    def shown(self, person: Person = OTTO, word: str = "") -> RefusedError:
        return self.desk.selections.select(person, self.asks(word))


@pytest.fixture
def house() -> House:
    return House()


def test_ones_own_take_ends_at_once(house: House) -> None:
    assert house.passes(INES, house.asks())


def test_in_a_house_without_accounts_the_number_is_the_guard(house: House) -> None:
    assert house.passes(Person("desk", Role.OPERATOR), house.asks())


def test_what_ends_nothing_is_asked_once(house: House) -> None:
    assert house.passes(OTTO, [Ask("a1", "otto", "http", "iso-1", Roll("x"), 7)])


def test_anothers_take_is_shown_first_and_ends_with_the_word(house: House) -> None:
    assert not house.passes(OTTO, house.asks())
    shown = house.shown()
    assert str(shown) == "ines rolled take 7. This ends it on ISO-1, ISO-2, ISO-3 and 1 more."
    assert shown.remedy == f"If you mean it, ask again within 10 s with the word {shown.word}."
    assert house.passes(OTTO, house.asks(shown.word))
    told = {"source": "192.0.2.9 http", "take": 7, "devices": sorted(ISOS), "rolling": sorted(ISOS)}
    assert house.records == [("access", "otto", {"what": "selected", **told})]


def test_a_take_that_nobody_here_rolled_is_asked_twice_too(house: House) -> None:
    house.picture = Picture(7, "box", FIRST)
    assert not house.passes(INES, house.asks())


def test_the_word_is_worth_nothing_in_anothers_mouth(house: House) -> None:
    word = house.shown().word
    assert not house.passes(Person("mara", Role.OPERATOR, Pass(login=True)), house.asks(word))


def test_a_word_lives_ten_seconds_and_is_prolonged_while_the_question_stands(house: House) -> None:
    word = house.shown().word
    house.clock.at += LIFE_S - 1
    assert house.passes(OTTO, house.asks(word))
    assert house.shown().word == word, "the same picture is the same question"
    house.clock.at += LIFE_S - 1
    assert house.passes(OTTO, house.asks(word))
    house.clock.at += 1.5
    assert not house.passes(OTTO, house.asks(word))
    assert house.shown().word != word
    assert len(house.records) == 2, "a question that stands is one line"


@pytest.mark.parametrize(
    "now",
    [
        pytest.param(Picture(7, "ines", FIRST - {("iso-3", 1)}), id="one fewer"),
        pytest.param(Picture(7, "ines", FIRST | {("iso-5", 1)}), id="one more"),
        pytest.param(Picture(7, "ines", FIRST - {("iso-3", 1)} | {("iso-3", 2)}), id="one stopped and rolled again"),
    ],
)
def test_another_picture_asks_anew_and_says_so(house: House, now: Picture) -> None:
    word = house.shown().word
    house.picture = now
    assert not house.passes(OTTO, house.asks(word))
    again = house.shown(word=word)
    assert str(again).startswith("The picture is another one now. ines rolled take 7.")
    assert house.passes(OTTO, house.asks(again.word))


def test_the_word_of_one_recorder_ends_no_other(house: House) -> None:
    word = house.desk.selections.select(OTTO, house.asks()[:1]).word
    assert house.passes(OTTO, house.asks(word)[:1])
    assert not house.passes(OTTO, house.asks(word))


def test_a_scene_is_shown_nothing_and_ends_nothing_of_others(house: House) -> None:
    word = house.shown().word
    asks = house.asks(word, inlet="scene:wrap")
    with pytest.raises(RefusedError, match=r"A scene does not end take 7: ines rolled it\.") as caught:
        may(OTTO, asks[0], (), (), house.desk)
    assert (caught.value.word, caught.value.remedy) == ("", "End it by hand: stagectl cut 7")
    assert house.passes(INES, house.asks(inlet="scene:wrap", who="ines")), "its own take it may end"


def test_questions_are_bounded(house: House) -> None:
    words = [house.shown(Person(f"p{count}", Role.OPERATOR, Pass())).word for count in range(KEPT + 20)]
    assert len(set(words)) > KEPT
    assert len(house.desk.selections._kept) <= KEPT
