"""Does the take log tell no untruth of a recorder that was out of sight?

Source of rows: own construction, from the rules of the take log (takes come from points, never from verdicts).
"""

from stagectl.model.capabilities.recorder import Roll, Spill
from stagectl.shoot.takes import RUNNING, CutTake
from tests.driverkit.memory import virtual
from tests.shoot.takelog import Log, ask, moment


@virtual
async def test_a_lost_deck_stays_in_its_take_and_is_the_same_recording_when_it_returns() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    await moment(10)
    assert log.last.rolling == ["iso-1", "iso-2"]
    log.rolls("iso-2", label="10:00:11:00")
    await moment()
    assert log.told(1, "iso-2") == [("", "", False)]
    log.stops("iso-1", "iso-2")
    await moment()
    assert (list(log.takes.takes), log.takes.open) == ([1], None)


@virtual
async def test_a_deck_that_returns_stopped_ended_its_lane() -> None:
    log = Log()
    log.rolls("iso-1")
    log.loses("iso-1")
    await moment(5)
    assert log.runs()
    log.stops("iso-1", by="box")
    await moment()
    assert log.last.closed is not None


@virtual
async def test_a_cut_that_ended_closes_the_take_over_decks_that_cannot_be_seen() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    log.stops("iso-1")
    await moment()
    assert log.runs()  # nobody has cut yet: iso-2 may roll on
    log.takes.close_unseen(1, log.takes.recorders)
    await moment()
    assert not log.runs()
    assert log.last.unseen == ("iso-2",)
    assert log.told(1, "iso-2") == [("", "lost from view", True)]
    assert log.again().last.unseen == ("iso-2",)


@virtual
async def test_a_cut_that_ended_leaves_open_what_is_seen_to_roll_on() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.loses("iso-2")
    log.takes.close_unseen(1, log.takes.recorders)
    log.takes.close_unseen(7, log.takes.recorders)
    assert log.takes.open is log.last


@virtual
async def test_a_deck_that_returns_still_rolling_opens_its_take_again() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.lists("iso-2", "B001", "10:00:00:00")
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1, log.takes.recorders)
    await moment(20)
    log.by = "box"
    log.rolls("iso-2", label="10:00:21:00", by="box")
    await moment()
    assert list(log.takes.takes) == [1]
    assert log.takes.open is log.last
    assert (log.last.closed, log.last.unseen) == (None, ())
    assert log.told(1, "iso-2") == [("B001", "seen again", False)]
    assert [one.target for one in log.takes.expand(ask(CutTake(1)))] == ["iso-2"]
    again = log.again()
    assert again.takes.open is again.last
    log.stops("iso-2")
    await moment()
    assert not log.runs()
    assert (log.point(RUNNING), log.takes.next_number) == (False, 2)


@virtual
async def test_a_cut_of_one_deck_out_of_sight_ends_nothing_of_the_others() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    again = log.again()  # a new start: no deck was seen yet
    again.takes.close_unseen(1, ["iso-2"])
    assert again.last.rolling == ["iso-1", "iso-2"]
    again.rolls("iso-1", "iso-2")
    await moment()
    assert list(again.takes.takes) == [1]


@virtual
async def test_decks_that_roll_on_after_a_start_and_a_cut_in_vain_open_their_take_again() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    again = log.again()
    again.takes.close_unseen(1, again.takes.recorders)
    assert not again.runs()
    again.rolls("iso-1", "iso-2")
    await moment()
    assert list(again.takes.takes) == [1]
    assert again.takes.open is again.last


@virtual
async def test_a_deck_that_returns_still_rolling_joins_the_take_that_runs_now() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1, log.takes.recorders)
    await moment()
    log.rolls("iso-1")
    assert log.last.number == 2
    log.rolls("iso-2")
    await moment()
    assert log.told(2, "iso-2") == [("", "still rolls from take 1", False)]
    assert [one.target for one in log.takes.expand(ask(CutTake(2)))] == ["iso-1", "iso-2"]


@virtual
async def test_a_deck_that_returns_stopped_after_its_take_changes_nothing_but_what_its_list_tells() -> None:
    log = Log()
    log.rolls("iso-1", "iso-2")
    await moment()
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1, log.takes.recorders)
    await moment(20)
    log.stops("iso-2")
    log.lists("iso-2", "B001", "10:00:00:00", "00:00:09:00")
    await moment()
    assert not log.runs()
    assert log.told(1, "iso-2") == [("B001", "lost from view", True)]
    log.rolls("iso-2")
    assert log.last.number == 2


@virtual
async def test_of_a_deck_that_was_out_of_sight_all_along_it_is_not_known_if_it_rolled() -> None:
    log = Log()
    log.rests()
    log.rolls("iso-1", "iso-2")
    log.loses("iso-2")
    log.stops("iso-1")
    log.takes.close_unseen(1, log.takes.recorders)
    await moment()
    log.presses("iso-1", "iso-2", "iso-3")  # of which iso-3 is seen not to roll
    log.rolls("iso-1")
    await moment()
    log.stops("iso-1")
    await moment()
    assert (log.last.number, log.last.wanted) == (2, ("iso-1", "iso-2", "iso-3"))
    assert log.last.unseen == ("iso-2",)
    assert log.again().last.unseen == ("iso-2",)


@virtual
async def test_a_deck_that_went_out_of_sight_for_a_moment_may_have_rolled_meanwhile() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1", "iso-2")
    log.rolls("iso-1")
    await moment()
    log.loses("iso-2")
    await moment()
    log.rests("iso-2")
    log.stops("iso-1")
    await moment()
    assert log.last.unseen == ("iso-2",)


@virtual
async def test_after_a_restart_the_log_tells_which_deck_rolled_when_last_seen() -> None:
    log = Log()
    log.rests()
    log.presses()
    log.rolls("iso-1", "iso-2", "iso-3")
    log.loses("iso-2")
    log.stops("iso-3")
    await moment()
    assert not log.takes.rolled_last(ask(Roll(), "iso-2"))  # what this process saw says it
    before, log = log.records, log.again()
    rolls = {name: log.takes.rolled_last(ask(Roll(), name)) for name in log.takes.recorders}
    assert rolls == {"iso-1": True, "iso-2": True, "iso-3": False}
    assert not log.takes.rolled_last(ask(Spill(), "iso-1"))
    log.stops("iso-1")
    log.takes.close_unseen(1, log.takes.recorders)
    await moment()
    log = log.again([*before, *log.records])
    rolls = {name: log.takes.rolled_last(ask(Roll(), name)) for name in log.takes.recorders}
    assert rolls == {"iso-1": False, "iso-2": True, "iso-3": False}


@virtual
async def test_what_happened_while_no_daemon_lived_is_not_known() -> None:
    log = Log()
    log.rests()
    log.presses("iso-1", "iso-2")
    log.rolls("iso-1")
    await moment()
    log = log.again()
    log.rolls("iso-1")
    log.rests("iso-2")
    log.stops("iso-1")
    await moment()
    assert (log.last.closed is None, log.last.unseen) == (False, ("iso-2",))
