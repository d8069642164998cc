"""Does an ask pass the one path as the state table says, up to its bytes: refused, joined, overtaken, moot, sent?

Source of all rows: own construction, from the state table of the command path (known id, refusals, conflicts, moot,
journal before bytes) and its rules: a command never says a thing twice, locks and conflicts speak of points.
"""

import asyncio
from typing import Any

import pytest

from stagectl.control.access import Limit, Lock
from stagectl.control.commands import GROUPS
from stagectl.control.groups import Group
from stagectl.control.judging import LATER_S
from stagectl.control.kept import Kept
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED, Recall
from stagectl.model.capabilities.recorder import (
    CODEC,
    RECORDER,
    SLOT_ACTIVE,
    TRANSPORT,
    Cut,
    Format,
    Play,
    Roll,
    Spill,
    Stop,
)
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Ended, Set
from tests.control.booth import ADA, INES, TOMAS, Booth, cut, deck, mixer, only, plain_kind, put, roll, router
from tests.driverkit.memory import VirtualLoop, until, virtual

ROUTE = OUTPUT_SOURCE.at(1)
LEVEL = STRIP_LEVEL.at(1)
MUTED = STRIP_MUTED.at(1)


async def decks(*names: str) -> Booth:
    return await Booth(**{name.replace("-", "_"): deck() for name in names or ("iso-1",)}).up()


def ended(group: Group) -> list[tuple[str, str]]:
    return [(str(verdict.ended), verdict.code) for verdict in group.verdicts]


# -- ids -----------------------------------------------------------------------------------------------------------


@virtual
async def test_the_same_id_with_the_same_content_is_the_first_ones_answer() -> None:
    booth = await decks()
    group = booth.press(roll(booth))
    assert booth.commands.known(group.id, group.content) is group
    await group.wait(30)
    assert booth.commands.known(group.id, group.content) is group


@virtual
async def test_an_id_used_for_something_else_is_refused_and_told_for_what() -> None:
    booth = await decks()
    group = booth.group("roll all")
    booth.commands.go(group, booth.commands.arm(INES, [roll(booth)]))
    with pytest.raises(RefusedError, match="was used for something else: roll all") as refused:
        booth.commands.known(group.id, "another wish")
    assert refused.value.code == "id-reused"
    assert booth.commands.known("never-heard", "x") is None


@virtual
async def test_what_ended_long_ago_keeps_its_verdict_and_lets_go_of_the_rest() -> None:
    """24 recorders a take: what is kept of each command is what a repeated id is told."""
    booth = await decks()
    group = booth.press(roll(booth))
    assert await group.wait(30)
    told = (group.worst, group.count, group.told)
    await asyncio.sleep(2 * LATER_S + 1)
    booth.press(roll(booth))
    (command,) = group.commands
    assert (command.prepared, command.watch, command.ramp, command.twins) == (None, None, None, [])
    assert (group.worst, group.count, group.told) == told
    assert booth.commands.known(group.id, group.content) is group
    await booth.rest()


@virtual
async def test_ids_are_kept_up_to_a_bound_and_the_oldest_ended_go_first() -> None:
    booth = await decks()
    open_one = booth.press(roll(booth))
    for number in range(GROUPS + 50):
        past = Group(f"past{number}", "", "", "", "", "", 0.0, ended_at=1.0)
        booth.commands.remember(past)
    assert len(booth.commands.groups) == GROUPS
    assert booth.commands.known(open_one.id, open_one.content) is open_one  # the oldest, but not ended
    assert "past0" not in booth.commands.groups
    assert f"past{GROUPS + 49}" in booth.commands.groups


# -- refused: no byte ----------------------------------------------------------------------------------------------


@virtual
async def test_a_viewer_sends_no_byte() -> None:
    booth = await decks()
    group = booth.press(roll(booth), person=ADA)
    assert ended(group) == [("failed", "role")]
    assert group.ended
    assert booth.acts("iso-1") == []
    assert [data["boxes"] for data in booth.log.of("verdict")] == [{"iso-1": ["failed", "ada may only watch.", 0.0]}]
    booth.at_rest()


@virtual
async def test_needs_that_are_not_met_refuse_the_roll_and_say_which() -> None:
    booth = await decks()
    booth.far["iso-1"].has("remote", False)
    await asyncio.sleep(0.01)
    group = booth.press(roll(booth))
    assert ended(group) == [("failed", "needs")]
    assert only(group).verdict.why == "remote is no."  # type: ignore[union-attr]
    assert booth.acts("iso-1") == []
    booth.at_rest()


@virtual
async def test_needs_that_are_not_known_refuse_a_set_but_not_a_roll() -> None:
    booth = await decks("iso-1", "iso-2")
    for name in ("iso-1", "iso-2"):
        booth.far[name].has("transport", "a-new-word")  # a code of newer firmware: unknown
    await asyncio.sleep(0.01)
    group = await booth.settled(put(booth, "iso-1", CODEC, "dnx"))
    assert ended(group) == [("failed", "needs-unknown")]
    assert booth.acts("iso-1") == []
    rolled = booth.press(roll(booth, "iso-2"))
    assert not rolled.ended
    assert await rolled.wait(30)
    assert rolled.worst is Ended.VERIFIED
    await booth.rest()


@virtual
async def test_a_locked_point_is_refused_with_its_reason() -> None:
    booth = await Booth(hall=router()).up()
    booth.commands.locks.append(Lock(frozenset({("hall", ROUTE.name)}), "Rec 1 is the safety copy"))
    group = await booth.settled(put(booth, "hall", ROUTE, 3), put(booth, "hall", OUTPUT_SOURCE.at(2), 3))
    await group.wait(30)
    assert ended(group) == [("failed", "locked"), ("verified", "")]
    assert "Rec 1 is the safety copy" in group.verdicts[0].why
    assert booth.acts("hall") == ["set output.2.source 3"]
    await booth.rest()


@virtual
async def test_without_a_link_nothing_is_sent_now_or_later() -> None:
    booth = await decks()
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    await booth.drop("iso-1")
    group = booth.press(roll(booth))
    assert ended(group) == [("failed", "no-link")]
    booth.wires["iso-1"].refuse = None
    await until(lambda: booth.boxes["iso-1"].adopted)
    await asyncio.sleep(3)
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_what_the_box_cannot_do_is_refused_alone_and_the_others_go() -> None:
    booth = await Booth(iso_1=plain_kind(RECORDER, cannot="roll"), iso_2=deck()).up()
    group = booth.press(roll(booth, "iso-1"), roll(booth, "iso-2"))
    await group.wait(30)
    assert ended(group) == [("failed", "cannot"), ("verified", "")]
    assert (group.worst, group.count) == (Ended.FAILED, "1 of 2")
    await booth.rest()


@virtual
async def test_a_guard_may_refuse_and_may_fill_in() -> None:
    booth = await decks()

    def guard(ask: Ask) -> Ask:
        if ask.take == 9:
            raise RefusedError("Take 9 is not running.", code="take")
        return Ask(ask.id, ask.who, ask.inlet, ask.target, Roll("filled"), ask.take)

    booth.commands.guards.update({Roll: guard, Cut: guard})
    assert ended(booth.press(booth.ask("iso-1", Cut(9), take=9))) == [("failed", "take")]
    group = booth.press(roll(booth))
    await group.wait(30)
    assert booth.acts("iso-1") == ['do roll {"name": "filled"}']


@virtual
async def test_the_sites_limit_refuses_a_level_above_it() -> None:
    booth = await Booth(mixer=mixer()).up()
    booth.commands.limits.append(Limit("mixer", LEVEL.at_most(0.0)))
    group = await booth.settled(put(booth, "mixer", LEVEL, 3.0), put(booth, "mixer", STRIP_LEVEL.at(2), -12.0))
    await group.wait(30)
    assert ended(group) == [("failed", "limit"), ("verified", "")]
    assert booth.acts("mixer") == ["set strip.2.level -12.0"]


# -- same verb: joined ---------------------------------------------------------------------------------------------


@virtual
async def test_a_second_roll_on_its_way_joins_the_first_and_shares_its_verdict() -> None:
    booth = await decks("iso-1", "iso-2")
    first = booth.press(roll(booth), roll(booth, "iso-2"))
    second = booth.press(roll(booth, name="T001-again", who="tomas"))
    assert not second.ended
    assert await first.wait(30)
    assert await second.wait(1)
    assert only(second).verdict is first.commands[0].verdict
    assert (second.worst, second.count) == (Ended.VERIFIED, "1 of 1")
    assert booth.acts("iso-1") == ['do roll {"name": "T001"}']
    assert sorted(data["id"] for data in booth.log.of("verdict")) == [first.id, second.id]
    await booth.rest()


@virtual
async def test_a_joined_roll_fails_with_the_first() -> None:
    booth = await decks()
    booth.far["iso-1"].deaf = True
    groups = [booth.press(roll(booth)), booth.press(roll(booth)), booth.press(roll(booth))]
    for group in groups:
        assert await group.wait(30)
        assert group.worst is Ended.FAILED
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


@virtual
async def test_the_same_set_joins_and_another_value_overtakes_it() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].limp.add(ROUTE.name)
    older = await booth.settled(put(booth, "hall", ROUTE, 3))
    twin = await booth.settled(put(booth, "hall", ROUTE, 3))
    assert not twin.ended
    booth.far["hall"].limp.clear()
    newer = await booth.settled(put(booth, "hall", ROUTE, 5, who="tomas"))
    assert ended(older) == ended(twin) == [("failed", "overtaken")]
    assert only(older).verdict.why == "overtaken by set output 1 source to 5 of tomas"  # type: ignore[union-attr]
    assert await newer.wait(30)
    assert newer.worst is Ended.VERIFIED
    assert booth.acts("hall") == ["set output.1.source 3", "set output.1.source 5"]
    await booth.rest()


# -- other verbs: overtaken or refused -----------------------------------------------------------------------------


@virtual
async def test_a_roll_overtakes_a_play_on_its_way() -> None:
    booth = await decks()
    booth.far["iso-1"].deaf = True
    play = await booth.settled(booth.ask("iso-1", Play()))
    booth.far["iso-1"].deaf = False
    rolled = booth.press(roll(booth))
    assert ended(play) == [("failed", "overtaken")]
    assert await rolled.wait(30)
    assert rolled.worst is Ended.VERIFIED
    await booth.rest()


@virtual
async def test_a_play_that_waits_in_the_boxs_line_does_not_leave_behind_the_roll_that_overtook_it() -> None:
    booth = await Booth(iso_1=plain_kind(RECORDER, window=1)).up()
    booth.far["iso-1"].hold = True  # the poll's question is never answered: the window is full
    await until(lambda: bool(booth.boxes["iso-1"]._inflight))
    stop = await booth.settled(booth.ask("iso-1", Play()))
    assert booth.acts("iso-1") == []
    rolled = booth.press(roll(booth))
    assert ended(stop) == [("failed", "overtaken")]
    booth.far["iso-1"].release()
    assert await rolled.wait(30)
    await asyncio.sleep(3)
    assert booth.acts("iso-1") == ['do roll {"name": "T001"}']
    assert booth.far["iso-1"].values["transport"] == "recording"
    await booth.rest()


@virtual
async def test_any_other_pair_refuses_the_newer_one() -> None:
    booth = await decks()
    booth.far["iso-1"].deaf = True
    older = booth.press(roll(booth))
    stop = await booth.settled(booth.ask("iso-1", Stop()))
    ending = booth.press(cut(booth))
    assert ended(stop) == ended(ending) == [("failed", "conflict")]
    assert "roll name T001 by ines is still on its way there" in stop.verdicts[0].why
    assert await older.wait(30)
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


@virtual
async def test_who_is_refused_overtakes_nobody() -> None:
    booth = await decks()
    far = booth.far["iso-1"]
    far.has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    far.deaf = True
    rolls = booth.press(cut(booth))
    spec: PointSpec[int] = PointSpec(SLOT_ACTIVE.name, int, settable=True, deadline_s=3)
    slot = await booth.settled(put(booth, "iso-1", spec, 2))
    spill = booth.press(booth.ask("iso-1", Spill()))  # the cut on its way refuses it
    assert ended(spill) == [("failed", "conflict")]
    assert not slot.ended  # ...so it must not have ended the set of the slot
    await rolls.wait(30)
    await slot.wait(30)
    assert ended(slot) == [("failed", "seen-otherwise")]
    await booth.rest()


@virtual
async def test_a_recall_touches_all_of_its_box_and_no_other_box() -> None:
    booth = await Booth(mixer=mixer(), second=mixer()).up()
    booth.far["mixer"].limp.add(MUTED.name)
    older = await booth.settled(put(booth, "mixer", MUTED, True))
    assert ended(await booth.settled(booth.ask("mixer", Recall("7")))) == [("failed", "conflict")]
    other = await booth.settled(put(booth, "second", MUTED, True))
    assert await other.wait(30)
    assert other.worst is Ended.VERIFIED
    await older.wait(30)
    await booth.rest()


# -- moot: a look instead ------------------------------------------------------------------------------------------


@virtual
async def test_a_rolling_deck_is_looked_at_and_gets_no_second_record_command() -> None:
    booth = await decks()
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    group = booth.press(roll(booth))
    assert await group.wait(30)
    verdict = group.verdicts[0]
    assert (verdict.ended, verdict.moot) == (Ended.VERIFIED, True)
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_a_deck_that_rolls_with_standing_timecode_gets_no_second_record_command() -> None:
    booth = await decks()
    booth.far["iso-1"].frozen = True
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    group = booth.press(roll(booth))
    assert await group.wait(30)
    verdict = group.verdicts[0]
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "seen-otherwise")
    assert "timecode" in verdict.why
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_what_seemed_so_but_is_not_goes_out_once_and_is_judged() -> None:
    booth = await Booth(hall=router(), iso_1=deck()).up()
    booth.far["hall"].has(OUTPUT_SOURCE.at(2), 3, tell=False)  # the far end knows better than our board
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    booth.far["iso-1"].has(TRANSPORT, "stopped", tell=False)
    route = await booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(2), 1))
    rolled = booth.press(roll(booth))
    assert booth.acts("hall") == booth.acts("iso-1") == []
    assert await route.wait(30)
    assert await rolled.wait(30)
    assert booth.acts("hall") == ["set output.2.source 1"]
    assert len(booth.acts("iso-1")) == 1
    for group in (route, rolled):
        assert ended(group) == [("verified", "")]
        assert not group.verdicts[0].moot
    await booth.rest()


@virtual
async def test_what_seemed_so_but_is_not_is_refused_if_its_needs_went_meanwhile() -> None:
    booth = await decks()
    far = booth.far["iso-1"]
    far.has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    far.has("remote", False)
    far.has(TRANSPORT, "stopped", tell=False)
    await asyncio.sleep(0.01)
    group = booth.press(roll(booth))
    assert not group.ended
    assert await group.wait(30)
    assert ended(group) == [("failed", "needs")]
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_a_relaunch_that_was_overtaken_in_the_same_turn_sends_nothing() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].has(ROUTE, 3, tell=False)
    older = await booth.settled(put(booth, "hall", ROUTE, 1))
    pressed: list[Group] = []
    reading: Any = booth.board.get("hall", ROUTE)

    class Hand:
        def poke(self, one: Any) -> None:
            if one.value == 3 and not pressed:
                pressed.append(booth.press(put(booth, "hall", ROUTE, 5)))

    reading.watches += (Hand(),)
    await until(lambda: bool(pressed))
    reading.watches = reading.watches[:-1]
    assert ended(older) == [("failed", "overtaken")]
    assert await pressed[0].wait(30)
    assert booth.acts("hall") == ["set output.1.source 5"]


# -- journal and bytes ---------------------------------------------------------------------------------------------


@virtual
async def test_a_roll_is_journalled_before_its_bytes_and_does_not_wait_for_the_disk() -> None:
    booth = await decks("iso-1", "iso-2")
    booth.log.gate = asyncio.Event()
    booth.press(roll(booth), roll(booth, "iso-2"))
    assert booth.order == [
        "journal command",
        'iso-1 do roll {"name": "T001"}',
        'iso-2 do roll {"name": "T001"}',
    ]


@virtual
async def test_a_set_waits_for_the_disk_before_its_bytes() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 3)))
    await asyncio.sleep(0.5)
    assert booth.order == ["journal command"]
    booth.log.gate.set()
    group = await pressed
    assert group.durable is True
    assert booth.order == ["journal command", "synced", "hall set output.1.source 3"]
    assert await group.wait(30)


@virtual
async def test_a_roll_answers_durable_or_not_after_its_bytes() -> None:
    booth = await decks()
    booth.log.safe = False
    group = booth.press(roll(booth))
    assert await booth.commands.durable(group) is False
    assert len(booth.acts("iso-1")) == 0  # in the loop's next turn
    await group.wait(30)
    assert group.worst is Ended.VERIFIED


@virtual
async def test_a_group_of_refusals_waits_for_nothing_and_has_its_verdict_written() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    group = await booth.settled(put(booth, "hall", ROUTE, 3), person=ADA)
    assert (group.ended, group.worst, group.count) == (True, Ended.FAILED, "0 of 1")
    assert [kind for kind, _, _ in booth.log.records if kind in ("command", "verdict")] == ["command", "verdict"]


@virtual
async def test_a_set_that_was_overtaken_while_it_waited_for_the_disk_is_never_sent() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    older = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 3)))
    await asyncio.sleep(0.1)
    newer = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 5)))
    await asyncio.sleep(0.1)
    booth.log.gate.set()
    assert ended(await older) == [("failed", "overtaken")]
    assert await (await newer).wait(30)
    assert booth.acts("hall") == ["set output.1.source 5"]
    await booth.rest()


@virtual
async def test_a_set_whose_needs_went_while_it_waited_for_the_disk_is_refused() -> None:
    booth = await decks()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "iso-1", CODEC, "dnx")))
    await asyncio.sleep(0.1)
    booth.far["iso-1"].has(TRANSPORT, "recording")  # rolled at its front
    await asyncio.sleep(0.1)
    booth.log.gate.set()
    assert ended(await pressed) == [("failed", "needs")]
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_a_set_that_a_lock_met_while_it_waited_for_the_disk_is_refused() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 3)))
    await asyncio.sleep(0.1)
    booth.commands.locks.append(Lock(frozenset({("hall", ROUTE.name)}), "a take runs"))
    booth.log.gate.set()
    assert ended(await pressed) == [("failed", "locked")]
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_what_became_so_while_it_waited_for_the_disk_is_looked_at() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 3)))
    await asyncio.sleep(0.1)
    booth.far["hall"].has(ROUTE, 3)
    await asyncio.sleep(0.1)
    booth.log.gate.set()
    group = await pressed
    assert await group.wait(30)
    assert (group.worst, group.verdicts[0].moot) == (Ended.VERIFIED, True)
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_an_asker_who_goes_away_while_the_disk_is_awaited_leaves_nothing_in_the_way() -> None:
    booth = await decks()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(booth.ask("iso-1", Play())))
    await asyncio.sleep(0.1)
    pressed.cancel()
    await asyncio.gather(pressed, return_exceptions=True)
    booth.log.gate.set()
    assert [group.ended for group in booth.commands.groups.values()] == [True]
    again = await booth.settled(booth.ask("iso-1", Play()))
    assert await again.wait(30)
    assert again.worst is Ended.VERIFIED
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


# -- late links and lines ------------------------------------------------------------------------------------------


@virtual
async def test_a_link_with_unsent_bytes_is_named_late_and_holds_nobody_up() -> None:
    booth = await decks("iso-1", "iso-2")
    booth.wires["iso-1"].peers[-1].transport.waiting = 7  # type: ignore[union-attr]
    group = booth.press(roll(booth), roll(booth, "iso-2"))
    assert ended(group) == [("failed", "late")]
    assert await group.wait(30)
    assert ended(group) == [("failed", "late"), ("verified", "")]
    assert group.verdicts[0].refused
    booth.wires["iso-1"].peers[-1].transport.waiting = 0  # type: ignore[union-attr]
    await asyncio.sleep(5)
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
async def test_a_set_that_never_left_its_line_is_told_so_and_never_leaves() -> None:
    booth = await Booth(hall=router(window=1)).up()
    booth.far["hall"].hold = True
    await until(lambda: bool(booth.boxes["hall"]._inflight))
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    assert await group.wait(30)
    verdict = group.verdicts[0]
    assert (verdict.ended, verdict.code, verdict.refused) == (Ended.FAILED, "late", True)
    booth.far["hall"].release()
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()


def stand_still(seconds: float) -> None:
    """As after a SIGSTOP: what came meanwhile is heard before any timer that is long due."""
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    loop.jump(seconds)


@virtual
@pytest.mark.parametrize("packs", [False, True])
async def test_a_set_whose_time_ended_in_its_line_during_a_standstill_never_leaves(packs: bool) -> None:
    booth = await Booth(hall=router(window=1, packs=packs)).up()
    booth.far["hall"].hold = True
    await until(lambda: bool(booth.boxes["hall"]._inflight))
    group = await booth.settled(*(put(booth, "hall", OUTPUT_SOURCE.at(output), 4) for output in (1, 2)))
    stand_still(30.0)
    booth.far["hall"].release()
    assert await group.wait(30)
    assert ended(group) == [("failed", "late")] * 2
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_a_set_whose_time_ended_while_the_disk_was_awaited_never_leaves() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", ROUTE, 3)))
    await asyncio.sleep(0.1)
    stand_still(30.0)
    booth.log.gate.set()
    group = await pressed
    assert await group.wait(30)
    assert ended(group) == [("failed", "late")]
    assert group.verdicts[0].refused
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_what_seemed_so_until_its_time_ended_during_a_standstill_never_goes_out() -> None:
    booth = await Booth(hall=router()).up()
    far = booth.far["hall"]
    far.has(ROUTE, 3)
    await until(lambda: booth.board.get("hall", ROUTE).value == 3)
    far.has(ROUTE, 2, tell=False)
    far.hold = True
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    await asyncio.sleep(0.3)  # the look is asked, and its answer kept back
    stand_still(30.0)
    far.release()
    assert await group.wait(30)
    assert group.worst is not Ended.VERIFIED
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_a_link_lost_before_the_bytes_left_sends_nothing_when_it_returns() -> None:
    booth = await Booth(hall=router(window=1)).up()
    booth.far["hall"].hold = True
    await until(lambda: bool(booth.boxes["hall"]._inflight))
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    booth.wires["hall"].peers[-1].cut()
    booth.far["hall"].hold = False
    assert await group.wait(30)
    assert group.worst is Ended.FAILED
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_a_command_armed_on_an_older_link_is_encoded_anew_and_sent_once() -> None:
    booth = await decks()
    commands = booth.commands.arm(INES, [roll(booth)])
    await booth.drop("iso-1")
    await until(lambda: booth.boxes["iso-1"].adopted)
    group = booth.group()
    booth.commands.go(group, commands)
    assert await group.wait(30)
    assert group.worst is Ended.VERIFIED
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


# -- salvos --------------------------------------------------------------------------------------------------------


@virtual
async def test_a_salvo_goes_in_one_piece_and_each_route_has_its_own_verdict() -> None:
    booth = await Booth(hall=router(packs=True)).up()
    booth.far["hall"].limp.add("output.2.source")  # a locked output stays, though the router says ok
    group = await booth.settled(*(put(booth, "hall", OUTPUT_SOURCE.at(output), 4) for output in (1, 2, 3)))
    assert await group.wait(30)
    assert ended(group) == [("verified", ""), ("failed", "seen-otherwise"), ("verified", "")]
    assert (group.worst, group.count) == (Ended.FAILED, "2 of 3")
    assert len(booth.acts("hall")) == 1
    await booth.rest()


@virtual
async def test_a_salvo_leaves_out_what_is_so_already_and_what_is_refused() -> None:
    booth = await Booth(hall=router(packs=True)).up()
    booth.far["hall"].limp.add("output.4.source")
    older = await booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(4), 2))
    booth.far["hall"].has("output.3.source", "?")
    await asyncio.sleep(0.01)
    del booth.far["hall"].acts[:]
    needy: PointSpec[int] = PointSpec("output.3.source", int, low=1, settable=True, needs=ROUTE.is_(1))
    booth.far["hall"].has(ROUTE, 2)
    await asyncio.sleep(0.01)
    group = await booth.settled(
        put(booth, "hall", OUTPUT_SOURCE.at(2), 1),  # is so already
        put(booth, "hall", needy, 5),  # its needs are not met
        put(booth, "hall", OUTPUT_SOURCE.at(4), 2),  # joins the older one
        put(booth, "hall", OUTPUT_SOURCE.at(5), 5),
        put(booth, "hall", OUTPUT_SOURCE.at(6), 6),
    )
    assert await group.wait(30)
    assert booth.acts("hall") == ['salvo ["output.5.source 5", "output.6.source 6"]']
    assert ended(group)[0] == ("verified", "")
    assert ended(group)[1] == ("failed", "needs")
    assert ended(group)[3:] == [("verified", ""), ("verified", "")]
    await older.wait(30)
    await booth.rest()


@virtual
async def test_a_salvo_of_lines_leaves_out_what_is_refused_too() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].has(ROUTE, 5)
    await asyncio.sleep(0.01)
    group = await booth.settled(put(booth, "hall", ROUTE, 5), put(booth, "hall", OUTPUT_SOURCE.at(2), 5))
    assert await group.wait(30)
    assert booth.acts("hall") == ["set output.2.source 5"]
    assert [verdict.moot for verdict in group.verdicts] == [True, False]
    await booth.rest()


@virtual
async def test_a_roll_goes_alone_though_its_box_packs_what_comes_together() -> None:
    booth = await Booth(iso_1=plain_kind(RECORDER, packs=True)).up()
    plain: PointSpec[int] = PointSpec(SLOT_ACTIVE.name, int, settable=True)
    group = booth.press(roll(booth), put(booth, "iso-1", plain, 2))
    assert await group.wait(30)
    assert ended(group) == [("verified", "")] * 2
    assert booth.acts("iso-1") == ['do roll {"name": "T001"}', "set slot.active 2"]
    await booth.rest()


# -- kept warm -----------------------------------------------------------------------------------------------------


@virtual
async def test_a_warm_roll_sends_the_same_bytes_and_gets_the_same_verdict_as_a_cold_one() -> None:
    told = []
    for warm in (False, True):
        booth = await decks("iso-1", "iso-2")
        booth.far["iso-2"].deaf = True
        asks = [roll(booth), roll(booth, "iso-2")]
        group = booth.group()
        if warm:
            kept = Kept()
            booth.commands.keep(kept, asks)
            booth.commands.go_kept(group, INES, kept)
            kept.end()
        else:
            booth.commands.go(group, booth.commands.arm(INES, asks))
        assert await group.wait(30)
        told.append((booth.order, ended(group), [one.why for one in group.verdicts]))
        await booth.rest()
    assert told[0] == told[1]


@virtual
async def test_a_warm_roll_is_judged_again_at_go() -> None:
    booth = await decks("iso-1", "iso-2", "iso-3")
    kept = Kept()
    booth.commands.keep(kept, [roll(booth, name) for name in ("iso-1", "iso-2", "iso-3")])
    booth.far["iso-1"].has("remote", False)
    booth.far["iso-2"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    booth.commands.locks.append(Lock(frozenset({("iso-3", "transport")}), "it is lent out"))
    group = booth.group()
    booth.commands.go_kept(group, INES, kept)
    kept.end()
    assert await group.wait(30)
    assert ended(group) == [("failed", "needs"), ("verified", ""), ("failed", "locked")]
    assert [booth.acts(name) for name in ("iso-1", "iso-2", "iso-3")] == [[], [], []]
    await booth.rest()


@virtual
async def test_of_warm_rolls_those_that_turned_are_judged_again_and_the_others_go() -> None:
    booth = await decks("iso-1", "iso-2", "iso-3")
    kept = Kept()
    booth.commands.keep(kept, [roll(booth, name) for name in ("iso-1", "iso-2", "iso-3")])
    booth.far["iso-1"].has("remote", False)
    booth.far["iso-2"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    group = booth.group()
    booth.commands.go_kept(group, INES, kept)
    kept.end()
    assert await group.wait(30)
    assert ended(group) == [("failed", "needs"), ("verified", ""), ("verified", "")]
    assert [len(booth.acts(name)) for name in ("iso-1", "iso-2", "iso-3")] == [0, 0, 1]
    await booth.rest()


@virtual
async def test_a_warm_roll_of_which_all_are_refused_is_over_at_once() -> None:
    booth = await decks("iso-1", "iso-2")
    kept = Kept()
    booth.commands.keep(kept, [roll(booth), roll(booth, "iso-2")])
    for far in booth.far.values():
        far.has("remote", False)
    await asyncio.sleep(0.01)
    group = booth.group()
    booth.commands.go_kept(group, INES, kept)
    kept.end()
    assert ended(group) == [("failed", "needs")] * 2
    assert group.ended
    assert [data["id"] for data in booth.log.of("verdict")] == [group.id]
    booth.at_rest()


@virtual
async def test_a_warm_roll_that_joins_another_leaves_nothing_followed() -> None:
    booth = await decks()
    warm = Kept()
    booth.commands.keep(warm, [roll(booth)])
    first = booth.press(roll(booth))
    group = booth.group()
    booth.commands.go_kept(group, INES, warm)
    warm.end()
    assert await first.wait(30)
    assert await group.wait(30)
    await booth.rest()


@virtual
async def test_a_warm_roll_given_up_leaves_nothing_followed() -> None:
    booth = await decks()
    warm = Kept()
    booth.commands.keep(warm, [roll(booth)])
    assert booth.watching() != booth.baseline
    warm.end()
    booth.at_rest()


@virtual
async def test_a_warm_roll_without_a_link_goes_once_the_link_is_there() -> None:
    booth = await decks()
    await booth.drop("iso-1")
    warm = Kept()
    booth.commands.keep(warm, [roll(booth)])
    assert warm.commands[0].prepared is None
    await until(lambda: booth.boxes["iso-1"].adopted)
    group = booth.group()
    booth.commands.go_kept(group, INES, warm)
    warm.end()
    assert await group.wait(30)
    assert ended(group) == [("verified", "")]
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


# -- house parts ---------------------------------------------------------------------------------------------------

LAMP: PointSpec[bool] = PointSpec("lamp", bool, settable=True)


class Part:
    """A house part that does at once what it is asked."""

    def __init__(self, booth: Booth) -> None:
        self.writer = booth.board.writer("tally")
        self.writer.age_of = lambda spec: float("inf")
        self.writer.declare(LAMP)
        self.clock = booth.clock
        self.order = booth.order
        self.writer.compute("lamp", False, asked_at=self.clock.now())
        booth.commands.act = self.act
        booth.baseline = booth.watching()

    def act(self, ask: Ask) -> None:
        assert isinstance(ask.verb, Set)
        self.order.append("act")
        self.writer.compute("lamp", ask.verb.value, asked_at=self.clock.now())


@virtual
async def test_a_house_part_acts_after_its_journal_line_and_is_verified_by_its_own_point() -> None:
    booth = await decks()
    Part(booth)
    group = await booth.settled(put(booth, "tally", LAMP, True))
    assert await group.wait(30)
    assert ended(group) == [("verified", "")]
    assert booth.order[:2] == ["journal command", "act"]
    await booth.rest()


@virtual
async def test_a_house_part_does_not_act_for_who_was_refused() -> None:
    booth = await decks()
    Part(booth)
    group = await booth.settled(put(booth, "tally", LAMP, True), person=ADA)
    assert ended(group) == [("failed", "role")]
    assert booth.board.get("tally", LAMP).value is False
    booth.at_rest()


@virtual
async def test_a_house_part_says_yes_again_to_what_is_so_already() -> None:
    booth = await decks()
    Part(booth)
    for _ in range(2):
        group = await booth.settled(put(booth, "tally", LAMP, True))
        assert await group.wait(30)
        assert ended(group) == [("verified", "")]
    await booth.rest()


# -- erasing -------------------------------------------------------------------------------------------------------


@virtual
async def test_only_an_engineer_erases_and_never_from_a_scene() -> None:
    booth = await decks()
    form = booth.ask("iso-1", Format(1, "token"))
    assert ended(await booth.settled(form)) == [("failed", "role")]
    form.inlet = "scene:tidy"
    assert ended(await booth.settled(form, person=TOMAS)) == [("failed", "role")]
    assert booth.acts("iso-1") == []
