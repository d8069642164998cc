"""What becomes of a press when a box, its link, a house part or a token says no on the way?

Source of all rows: own construction, from the rules of the command path: who is refused sends no byte, the others go,
and what is armed is ready before anybody presses.
"""

import asyncio
from collections.abc import Sequence
from typing import Any, NoReturn

import pytest

from stagectl.control.access import Pass, Person, Role
from stagectl.control.commands import GROUPS
from stagectl.control.groups import Group
from stagectl.control.kept import Kept
from stagectl.model.capabilities.mixer import STRIP_LEVEL
from stagectl.model.capabilities.recorder import Roll
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Verb
from tests.control.booth import INES, Booth, Line, PlainDriver, deck, mixer, put, roll, router
from tests.driverkit.memory import until, virtual

LAMP: PointSpec[bool] = PointSpec("lamp", bool, settable=True)


def ended(group: Group) -> list[tuple[str, str]]:
    return [(str(verdict.ended), verdict.code) for verdict in group.verdicts]


def one_by_one(self: PlainDriver, verbs: Sequence[Verb]) -> Sequence[Line]:
    """This box takes no salvo."""
    if len(verbs) > 1:
        raise RefusedError("This box takes one at a time.", code="cannot")
    return PlainDriver.ask(self, verbs)


def says_no(ask: Ask) -> NoReturn:
    """A house part, or a guard."""
    raise RefusedError(f"take {ask.take or 9} is not running: nothing rolls", code="take")


@virtual
async def test_a_box_that_takes_no_salvo_gets_one_after_the_other() -> None:
    booth = await Booth(hall=router(ask=one_by_one)).up()
    group = await booth.settled(*(put(booth, "hall", OUTPUT_SOURCE.at(output), 4) for output in (1, 2, 3)))
    assert await group.wait(30)
    assert ended(group) == [("verified", "")] * 3
    assert booth.acts("hall") == [f"set output.{output}.source 4" for output in (1, 2, 3)]
    await booth.rest()


@virtual
async def test_levels_that_fall_are_not_packed_and_all_arrive() -> None:
    booth = await Booth(mixer=mixer(packs=True)).up()
    group = await booth.settled(*(put(booth, "mixer", STRIP_LEVEL.at(strip), -30.0) for strip in (1, 2)))
    assert await group.wait(30)
    assert ended(group) == [("verified", "")] * 2
    assert booth.acts("mixer") == ["set strip.1.level -30.0", "set strip.2.level -30.0"]
    await booth.rest()


@virtual
async def test_what_is_armed_is_encoded_before_it_goes() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    commands = booth.commands.arm(INES, [roll(booth), roll(booth, "iso-2")])
    assert all(command.prepared is not None and command.watch is not None for command in commands)
    assert booth.order == []
    group = booth.group()
    booth.commands.go(group, commands)
    assert [line.partition(" {")[0] for line in booth.order] == ["journal command", "iso-1 do roll", "iso-2 do roll"]
    assert await group.wait(30)
    await booth.rest()


@virtual
async def test_what_was_armed_on_a_link_that_is_gone_sends_nothing_then_or_later() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    commands = booth.commands.arm(INES, [roll(booth), roll(booth, "iso-2")])
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    await booth.drop("iso-1")
    group = booth.group()
    booth.commands.go(group, commands)
    assert await group.wait(30)
    assert ended(group)[1] == ("verified", "")
    assert ended(group)[0][0] == "failed"
    assert group.verdicts[0].refused
    booth.wires["iso-1"].refuse = None
    await until(lambda: booth.boxes["iso-1"].adopted)
    await asyncio.sleep(3)
    assert booth.acts("iso-1") == []
    await booth.rest()


@virtual
@pytest.mark.parametrize("back", [False, True])
async def test_a_set_whose_link_went_while_the_disk_was_awaited_is_refused_or_encoded_anew(back: bool) -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(1), 3)))
    await asyncio.sleep(0.1)
    if not back:
        booth.wires["hall"].refuse = ConnectionRefusedError(111, "Connection refused")
    await booth.drop("hall")
    if back:
        await until(lambda: booth.boxes["hall"].adopted)
    booth.log.gate.set()
    group = await pressed
    assert await group.wait(30)
    if back:
        assert ended(group) == [("verified", "")]
        assert booth.acts("hall") == ["set output.1.source 3"]
    else:
        assert ended(group) == [("failed", "no-link")]
        assert group.verdicts[0].refused
        booth.wires["hall"].refuse = None
        await until(lambda: booth.boxes["hall"].adopted)
        await asyncio.sleep(3)
        assert booth.acts("hall") == []
    await booth.rest()


@virtual
async def test_a_house_part_that_says_no_is_told_in_its_words() -> None:
    booth = await Booth(iso_1=deck()).up()
    writer = booth.board.writer("tally")
    writer.declare(LAMP)
    writer.compute("lamp", False, asked_at=booth.clock.now())
    booth.baseline = booth.watching()

    booth.commands.act = says_no
    group = await booth.settled(put(booth, "tally", LAMP, True))
    assert ended(group) == [("failed", "take")]
    assert (group.verdicts[0].why, group.verdicts[0].refused) == ("take 9 is not running: nothing rolls", True)
    booth.at_rest()


@virtual
@pytest.mark.parametrize("warm", [False, True])
async def test_a_token_for_one_recorder_rolls_that_one_alone(warm: bool) -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    pedal = Person("pedal", Role.OPERATOR, Pass(frozenset({"roll"}), frozenset({"iso-2"})))
    asks = [roll(booth), roll(booth, "iso-2")]
    group = booth.group()
    if warm:
        kept = Kept()
        booth.commands.keep(kept, asks)
        booth.commands.go_kept(group, pedal, kept)
        kept.end()
    else:
        booth.commands.go(group, booth.commands.arm(pedal, asks))
    assert await group.wait(30)
    assert ended(group) == [("failed", "role"), ("verified", "")]
    assert (booth.acts("iso-1"), len(booth.acts("iso-2"))) == ([], 1)
    await booth.rest()


@virtual
@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda booth: None, None),
        (lambda booth: booth.far["iso-1"].has("remote", False), "needs"),
        (lambda booth: booth.commands.guards.update({Roll: says_no}), "take"),
    ],
)
async def test_what_would_be_refused_is_foreseen_and_nothing_is_kept_or_sent(spoil: Any, code: str | None) -> None:
    booth = await Booth(iso_1=deck()).up()
    spoil(booth)
    await asyncio.sleep(0.01)
    foreseen = booth.commands.foresee(INES, roll(booth))
    assert (foreseen.code if foreseen is not None else None) == code
    assert booth.log.of("command") == []
    assert booth.acts("iso-1") == []
    booth.at_rest()


@virtual
async def test_an_id_whose_press_is_under_way_is_never_forgotten() -> None:
    booth = await Booth(iso_1=deck()).up()
    for number in range(GROUPS + 3):
        booth.commands.remember(Group(f"open{number}", "", "", "", "", "", 0.0))
    assert len(booth.commands.groups) == GROUPS + 3
    assert booth.commands.known("open0", "") is not None


@virtual
async def test_a_set_whose_link_went_while_it_waited_for_the_disk_is_told_so_and_leaves_on_no_other() -> None:
    booth = await Booth(hall=router()).up()
    booth.log.gate = asyncio.Event()
    pressed = asyncio.create_task(booth.settled(put(booth, "hall", OUTPUT_SOURCE.at(1), 3)))
    await asyncio.sleep(0.1)
    await booth.drop("hall")
    booth.log.gate.set()
    group = await pressed
    assert await group.wait(30)
    assert ended(group) == [("failed", "no-link")]
    assert group.verdicts[0].refused
    assert "stagectl can't reach it" in group.verdicts[0].why
    await until(lambda: booth.boxes["hall"].adopted)
    await asyncio.sleep(5)
    assert booth.acts("hall") == []
    await booth.rest()
