"""Is every recording in a take, whoever rolled it, and does a cut end the one it names?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts).
"""

import pytest

from stagectl.model.capabilities.recorder import (
    TRANSPORT,
    Cut,
    Play,
    Roll,
    Transport,
)
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Set
from stagectl.shoot.takes import (
    NAME,
    NEXT,
    NEXT_NAME,
    NUMBER,
    ROLLING,
    RUNNING,
    WANTED,
    WISH_S,
    CutTake,
    RollAll,
)
from tests.driverkit.memory import virtual
from tests.shoot.takelog import Log, ask, moment

# -- rolling -----------------------------------------------------------------------------------------------------------


@virtual
async def test_a_take_opens_when_a_recorder_rolls_and_not_when_somebody_presses() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    await moment()
    assert not log.runs()
    assert (log.point(RUNNING), log.point(NEXT)) == (False, 1)
    log.rolls("iso-1", "iso-2", "iso-3")
    await moment()
    take = log.last
    assert (take.number, take.name, take.by, take.wanted) == (1, "Masterclass", "ines", ("iso-1", "iso-2", "iso-3"))
    assert take.rolling == ["iso-1", "iso-2", "iso-3"]
    assert [log.point(spec) for spec in (RUNNING, NUMBER, NAME, ROLLING, WANTED, NEXT)] == [
        *(True, 1, "Masterclass", 3, 3, 2)
    ]


@virtual
async def test_a_deck_rolled_at_its_front_opens_a_take_by_the_box() -> None:
    log = Log()
    log.rests()
    log.rolls("iso-2", by="box")
    await moment()
    assert (log.last.by, log.last.name, log.last.wanted) == ("box", "", ())
    assert log.told(1, "iso-2") == [("", "rolled at its front", False)]


@virtual
async def test_a_deck_that_rolls_of_itself_opens_a_take_by_nobody_known() -> None:
    log = Log()
    log.rolls("iso-2", by="")
    assert log.last.by == "not known"


@virtual
async def test_a_late_deck_joins_the_take_that_runs() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    log.rolls("iso-1")
    await moment(7)
    log.rolls("iso-2")
    log.rolls("iso-3", by="box")
    await moment()
    assert list(log.takes.takes) == [1]
    assert log.told(1, "iso-2") == [("", "", False)]
    assert log.told(1, "iso-3") == [("", "rolled at its front", False)]


@virtual
async def test_a_press_for_more_decks_while_a_take_runs_wants_them_too() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1")
    log.rolls("iso-1")
    log.presses("iso-1", "iso-2")
    await moment()
    assert log.last.wanted == ("iso-1", "iso-2")
    assert log.again().last.wanted == ("iso-1", "iso-2")


@virtual
async def test_a_press_that_nobody_followed_names_no_later_take() -> None:
    log = Log()
    log.rests()
    log.presses(name="Masterclass")
    await moment(WISH_S + 1)
    log.rolls("iso-1", by="box")
    assert (log.last.name, log.last.by) == ("", "box")


@virtual
async def test_a_front_that_was_quicker_than_the_press_does_not_take_its_name_away() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1", "iso-2", name="Masterclass")
    log.rolls("iso-3", by="box")  # a hand at a recorder that nobody asked to roll
    log.rolls("iso-1", "iso-2")
    await moment()
    assert list(log.takes.takes) == [1]
    assert (log.last.name, log.last.by, log.last.wanted) == ("Masterclass", "ines", ("iso-1", "iso-2"))
    assert log.point(NAME) == "Masterclass"
    assert log.again().last.name == "Masterclass"


@virtual
async def test_the_clips_are_asked_to_carry_take_name_and_recorder() -> None:
    log = Log()
    asks = log.takes.expand(ask(RollAll("Masterclass", "iso-1, iso-3")))
    assert [(one.target, one.verb, one.take) for one in asks] == [
        ("iso-1", Roll("T001_Masterclass_iso-1"), 1),
        ("iso-3", Roll("T001_Masterclass_iso-3"), 1),
    ]
    assert [one.verb for one in log.takes.expand(ask(RollAll(on="iso-1")))] == [Roll("T001_iso-1")]


@virtual
async def test_the_slate_names_the_next_take_once() -> None:
    log = Log()
    log.takes.act(Set(NEXT_NAME, "Encore"))
    assert log.point(NEXT_NAME) == "Encore"
    assert log.takes.upcoming("") == (1, "Encore")
    assert log.takes.upcoming("Other") == (1, "Other")
    log.presses()
    log.rolls("iso-1")
    await moment()
    assert (log.last.name, log.point(NEXT_NAME)) == ("Encore", "")


# -- stopping ----------------------------------------------------------------------------------------------------------


@virtual
async def test_the_take_ends_with_its_last_recorder() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.stops("iso-1", by="box")
    await moment()
    assert log.told(1, "iso-1") == [("", "stopped at its front", True)]
    assert log.last.rolling == ["iso-2"]
    assert log.takes.open is log.last
    log.stops("iso-2")
    await moment()
    assert log.told(1, "iso-2") == [("", "", True)]
    assert log.last.closed is not None
    assert (log.point(RUNNING), log.point(ROLLING), log.point(NUMBER), log.point(NEXT)) == (False, 0, 1, 2)


@virtual
async def test_a_deck_rolled_again_within_a_take_has_two_lanes() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.stops("iso-1", by="box")
    log.rolls("iso-1", by="box")
    await moment()
    assert [ended for _, _, ended in log.told(1, "iso-1")] == [True, False]
    assert log.last.rolling == ["iso-1", "iso-2"]


@virtual
async def test_playing_is_not_rolling() -> None:
    log = Log()
    log.says("iso-1", TRANSPORT, Transport.PLAYING)
    assert not log.runs()
    log.rolls("iso-1")
    log.says("iso-1", TRANSPORT, Transport.PLAYING)
    assert log.last.closed is not None


# -- cutting -----------------------------------------------------------------------------------------------------------


@virtual
async def test_a_cut_names_the_take_that_runs() -> None:
    log = Log()
    with pytest.raises(RefusedError, match="Take 3 is not running: nothing rolls") as refused:
        log.takes.expand(ask(CutTake(3)))
    assert refused.value.code == "take"
    log.rolls("iso-1")
    with pytest.raises(RefusedError, match="Take 3 is not running: take 1 is") as refused:
        log.takes.guard(ask(Cut(3), "iso-1"))
    assert refused.value.remedy == "To end it: stagectl cut 1"
    with pytest.raises(RefusedError, match="Rec 2 does not roll in take 1"):
        log.takes.guard(ask(Cut(1), "iso-2"))
    good = ask(Cut(1), "iso-1")
    assert log.takes.guard(good) is good
    assert log.takes.guard(ask(Play(), "iso-2")).verb == Play()


@virtual
async def test_a_cut_of_a_take_is_for_those_that_roll_in_it() -> None:
    log = Log()
    log.rolls("iso-1", "iso-3")
    asks = log.takes.expand(ask(CutTake(1)))
    assert [(one.target, one.verb, one.take) for one in asks] == [("iso-1", Cut(1), 1), ("iso-3", Cut(1), 1)]
    assert [one.target for one in log.takes.expand(ask(CutTake(1, "iso-3")))] == ["iso-3"]
    with pytest.raises(RefusedError, match="hall is no recorder"):
        log.takes.expand(ask(CutTake(1, "hall")))


@virtual
async def test_a_take_takes_no_other_verb() -> None:
    with pytest.raises(RefusedError, match="takes can't play"):
        Log().takes.expand(ask(Play()))
