"""Does a group of several stages go out one stage after another, and hold back what must not go alone?

Source: own construction. The order of bytes is what the far ends of all boxes heard, in one list.
"""

import asyncio
from dataclasses import replace
from typing import Any

from stagectl.control.access import Lock
from stagectl.control.groups import Group
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import CODEC, TRANSPORT
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Ended
from tests.control.booth import INES, Booth, deck, mixer, put, router
from tests.driverkit.memory import virtual

MUTED, LEVEL, ROUTE = STRIP_MUTED.at(1), STRIP_LEVEL.at(1), OUTPUT_SOURCE.at(1)


async def hall() -> Booth:
    return await Booth(iso_1=deck(), hall=router(packs=True), mixer=mixer()).up()


def staged(booth: Booth, *rows: tuple[int, str, PointSpec[Any], Any]) -> list[Ask]:
    return [replace(put(booth, target, point, value), stage=stage) for stage, target, point, value in rows]


def ended(group: Group) -> list[str]:
    return [verdict.code or str(verdict.ended) for verdict in group.verdicts]


def sets(booth: Booth) -> list[str]:
    return [one for one in booth.order if " set " in one]


@virtual
async def test_a_stage_goes_out_when_the_one_before_is_proven() -> None:
    booth = await hall()
    booth.far["mixer"].slow_s = 0.4
    group = await booth.settled(
        *staged(booth, (2, "mixer", MUTED, False), (1, "hall", ROUTE, 3), (0, "mixer", STRIP_MUTED.at(2), True))
    )
    assert group.ended is False
    assert sets(booth) == ["mixer set strip.2.muted true"]
    assert await group.wait(30)
    assert sets(booth) == ["mixer set strip.2.muted true", "hall set output.1.source 3"]
    assert ended(group) == ["verified"] * 3  # strip 1 was open already: it was looked at
    await booth.rest()


@virtual
async def test_what_had_to_come_first_and_failed_holds_back_what_depends_on_it_alone() -> None:
    booth = await hall()
    booth.far["mixer"].limp.add("strip.1.muted")
    down, route, codec = staged(booth, (0, "mixer", MUTED, True), (1, "hall", ROUTE, 3), (1, "iso-1", CODEC, "dnx"))
    group = await booth.settled(down, replace(route, after=(("mixer", MUTED.name),)), codec)
    assert await group.wait(30)
    assert ended(group) == ["seen-otherwise", "held-back", "verified"]
    verdict = group.verdicts[1]
    assert verdict.refused
    assert verdict.why == "what had to come first did not: mixer strip 1 muted to yes"
    assert sets(booth) == ["mixer set strip.1.muted true", 'iso-1 set record.codec "dnx"']
    assert (group.worst, group.count) == (Ended.FAILED, "1 of 3")
    await booth.rest()


@virtual
async def test_a_stage_is_judged_again_when_its_turn_comes() -> None:
    """A take began meanwhile, and a protection with it."""
    booth = await hall()
    booth.far["mixer"].slow_s = 0.5
    group = await booth.settled(
        *staged(booth, (0, "mixer", MUTED, True), (1, "iso-1", CODEC, "dnx"), (1, "hall", ROUTE, 3))
    )
    booth.far["iso-1"].has(TRANSPORT, "recording")
    booth.commands.locks.append(Lock(frozenset({("hall", ROUTE.name)}), "a take runs"))
    assert await group.wait(30)
    assert ended(group) == ["verified", "needs", "locked"]
    assert sets(booth) == ["mixer set strip.1.muted true"]
    await booth.rest()


@virtual
async def test_somebody_who_sets_what_waits_overtakes_it() -> None:
    booth = await hall()
    booth.far["mixer"].slow_s = 0.5
    group = await booth.settled(*staged(booth, (0, "mixer", MUTED, True), (1, "hall", ROUTE, 3)))
    other = await booth.settled(put(booth, "hall", ROUTE, 5))
    assert await group.wait(30)
    assert await other.wait(30)
    assert ended(group) == ["verified", "overtaken"]
    assert ended(other) == ["verified"]
    assert booth.far["hall"].values["output.1.source"] == 5
    await booth.rest()


@virtual
async def test_who_asked_may_go_away_and_the_stages_go_on() -> None:
    booth = await hall()
    booth.far["mixer"].slow_s = 0.3
    group = booth.group()
    asks = staged(booth, (0, "mixer", MUTED, True), (1, "hall", ROUTE, 3))
    task = asyncio.create_task(booth.commands.go_durable(group, booth.commands.arm(INES, asks)))
    await asyncio.sleep(0.1)
    task.cancel()
    assert await group.wait(30)
    assert ended(group) == ["verified", "verified"]


@virtual
async def test_how_long_it_may_take_is_the_sum_of_the_stages_with_their_rises() -> None:
    booth = await hall()
    group = booth.group()
    asks = staged(booth, (0, "mixer", MUTED, True), (1, "hall", ROUTE, 3), (2, "mixer", LEVEL, -4.0))
    group.commands = booth.commands.arm(INES, asks)
    assert abs(booth.commands.takes_s(group) - 4.0) < 1e-6  # three times a second, and 6 dB at 6 dB a second
