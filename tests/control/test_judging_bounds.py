"""What is kept of commands that are being judged, how late is one, and what becomes of one that was put off?

Source of all rows: own construction, from the rules of the command path: every command has one verdict, everything
that is kept has a bound, and what hangs is told by how long.
"""

import asyncio

import pytest

from stagectl.control import judging
from stagectl.control.groups import Group
from stagectl.model.capabilities.recorder import TRANSPORT, Stop
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.verbs import Ended
from tests.control.booth import Booth, cut, deck, put, roll, router
from tests.driverkit.memory import VirtualLoop, virtual


@virtual
async def test_a_verdict_that_is_late_is_told_by_how_much() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    booth.far["iso-1"].silent = booth.far["iso-2"].silent = True
    group = booth.press(roll(booth))
    await asyncio.sleep(1.0)
    other = booth.press(roll(booth, "iso-2"))
    assert booth.judge.overdue() == 0
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    loop.jump(10.0)  # stagectl stands still; a roll has 2 s, the first one has used one of them
    assert booth.judge.overdue() == pytest.approx(9.0, abs=0.01)
    assert await group.wait(30)
    assert await other.wait(30)
    assert booth.judge.overdue() == 0
    await booth.rest()


@virtual
async def test_whose_act_a_change_was_is_remembered_for_so_many_points(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "OURS", 3)
    booth = await Booth(hall=router()).up()
    outputs = [OUTPUT_SOURCE.at(output) for output in range(1, 6)]
    group = await booth.settled(*(put(booth, "hall", output, 4) for output in outputs))
    assert await group.wait(30)
    assert [name for _, name in booth.judge._ours] == [output.name for output in outputs[2:]]
    await booth.rest()


async def a_roll_that_a_cut_keeps_off(booth: Booth) -> tuple[Group, Group]:
    """A cut that is under way on iso-1, and a roll of both recorders that it keeps from iso-1."""
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    booth.far["iso-1"].slow_s = 0.2
    booth.far["iso-2"].roll_s = 1.0
    ends = booth.press(cut(booth))
    press = booth.press(roll(booth), roll(booth, "iso-2"))
    assert [verdict.code for verdict in press.verdicts] == ["conflict"]
    assert not press.ended
    return ends, press


@virtual
@pytest.mark.parametrize("late", [False, True])
async def test_what_is_put_off_gets_the_verdict_of_what_went_out_in_its_place(late: bool) -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    ends, press = await a_roll_that_a_cut_keeps_off(booth)
    kept_off = press.commands[0]
    refusal = booth.judge.put_off(kept_off)
    assert refusal is not None
    assert (refusal.code, kept_off.verdict) == ("conflict", None)
    assert await ends.wait(30)
    again = booth.press(roll(booth))
    if late:
        assert await again.wait(30)
    booth.judge.share(kept_off, again.commands[0])
    assert await press.wait(30)
    assert await again.wait(30)
    assert kept_off.verdict is again.verdicts[0]
    assert (press.worst, press.count) == (Ended.VERIFIED, "2 of 2")
    assert len(booth.acts("iso-1")) == 2  # the cut, and one roll
    await booth.rest()


@virtual
async def test_what_is_over_or_was_not_refused_is_not_put_off() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    _, press = await a_roll_that_a_cut_keeps_off(booth)
    assert booth.judge.put_off(press.commands[1]) is None, "it is under way"
    assert await press.wait(30)
    assert booth.judge.put_off(press.commands[0]) is None, "its press is over"
    assert press.count == "1 of 2"
    await booth.rest()


@virtual
async def test_what_is_on_its_way_there_is_told_by_what_it_touches() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    booth.far["iso-1"].roll_s = 0.5
    group = booth.press(roll(booth))
    assert booth.judge.under_way("iso-1", Stop()) == group.commands[0].ask.verb
    assert booth.judge.under_way("iso-2", Stop()) is None
    assert not booth.judge.clear_of({"iso-1"})
    assert booth.judge.clear_of({"iso-2"})
    assert await group.wait(30)
    assert booth.judge.under_way("iso-1", Stop()) is None
    await booth.rest()


def heard(booth: Booth) -> int:
    """Lines the router has heard."""
    return len(booth.wires["hall"].peers[-1].heard)


@virtual
async def test_a_no_after_the_verdict_asks_nothing_and_changes_nothing() -> None:
    booth = await Booth(hall=router()).up()
    group = await booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(1), 3))
    verdict = await booth.verdict(group)
    before = heard(booth)
    booth.judge.heard_no(group.commands, None, "busy")
    await asyncio.sleep(0.01)
    assert heard(booth) == before
    assert (group.commands[0].said_no, group.commands[0].verdict) == ("", verdict)
    await booth.rest()


@virtual
async def test_of_two_refusals_the_first_is_told_and_looked_behind_once() -> None:
    booth = await Booth(hall=router()).up()
    far = booth.far["hall"]
    far.limp.add("output.1.source")
    group = await booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(1), 3))
    await asyncio.sleep(0.01)
    before = heard(booth)
    for words in ("output is locked by panel 2", "busy"):
        booth.judge.heard_no(group.commands, None, words)
    verdict = await booth.verdict(group)
    assert (verdict.why, heard(booth) - before) == ("output is locked by panel 2", 1)
    await booth.rest()


@virtual
async def test_that_bytes_left_counts_once_and_not_after_the_verdict() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].limp.add("output.1.source")
    group = await booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(1), 3))
    await asyncio.sleep(0.5)
    (command,) = group.commands
    left, deadline = command.sent_at, command.deadline_at
    booth.judge.sent(group.commands, None, booth.clock.now())
    assert (command.sent_at, command.deadline_at) == (left, deadline)
    await booth.verdict(group)
    booth.judge.sent(group.commands, None, booth.clock.now())
    assert (command.sent_at, command.deadline_at) == (left, deadline)
    await booth.rest()


@virtual
async def test_a_verdict_that_is_no_yes_names_what_is_missing() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck(), iso_3=deck()).up()
    booth.far["iso-1"].deaf = True
    booth.far["iso-3"].refuses = "103 no medium"
    group = booth.press(*(roll(booth, name) for name in booth.boxes))
    assert await group.wait(30)
    deaf, well, refused = group.verdicts
    assert [one.partition(" is ")[0] for one in deaf.missing] == ["transport", "timecode"]
    assert deaf.missing[0] == "transport is stopped"
    assert well.missing == ()
    assert refused.missing == ("transport is stopped", "timecode not seen"), "its no came before a look"
    assert [one.remedy for one in group.verdicts] == ["Look at iso-1's front.", "", "Look at iso-3's front."]
    await booth.rest()
