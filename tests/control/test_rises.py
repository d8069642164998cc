"""Is a rise stopped where it is, by anybody who may set a level, and never lifted by that?

Source of all rows: own construction. Levels: common practice, a rise is a ramp and whoever hears it can stop it.
"""

import asyncio
import json
from typing import Any

import pytest

from stagectl.control.access import Person, Role, words_of
from stagectl.control.groups import Group
from stagectl.control.wishes import build
from stagectl.model.capabilities.mixer import MIXER, SEND_LEVEL, STRIP_LEVEL
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ended, Stay
from tests.control.booth import ADA, INES, Booth, mixer, only, put
from tests.driverkit.memory import virtual

LEVEL = STRIP_LEVEL.at(1)
OTHER = STRIP_LEVEL.at(2)
MARA = Person("mara", Role.OPERATOR)


async def one_mixer(**change: object) -> Booth:
    return await Booth(mixer=mixer(**change)).up()


async def stopped(booth: Booth, point: PointSpec[Any] = LEVEL, person: Person = MARA) -> Group:
    return await booth.settled(booth.ask("mixer", Stay(point, None), person.name), person=person)


def steps(booth: Booth) -> list[float]:
    return [float(json.loads(line.rpartition(" ")[2])) for line in booth.acts("mixer") if LEVEL.name in line]


@virtual
async def test_a_rise_is_stopped_at_the_last_step_that_left_and_both_know() -> None:
    booth = await one_mixer()
    rise = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.5)
    reached = steps(booth)[-1]
    assert -8.0 < reached < -6.0  # half a second at 6 dB/s, from -10
    (rising,) = booth.commands.rises.now()
    assert (rising.device, rising.point.name, rising.to, rising.who) == ("mixer", LEVEL.name, 0.0, "ines")
    stop = await stopped(booth)
    assert (await booth.verdict(stop)).ended is Ended.VERIFIED
    assert only(stop).ask.verb.say() == f"stop strip 1 level at {LEVEL.say(reached)}"
    ended = only(rise).verdict
    assert ended is not None
    assert (ended.ended, ended.code) == (Ended.FAILED, "overtaken")
    assert ended.why == f"mara stopped it at {LEVEL.say(reached)}"
    await booth.rest()
    assert max(steps(booth)) == reached, "nothing lifts it any more"
    assert booth.far["mixer"].values[LEVEL.name] == reached
    assert booth.commands.rises.now() == []
    assert booth.log.of("hand") == []


@virtual
async def test_a_stop_at_a_slow_mixer_neither_dips_nor_lifts() -> None:
    """What the board knows lags behind what was sent; the stop goes by what was sent."""
    booth = await one_mixer(window=1)
    booth.far["mixer"].slow_s = 0.3
    await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(1.0)
    before = steps(booth)
    booth.far["mixer"].slow_s = 0.0
    assert (await booth.verdict(await stopped(booth))).ended is Ended.VERIFIED
    await booth.rest()
    after = steps(booth)[len(before) :]
    assert all(value == before[-1] for value in after), (before, after)
    assert booth.far["mixer"].values[LEVEL.name] == before[-1]


@virtual
async def test_a_box_that_does_not_take_the_stop_is_told_as_not_stopped() -> None:
    booth = await one_mixer()
    await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.3)
    booth.far["mixer"].has(LEVEL, -2.0, tell=False)
    booth.far["mixer"].limp.add(LEVEL.name)
    verdict = await booth.verdict(await stopped(booth))
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "seen-otherwise")
    await booth.rest()


@virtual
async def test_what_does_not_rise_is_said_and_nothing_is_sent() -> None:
    booth = await one_mixer()
    await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.2)
    verdict = await booth.verdict(await stopped(booth, OTHER))
    assert (verdict.ended, verdict.code, verdict.refused) == (Ended.FAILED, "still", True)
    assert verdict.why == "mixer strip 2 level does not rise."
    assert len(booth.commands.rises.now()) == 1, "the other one goes on"
    fall = await booth.settled(put(booth, "mixer", LEVEL, -40.0))
    assert (await booth.verdict(fall)).ended is Ended.VERIFIED
    assert (await booth.verdict(await stopped(booth))).code == "still"
    assert booth.far["mixer"].values[LEVEL.name] == -40.0
    await booth.rest()


@virtual
async def test_who_may_only_watch_stops_nothing() -> None:
    booth = await one_mixer()
    await booth.settled(put(booth, "mixer", LEVEL, -8.0))
    assert (await booth.verdict(await stopped(booth, person=ADA))).code == "role"
    assert len(booth.commands.rises.now()) == 1
    await booth.rest()


def test_the_word_is_made_for_what_rises_alone() -> None:
    verb = build("mixer", MIXER, "stay", {"point": "strip 1 send 2 level"})
    assert verb == Stay(SEND_LEVEL.at(1, 2), None)
    assert verb.touches() == ("strip.1.send.2.level",)
    for arguments in ({}, {"point": "strip 1 muted"}, {"point": "strip 1 level", "value": 3}, {"point": "nowhere"}):
        with pytest.raises(RefusedError):
            build("mixer", MIXER, "stay", arguments)


@virtual
async def test_a_token_for_levels_or_for_stops_grants_it() -> None:
    booth = await one_mixer()
    assert words_of(booth.ask("mixer", Stay(LEVEL, None), INES.name)) == ("level", "stay")
    await booth.rest()
