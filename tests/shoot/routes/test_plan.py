"""Is what is planned true of the hall, and does the press do what the plan said?"""

import asyncio
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from stagectl.control.access import Lock, Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.router import OUTPUT_LOCK, OUTPUT_SOURCE
from stagectl.model.capabilities.router import Lock as Held
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended, Set
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import SHOWS, Paths
from stagectl.shoot.routes.plan import Guards, Plan, Planner
from stagectl.shoot.routes.words import Route, read_routes
from stagectl.site import Pictures, PlaybackEntry, TieLine
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import DESTINATIONS, SOURCES, TIES, house, site

INES = Person("ines", Role.OPERATOR)


class Here:
    """Fulfils `Offload` without a thread."""

    async def run(self, name: str, do: Any, *args: Any) -> Any:
        await asyncio.sleep(0)
        return do(*args)


def hall(pictures: Pictures | None = None, playback: Mapping[str, PlaybackEntry] = MappingProxyType({})) -> House:
    """The hall with no picture on its tie-lines: all of the gallery shows the titles."""
    plain = site()
    own = house(
        VirtualClock(asyncio.get_running_loop()), replace(plain, pictures=pictures or plain.pictures, playback=playback)
    )
    for output in range(1, 9):
        own.boxes["gallery"].has(OUTPUT_SOURCE.at(output), 8)
    for output in (15, 16):
        own.boxes["hall"].has(OUTPUT_SOURCE.at(output), 9)
    return own


def paths(own: House) -> Paths:
    part = own.parts["paths"]
    assert isinstance(part, Paths)
    return part


async def planned(own: House, routes: str, person: Person = INES) -> Plan:
    planner = Planner(own.board, paths(own), Here())
    return await planner.plan(read_routes(routes), Guards(person, own.commands.locks, own.commands.limits))


async def press(own: House, routes: str | list[str]) -> Group:
    group = await own.submit(Wish(INES, "test", "paths", "route", {"routes": routes}))
    assert await group.wait(30)
    return group


def shown(own: House) -> dict[str, Any]:
    return {name: own.board.get("paths", SHOWS.at(name)).value for name in own.site.pictures.destinations}


@virtual
async def test_two_hall_cameras_go_to_the_gallery_over_two_tie_lines_in_one_block_a_router() -> None:
    own = hall()
    plan = await planned(own, "program = stage-right, director = hands")
    assert (plan.say(), plan.exact) == ("2 of 2 find a way, 2 of them new.", True)
    group = await press(own, plan.plain()["routes"])
    assert group.worst is Ended.VERIFIED, group.verdicts
    await asyncio.sleep(0.01)
    assert (shown(own)["program"], shown(own)["director"]) == ("stage-right", "hands")
    assert [verb.point.name for verb in own.boxes["hall"].sent] == ["output.15.source", "output.16.source"]


@virtual
async def test_the_destination_switches_when_what_leads_to_it_is_seen_to_be_made() -> None:
    own = hall()
    own.boxes["hall"].deaf = True
    await asyncio.sleep(0.01)
    before = shown(own)
    group = await press(own, "director = hands over hall 16")
    assert group.worst is Ended.FAILED
    assert own.boxes["gallery"].sent == []  # its own picture is not given up for one that does not come
    assert shown(own) == before


@virtual
async def test_the_one_too_many_is_told_who_holds_the_tie_lines() -> None:
    own = hall()
    assert (await press(own, "program = wide, mix-rec = hands")).worst is Ended.VERIFIED
    await asyncio.sleep(0.01)
    plan = await planned(own, "director = stage-left")
    (row,) = plan.rows
    assert row.why == (
        "No tie-line is left to bring stage-left to director: hall 15 to gallery 1 is held by program (wide), "
        "hall 16 to gallery 2 is held by mix-rec (hands)."
    )
    assert (await press(own, "program = titles")).worst is Ended.VERIFIED
    await asyncio.sleep(0.01)
    again = await planned(own, "director = stage-left")
    assert again.served == 1
    assert (await press(own, again.plain()["routes"])).worst is Ended.VERIFIED


@virtual
async def test_who_asks_is_no_holder_in_its_own_way() -> None:
    own = hall()
    for routes in ("mix-rec = hands, director = wide", "program = hands"):
        assert (await press(own, routes)).worst is Ended.VERIFIED
    await asyncio.sleep(0.01)
    (row,) = (await planned(own, "program = stage-left")).rows
    assert row.why.endswith(
        "hall 15 to gallery 1 is held by mix-rec (hands), hall 16 to gallery 2 is held by director (wide)."
    )
    assert row.remedy == "Give mix-rec a source that needs no tie-line first: stagectl route mix-rec titles"


@pytest.mark.parametrize(
    ("plays", "on_air", "remedy"),
    [
        ("", ("program",), "Give mix-rec a source that needs no tie-line first: stagectl route mix-rec titles"),
        (
            "titles",
            ("program",),
            "Give one of them another source first.",
        ),  # what a recorder plays is no picture to keep
        ("", ("program", "mix-rec"), "Give one of them another source first."),
    ],
)
@virtual
async def test_nobody_is_told_to_leave_the_air_or_to_show_a_playback(
    plays: str, on_air: tuple[str, ...], remedy: str
) -> None:
    plain = site()
    own = hall(replace(plain.pictures, on_air=on_air), {"iso-1": PlaybackEntry("iso-1", plays, "", 1)})
    assert (await press(own, "program = wide, mix-rec = hands")).worst is Ended.VERIFIED
    await asyncio.sleep(0.01)
    (row,) = (await planned(own, "director = stage-left")).rows
    assert row.remedy == remedy


@virtual
async def test_a_picture_that_is_in_the_gallery_already_needs_no_tie_line() -> None:
    own = hall()
    await press(own, "program = wide, mix-rec = hands")
    await asyncio.sleep(0.01)
    plan = await planned(own, "director = wide")
    assert [hop.router for hop in plan.rows[0].hops] == ["hall", "gallery"]
    assert plan.rows[0].hops[0].output == 15
    group = await press(own, plan.plain()["routes"])
    assert group.worst is Ended.VERIFIED
    assert sum(isinstance(verb, Set) and verb.point.name == "output.15.source" for verb in own.boxes["hall"].sent) == 1


@virtual
async def test_who_is_not_served_keeps_its_tie_line() -> None:
    own = hall()
    await press(own, "program = wide, mix-rec = hands")
    await asyncio.sleep(0.01)
    plan = await planned(own, "program = stage-left, mix-rec = stage-right, director = iso-1")
    assert plan.served == 2
    lost = next(row for row in plan.rows if row.why)
    kept = shown(own)[lost.destination]
    group = await press(own, plan.plain()["routes"])
    assert group.worst is Ended.VERIFIED, group.verdicts
    await asyncio.sleep(0.01)
    if lost.destination != "director":
        assert shown(own)[lost.destination] == kept


@virtual
async def test_who_can_not_be_served_keeps_what_it_holds_and_others_are_told_so() -> None:
    own = hall(Pictures(SOURCES, DESTINATIONS, TIES, gives={"hands": "720p50"}, takes={"program": ("1080p25",)}))
    await press(own, "program = wide, mix-rec = stage-right")
    await asyncio.sleep(0.01)
    plan = await planned(own, "program = hands, director = stage-left")
    assert plan.served == 0
    assert "hall 15 to gallery 1 is held by program (wide)" in plan.rows[1].why


@virtual
async def test_a_cable_goes_before_a_processor_that_costs_time() -> None:
    slow = TieLine("hall", 14, "gallery", 4, 3, (), "", (), "Frame store")
    own = hall(Pictures(SOURCES, DESTINATIONS, (slow, *TIES)))
    assert (await planned(own, "director = wide")).rows[0].hops[0].output == 15
    live = await own.submit(Wish(INES, "test", "paths", "set", {"point": "director.shows", "value": "wide"}))
    assert await live.wait(30)
    assert [command.ask.verb.point.name for command in live.commands if command.ask.target == "hall"] == [
        "output.15.source"
    ]


@virtual
async def test_a_tie_line_changes_hands_only_when_the_one_before_has_left_it() -> None:
    own = hall()
    await press(own, "program = wide, mix-rec = hands")
    await asyncio.sleep(0.01)
    plan = await planned(own, "mix-rec = titles, director = stage-left")
    assert plan.served == 2
    seen: list[tuple[str, Any]] = []
    reading = own.board.get("paths", SHOWS.at("mix-rec"))
    group = await own.submit(Wish(INES, "test", "paths", "route", {"routes": plan.plain()["routes"]}))
    while not group.ended:
        seen.append(("mix-rec", reading.value))
        await asyncio.sleep(0.001)
    assert group.worst is Ended.VERIFIED
    assert "stage-left" not in [value for _, value in seen]  # never somebody else's picture in between
    left, taken = own.boxes["gallery"], own.boxes["hall"]
    assert left.sent[-2].point.name == "output.2.source"  # mix-rec leaves the tie-line, and only then it is switched
    assert taken.left_at[-1] > left.left_at[-2]


@virtual
async def test_a_protected_destination_says_whose_it_is_and_why() -> None:
    own = hall()
    own.commands.locks.append(Lock(frozenset({("gallery", "output.1.source")}), "the audience sees it", by="tomas"))
    plan = await planned(own, "program = wide, director = hands")
    assert [bool(row.why) for row in plan.rows] == [True, False]
    assert plan.rows[0].why == (
        "gallery output 1 source is protected by tomas: the audience sees it; nobody may lift it."
    )


@virtual
async def test_an_output_that_another_panel_locked_is_left_alone() -> None:
    own = hall()
    own.boxes["hall"].has(OUTPUT_LOCK.at(15), Held.THEIRS)
    own.boxes["hall"].has(OUTPUT_LOCK.at(1), Held.THEIRS)
    plan = await planned(own, "program = wide, iso-1 = hands")
    assert plan.rows[1].why == "hall output 1 is locked at the router by another panel."
    assert plan.rows[0].hops[0].output == 16


@virtual
async def test_a_plan_that_has_grown_old_is_refused_and_sends_nothing() -> None:
    own = hall()
    plan = await planned(own, "director = hands")
    over = plan.rows[0].hops[0].output
    await press(own, f"program = wide over hall {over}")
    await asyncio.sleep(0.01)
    sent = len(own.boxes["gallery"].sent)
    with pytest.raises(RefusedError, match=f"hall {over} is held by program by now"):
        await press(own, plan.plain()["routes"])
    assert len(own.boxes["gallery"].sent) == sent


@virtual
async def test_a_format_that_does_not_serve_goes_through_the_frame_store_and_costs_its_frames() -> None:
    store = TieLine("hall", 12, "hall", 12, 2, ("1080i50",), "1080p25", (), "Frame store")
    own = hall(
        Pictures(
            SOURCES,
            DESTINATIONS,
            (*TIES, store),
            ("program",),
            {"hands": "1080i50", "wide": "720p50"},
            {"program": ("1080p25",), "iso-2": ("1080p25",)},
        )
    )
    plan = await planned(own, "program = hands, iso-2 = wide")
    assert [hop.output for hop in plan.rows[0].hops] == [12, 15, 1]
    assert plan.rows[0].delay == 2
    assert plan.rows[1].why == "No tie-line that may be used leads from wide to iso-2."
    live = await own.submit(Wish(INES, "test", "paths", "set", {"point": "program.shows", "value": "hands"}))
    assert await live.wait(30)
    assert [command.ask.target for command in live.commands] == ["paths", "hall", "hall", "gallery"]
    with pytest.raises(RefusedError, match="No way from wide to iso-2 takes 720p50"):
        await own.submit(Wish(INES, "test", "paths", "set", {"point": "iso-2.shows", "value": "wide"}))


@virtual
async def test_a_tie_line_that_is_kept_for_the_program_is_given_to_nobody_else() -> None:
    kept = (replace(TIES[0], kept_for=("program",)), replace(TIES[1], kept_for=("program",)), TIES[2])
    own = hall(Pictures(SOURCES, DESTINATIONS, kept))
    assert (await planned(own, "program = wide")).served == 1
    assert (await planned(own, "director = wide")).served == 0
    with pytest.raises(RefusedError, match="hall 15 to gallery 1 is kept for program"):
        await own.submit(Wish(INES, "test", "paths", "set", {"point": "director.shows", "value": "wide"}))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "No route is named."),
        ("program wide", '"program wide" is no route.'),
        ("program = wide, program = hands", "program is named twice."),
        ("program = wide over hall", '"hall" is no output of a router.'),
        (", ".join(f"d{number} = wide" for number in range(257)), "These are more than 256 routes."),
    ],
)
def test_a_route_that_cant_be_read_is_told(text: str, said: str) -> None:
    with pytest.raises(RefusedError) as no:
        read_routes(text)
    assert str(no.value) == said


def test_a_route_is_written_as_it_is_read() -> None:
    routes = (Route("program", "wide", (("hall", 15), ("foyer", 8))), Route("bench", "hall input 7"))
    assert read_routes(", ".join(route.say() for route in routes)) == routes
