"""Does a station see and hear what it is given, and nobody else anything new?"""

import asyncio

import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.mixer import SEND_LEVEL
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.stations import HEARS, SEES
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import house

INES = Person("ines", Role.OPERATOR)


def hall() -> House:
    return house(VirtualClock(asyncio.get_running_loop()))


async def give(own: House, point: str, value: str) -> Group:
    group = await own.submit(Wish(INES, "test", "stations", "set", {"point": point, "value": value}))
    assert await group.wait(60)
    return group


@virtual
async def test_the_director_sees_a_hall_camera() -> None:
    own = hall()
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 5)
    group = await give(own, "director.sees", "wide")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("stations", SEES.at("director")).value == "wide"


@virtual
async def test_a_source_comes_up_on_one_bus_in_steps_and_the_other_bus_stays() -> None:
    own = hall()
    group = await give(own, "director.hears", "piano")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("stations", HEARS.at("director")).value == "piano"
    assert own.board.get("stations", HEARS.at("bench")).value == "nothing"
    levels = [verb.value for verb in own.boxes["mixer"].sent if verb.point.name == SEND_LEVEL.at(1, 4).name]
    assert len(levels) > 100
    assert levels == sorted(levels)
    assert levels[-1] == 0.0


@virtual
async def test_another_source_takes_the_place_of_the_first_and_a_hand_set_level_stays() -> None:
    own = hall()
    own.boxes["mixer"].has(SEND_LEVEL.at(1, 4), -12.0)
    group = await give(own, "director.hears", "piano + presenter")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("stations", HEARS.at("director")).value == "program"  # the site's name for these two
    assert own.board.get("mixer", SEND_LEVEL.at(1, 4)).value == -12.0
    group = await give(own, "director.hears", "presenter")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("mixer", SEND_LEVEL.at(1, 4)).value == "off"
    assert own.board.get("stations", HEARS.at("director")).value == "presenter"
    assert (await give(own, "director.hears", "nothing")).worst is Ended.VERIFIED


async def show(own: House, **args: str) -> Group:
    group = await own.submit(Wish(INES, "test", "stations", "show", args))
    assert await group.wait(60)
    return group


def order(own: House) -> list[str]:
    """The points that were set, in the order their bytes left; a rise once."""
    found: dict[str, float] = {}
    for name in ("mixer", "hall", "gallery"):
        for at, verb in zip(own.boxes[name].left_at, own.boxes[name].sent, strict=True):
            found.setdefault(f"{name} {verb.point.name}", at)
    return sorted(found, key=lambda one: found[one])


@virtual
async def test_picture_and_sound_in_one_verb_sound_down_first_and_up_last() -> None:
    own = hall()
    own.boxes["mixer"].has(SEND_LEVEL.at(5, 4), -6.0)
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 5)
    await asyncio.sleep(0.01)
    group = await show(own, station="Director", picture="hall input 4", sound="piano")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("stations", SEES.at("director")).value == "wide"
    assert own.board.get("stations", HEARS.at("director")).value == "piano"
    went = order(own)
    assert went[0] == "mixer strip.5.send.4.level"
    assert went[-1] == "mixer strip.1.send.4.level"
    assert "gallery output.3.source" in went[1:-1]


@virtual
async def test_a_mix_of_the_site_is_one_word() -> None:
    own = hall()
    group = await show(own, station="director", sound="program")
    assert group.worst is Ended.VERIFIED
    assert own.board.get("stations", HEARS.at("director")).value == "program"
    assert own.boxes["gallery"].sent == []


@virtual
async def test_a_station_is_shown_nothing_by_a_word_that_says_nothing() -> None:
    own = hall()
    for args, why in [
        ({"station": "director"}, "Nothing is said of what Director sees or hears."),
        ({"station": "balcony", "picture": "wide"}, 'There is no station "balcony".'),
        ({"station": "bench", "picture": "wide"}, "Piano bench has no picture."),
        ({"station": "director", "sound": "organ"}, 'Director has no sound "organ" on its bus.'),
    ]:
        with pytest.raises(RefusedError) as no:
            await show(own, **args)
        assert str(no.value) == why
    assert own.boxes["mixer"].sent == own.boxes["gallery"].sent == []


@virtual
async def test_what_a_station_hears_is_not_known_while_one_send_is_not() -> None:
    own = hall()
    own.boxes["mixer"].writer.lost()
    await asyncio.sleep(0.01)
    assert own.board.get("stations", HEARS.at("director")).quality is Quality.STALE


@virtual
async def test_a_sound_that_is_not_on_the_bus_and_a_picture_nobody_gave_are_refused() -> None:
    own = hall()
    with pytest.raises(RefusedError) as no:
        await give(own, "director.hears", "piamo")
    assert (str(no.value), no.value.remedy) == (
        'Director has no sound "piamo" on its bus.',
        "Perhaps you mean piano.",
    )
    with pytest.raises(RefusedError, match=r'stations has no point "bench.sees"'):
        await give(own, "bench.sees", "wide")
    assert own.boxes["mixer"].sent == []
