"""Do picture and sound of one name go together, by one press and each by its own routers?

Outside: networkx 3 (shortest paths; maximum flow after Ford and Fulkerson), level by level, on plants drawn at random.
The hall is own construction: each router of the pictures has one of the sound beside it, as is common practice.
"""

import asyncio
import random
from dataclasses import replace
from itertools import product
from typing import Any, Final

import networkx as nx
import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.router import OUTPUT_SOURCE, ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import Paths
from stagectl.shoot.routes.plan import Guards, Plan, Planner
from stagectl.shoot.routes.words import one_route, read_routes
from stagectl.site import Level, Pictures, TieLine
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import DESTINATIONS, KINDS, SOURCES, TIES, house, site
from tests.shoot.routes.test_plan import Here

INES = Person("ines", Role.OPERATOR)
SOUND: Final = Level(
    ("hall-sound", "gallery-sound"),
    {"stage-left": ("hall-sound", 1), "hands": ("hall-sound", 3), "wide": ("hall-sound", 4), "host": ("hall-sound", 7)},
    {"program": ("gallery-sound", 1), "mix-rec": ("gallery-sound", 2), "foyer": ("gallery-sound", 5)},
)
# hall 16 carries pictures alone
LINES: Final = (*TIES, TieLine("hall-sound", 15, "gallery-sound", 1))
PICTURES: Final = Pictures(SOURCES, DESTINATIONS, LINES, ("program",), levels={"sound": SOUND})


def made(pictures: Pictures = PICTURES) -> House:
    """A house whose routers are those that the pictures name; nothing on the tie-lines."""
    routers = dict.fromkeys(end for tie in pictures.tie_lines for end in (tie.from_router, tie.to_router))
    kinds = {**KINDS, **dict.fromkeys(routers, ROUTER)}
    plain = site()
    entries = {**plain.devices, **{name: replace(plain.devices["hall"], id=name, called=name) for name in routers}}
    own = house(VirtualClock(asyncio.get_running_loop()), replace(plain, pictures=pictures, devices=entries), kinds)
    part = own.parts["paths"]
    assert isinstance(part, Paths)
    for router, output in part.wiring.outputs():
        own.boxes[router].has(OUTPUT_SOURCE.at(output), 30)
    return own


def paths(own: House) -> Paths:
    part = own.parts["paths"]
    assert isinstance(part, Paths)
    return part


async def press(own: House, routes: str | list[str]) -> Group:
    group = await own.submit(Wish(INES, "test", "paths", "route", {"routes": routes}))
    assert await group.wait(30)
    await asyncio.sleep(0.01)
    return group


async def planned(own: House, routes: str) -> Plan:
    guards = Guards(INES, own.commands.locks, own.commands.limits)
    return await Planner(own.board, paths(own), Here()).plan(read_routes(routes), guards)


def has(own: House, point: str) -> Any:
    return own.board.points("paths")[point].value


@virtual
async def test_picture_and_sound_of_a_name_go_together_and_each_crosspoint_is_verified() -> None:
    own = made()
    group = await press(own, "program = wide")
    assert (group.worst, group.count) == (Ended.VERIFIED, "5 of 5")
    assert [(command.ask.target, command.ask.verb.say()) for command in group.commands[1:]] == [
        ("hall", "set output 15 source to 4"),
        ("gallery", "set output 1 source to 1"),
        ("hall-sound", "set output 15 source to 4"),
        ("gallery-sound", "set output 1 source to 1"),
    ]
    assert (has(own, "program.shows"), has(own, "program.sound.shows")) == ("wide", "wide")
    assert has(own, "program.break_away") is False
    assert has(own, "program.sound.way") == (
        "wide, hall-sound input 4 > hall-sound output 15 > gallery-sound input 1 > gallery-sound output 1"
    )


@virtual
async def test_a_station_gets_what_the_routers_carry_beside_its_picture() -> None:
    sound = replace(SOUND, destinations={**SOUND.destinations, "director": ("gallery-sound", 3)})
    own = made(replace(PICTURES, levels={"sound": sound}))
    for picture in ("wide", "hands"):
        wish = Wish(INES, "test", "stations", "set", {"point": "director.sees", "value": picture})
        group = await own.submit(wish)
        assert await group.wait(30)
        assert group.worst is Ended.VERIFIED
        await asyncio.sleep(0.01)
        assert (has(own, "director.shows"), has(own, "director.sound.shows")) == (picture, picture)
        assert has(own, "director.break_away") is False
    group = await own.submit(Wish(INES, "test", "stations", "show", {"station": "director", "picture": "titles"}))
    assert await group.wait(30)
    await asyncio.sleep(0.01)
    assert group.worst is Ended.VERIFIED
    assert (has(own, "director.shows"), has(own, "director.sound.shows")) == ("titles", "hands")  # titles has no sound
    assert has(own, "director.break_away") is True


@virtual
async def test_a_station_keeps_its_picture_if_the_sound_beside_it_has_no_way() -> None:
    sound = replace(SOUND, destinations={**SOUND.destinations, "director": ("gallery-sound", 3)})
    own = made(replace(PICTURES, levels={"sound": sound}))
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 8)
    await press(own, "program = hands")  # on the one tie-line for sound
    with pytest.raises(RefusedError, match="sound"):
        await own.submit(Wish(INES, "test", "stations", "set", {"point": "director.sees", "value": "wide"}))
    assert has(own, "director.shows") == "titles"


@virtual
async def test_a_sound_that_does_not_arrive_makes_the_whole_press_fail() -> None:
    own = made()
    own.boxes["gallery-sound"].deaf = True
    group = await press(own, "program = wide")
    assert (group.worst, group.count) == (Ended.FAILED, "3 of 5")
    assert (has(own, "program.shows"), has(own, "program.break_away")) == ("wide", True)


@virtual
async def test_a_picture_alone_breaks_away_and_is_told_so() -> None:
    own = made()
    await press(own, "program = wide")
    assert (await press(own, "program = hands at video")).worst is Ended.VERIFIED
    assert (has(own, "program.shows"), has(own, "program.sound.shows")) == ("hands", "wide")
    assert has(own, "program.break_away") is True
    group = await own.submit(Wish(INES, "test", "paths", "set", {"point": "program.sound.shows", "value": "hands"}))
    assert await group.wait(30)
    await asyncio.sleep(0.01)
    assert (group.worst, has(own, "program.break_away")) == (Ended.VERIFIED, False)
    assert (await press(own, "program = wide at video, program = host at sound")).worst is Ended.VERIFIED
    assert (has(own, "program.shows"), has(own, "program.sound.shows")) == ("wide", "host")


@virtual
async def test_a_destination_of_one_level_gets_that_one() -> None:
    own = made()
    assert (await press(own, "director = wide")).worst is Ended.VERIFIED
    assert own.boxes["hall-sound"].sent == []
    assert (await press(own, "foyer = wide")).worst is Ended.VERIFIED
    assert has(own, "foyer.sound.shows") == "wide"
    assert "foyer.shows" not in own.board.points("paths")
    assert "foyer.break_away" not in own.board.points("paths")


@virtual
async def test_what_a_source_does_not_have_stays_and_is_said_beforehand() -> None:
    own = made()
    await press(own, "program = wide")
    plan = await planned(own, "program = titles")
    assert [(row.level, bool(row.hops)) for row in plan.rows] == [("video", True)]
    assert plan.notes == ("titles has no sound: program keeps the sound it has.",)
    assert (await press(own, plan.plain()["routes"])).worst is Ended.VERIFIED
    assert (has(own, "program.sound.shows"), has(own, "program.break_away")) == ("wide", True)


@virtual
async def test_a_tie_line_that_carries_pictures_alone_is_no_way_for_sound() -> None:
    own = made()
    assert (await press(own, "program = wide")).worst is Ended.VERIFIED
    sent = {name: len(own.boxes[name].sent) for name in ("hall", "gallery")}
    with pytest.raises(RefusedError) as no:
        await press(own, "mix-rec = hands")
    assert str(no.value) == (
        "No tie-line is free to bring hands to mix-rec sound: hall-sound 15 to gallery-sound 1 is held by program "
        "sound (wide)."
    )
    assert sent == {name: len(own.boxes[name].sent) for name in sent}, "no picture goes alone"
    plan = await planned(own, "mix-rec = hands")
    assert [(row.place, bool(row.hops)) for row in plan.rows] == [("mix-rec", True), ("mix-rec sound", False)]
    assert plan.rows[1].why == str(no.value).replace("is free", "is left")
    assert (await press(own, "mix-rec = hands at video")).worst is Ended.VERIFIED


@virtual
async def test_a_set_up_can_want_a_picture_and_another_sound() -> None:
    own = made()
    wants = {"program.shows": "hands", "program.sound.shows": "host"}
    for point, value in wants.items():
        group = await own.submit(Wish(INES, "test", "paths", "set", {"point": point, "value": value}))
        assert await group.wait(30)
        assert group.worst is Ended.VERIFIED
    await asyncio.sleep(0.01)
    assert {point: has(own, point) for point in wants} == wants


@virtual
@pytest.mark.parametrize(
    ("routes", "code", "said"),
    [
        ("director = wide at sound", "point", "director has no sound. It has video."),
        ("program = titles at sound", "value", "titles has no sound. It has video."),
        ("director = host", "value", "host has sound alone, and director video. Name a source that has it."),
        ("program = wide at smell", "point", "program has no smell. It has video and sound."),
        ("program = wide, program = host at sound", "argument", "program sound is named twice. A destination shows"),
        ("program = hall-sound input 9 at video", "value", "hall-sound input 9 has no video. It has sound."),
        ("program = wide over hall 15", "argument", "program = wide over hall 15 names tie-lines, but no level."),
    ],
)
async def test_what_can_not_be_meant_is_said_with_its_remedy(routes: str, code: str, said: str) -> None:
    own = made()
    with pytest.raises(RefusedError) as no:
        await press(own, routes)
    assert (no.value.code, f"{no.value} {no.value.remedy}"[: len(said)]) == (code, said)


@pytest.mark.parametrize(
    ("destination", "source", "level"),
    [
        ("program", "wide, mix-rec = hands", ""),
        ("program = wide, mix-rec", "hands", ""),
        ("program", "wide", "a, b = c"),
        ("program", "wide over hall 15", ""),
        ("program", "wide at sound", ""),
        ("program", "wide", "video over hall 15"),
    ],
)
def test_one_route_of_an_inlet_is_one_route(destination: str, source: str, level: str) -> None:
    """Else a sender that may set one destination sets another."""
    with pytest.raises(RefusedError) as no:
        one_route(destination, source, level)
    assert no.value.code == "argument"
    assert one_route("program", "hall input 7", "video") == "program = hall input 7 at video"


@virtual
async def test_an_input_that_has_no_name_is_of_its_routers_level() -> None:
    own = made()
    assert (await press(own, "program = hall-sound input 9")).worst is Ended.VERIFIED
    assert has(own, "program.sound.shows") == "hall-sound input 9"
    assert own.boxes["hall"].sent == []


# --- held against networkx


def drawn(seed: int) -> tuple[Pictures, dict[str, Any]]:
    """A plant of five routers at each of two levels, with cables of its own; and its graph at each level."""
    chance = random.Random(seed)
    names = [f"r{number}" for number in range(5)]
    ties: list[TieLine] = []
    graphs = {"video": nx.DiGraph(), "sound": nx.DiGraph()}
    for level, graph in graphs.items():
        end = "" if level == "video" else "-sound"
        graph.add_nodes_from(names)
        for number, (start, to) in enumerate(product(names, names)):
            room = chance.choice((0, 0, 0, 1, 1, 2)) if start != to else 0
            numbers = range(100 + 2 * number, 100 + 2 * number + room)
            ties.extend(TieLine(start + end, one, to + end, one) for one in numbers)
            if room:
                graph.add_edge(start, to, capacity=room)
    sources = {f"s{number}": ("r0", number + 1) for number in range(6)}
    destinations = {f"d{number}": ("r1", number + 1) for number in range(6)}
    ends = [
        {name: ("r" + at[1:] + "-sound", one) for name, (at, one) in some.items()} for some in (sources, destinations)
    ]
    level = Level(tuple(f"{name}-sound" for name in names), *ends)
    return Pictures(sources, destinations, tuple(ties), levels={"sound": level}), graphs


@pytest.mark.parametrize("seed", range(15))
@virtual
async def test_each_level_takes_a_shortest_way_and_as_many_pass_as_the_maximum_flow_of_it(seed: int) -> None:
    pictures, graphs = drawn(seed)
    own = made(pictures)
    alone = await planned(own, "d0 = s0")
    assert [row.level for row in alone.rows] == ["video", "sound"]
    for row in alone.rows:
        graph = graphs[row.level]
        if nx.has_path(graph, "r0", "r1"):
            assert len(row.hops) - 1 == nx.shortest_path_length(graph, "r0", "r1")
        else:
            assert (row.hops, row.why[:11]) == ((), "No tie-line")
    plan = await planned(own, ", ".join(f"d{number} = s{number}" for number in range(6)))
    for level, graph in graphs.items():
        served = [row for row in plan.rows if row.level == level and row.hops]
        assert len(served) == min(6, nx.maximum_flow_value(graph, "r0", "r1"))
    used = [(hop.router, hop.output) for row in plan.rows for hop in row.hops]
    assert len(used) == len(set(used)), "no cable carries two"
    if plan.served:
        group = await press(own, plan.plain()["routes"])
        assert group.worst is Ended.VERIFIED
        assert [has(own, f"{row.place.replace(' ', '.')}.shows") for row in plan.rows if row.hops] == [
            row.source for row in plan.rows if row.hops
        ]
