"""Does a destination show what its paths say, and get there without harming another's picture?"""

import asyncio
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.model.board import Board
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import SHOWS, WAY
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import house

INES = Person("ines", Role.OPERATOR)


def hall() -> House:
    return house(VirtualClock(asyncio.get_running_loop()))


async def shows(own: House, destination: str, source: str) -> Group:
    wish = Wish(INES, "test", "paths", "set", {"point": f"{destination}.shows", "value": source})
    group = await own.submit(wish)
    assert await group.wait(30)
    return group


def seen(board: Board, destination: str) -> Any:
    reading = board.get("paths", SHOWS.at(destination))
    return reading.value if reading.quality is Quality.GOOD else reading.quality


async def turn() -> None:
    """Let the loop go round until what was told is computed."""
    await asyncio.sleep(0.01)


@virtual
async def test_program_gets_a_hall_camera_through_a_tie_line_and_the_way_is_told() -> None:
    own = hall()
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(2), 3)
    group = await shows(own, "program", "wide")
    assert (group.worst, group.count) == (Ended.VERIFIED, "3 of 3")
    assert [command.ask.target for command in group.commands] == ["paths", "hall", "gallery"]
    assert seen(own.board, "program") == "wide"
    assert own.board.get("paths", WAY.at("program")).value == (
        "wide, hall input 4 > hall output 15 > gallery input 1 > gallery output 1"
    )


@virtual
async def test_a_route_that_is_right_already_is_looked_at_and_nothing_is_sent() -> None:
    own = hall()
    group = await shows(own, "iso-1", "stage-left")
    assert group.worst is Ended.VERIFIED
    assert own.boxes["hall"].sent == []


@virtual
async def test_a_tie_line_that_carries_the_same_picture_is_shared() -> None:
    own = hall()
    assert (await shows(own, "mix-rec", "titles")).worst is Ended.VERIFIED
    own.boxes["hall"].has(OUTPUT_SOURCE.at(16), 9)
    assert (await shows(own, "program", "wide")).worst is Ended.VERIFIED
    assert (await shows(own, "mix-rec", "wide")).worst is Ended.VERIFIED
    assert own.board.get("paths", WAY.at("mix-rec")).value.endswith("gallery input 1 > gallery output 2")
    assert seen(own.board, "program") == "wide"


@virtual
async def test_no_free_tie_line_is_refused_and_says_who_holds_them() -> None:
    own = hall()
    await shows(own, "director", "titles")
    await shows(own, "program", "wide")
    await shows(own, "mix-rec", "hands")
    sent = len(own.boxes["hall"].sent), len(own.boxes["gallery"].sent)
    with pytest.raises(RefusedError) as no:
        await shows(own, "director", "stage-left")
    assert str(no.value) == (
        "No tie-line is free to bring stage-left to director: hall 15 to gallery 1 is held by program (wide), "
        "hall 16 to gallery 2 is held by mix-rec (hands)."
    )
    # program is on air, and would rather keep what it shows
    assert no.value.remedy == "Give mix-rec a source that needs no tie-line first: stagectl route mix-rec titles"
    assert (len(own.boxes["hall"].sent), len(own.boxes["gallery"].sent)) == sent


@virtual
async def test_two_asks_at_once_do_not_plan_with_the_same_tie_line() -> None:
    own = hall()
    for destination in ("program", "mix-rec", "director"):
        await shows(own, destination, "titles")
    first = await own.submit(Wish(INES, "test", "paths", "set", {"point": "program.shows", "value": "wide"}))
    second = await own.submit(Wish(INES, "test", "paths", "set", {"point": "mix-rec.shows", "value": "hands"}))
    assert await first.wait(30)
    assert await second.wait(30)
    assert (first.worst, second.worst) == (Ended.VERIFIED, Ended.VERIFIED)
    assert (seen(own.board, "program"), seen(own.board, "mix-rec")) == ("wide", "hands")


@virtual
async def test_a_route_changed_at_the_router_is_seen_and_an_unnamed_input_is_told_by_its_number() -> None:
    own = hall()
    await turn()
    assert seen(own.board, "iso-1") == "stage-left"
    own.boxes["hall"].has(OUTPUT_SOURCE.at(1), 7)
    await turn()
    assert seen(own.board, "iso-1") == "hall input 7"
    assert own.board.get("paths", WAY.at("iso-1")).value == "hall input 7 > hall output 1"


@virtual
async def test_an_unnamed_input_can_be_given_back() -> None:
    own = hall()
    assert (await shows(own, "iso-1", "hall input 7")).worst is Ended.VERIFIED
    assert seen(own.board, "iso-1") == "hall input 7"


@virtual
async def test_what_a_destination_shows_is_as_old_and_as_doubtful_as_its_worst_crosspoint() -> None:
    own = hall()
    await shows(own, "program", "wide")
    own.boxes["hall"].writer.lost()
    await turn()
    reading = own.board.get("paths", SHOWS.at("program"))
    assert (reading.quality, reading.value) == (Quality.STALE, "wide")
    assert seen(own.board, "iso-1") is Quality.STALE
    ages = [
        own.board.reading(router, OUTPUT_SOURCE.at(output)).asked_at
        for router, output in (("hall", 15), ("gallery", 1))
    ]
    own.boxes["hall"].has(OUTPUT_SOURCE.at(15), 4)
    await turn()
    assert reading.quality is Quality.GOOD
    assert reading.asked_at == ages[1] > ages[0]


@virtual
async def test_a_router_that_says_ok_and_does_nothing_is_not_believed() -> None:
    own = hall()
    own.boxes["gallery"].deaf = True
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(1), 8)
    group = await shows(own, "program", "wide")
    assert (group.worst, group.count) == (Ended.FAILED, "1 of 3")
    assert seen(own.board, "program") == "titles"


@pytest.mark.parametrize(
    ("destination", "source", "says", "remedy"),
    [
        ("progam", "wide", 'paths has no point "progam.shows".', "Perhaps you mean program.shows."),
        ("program", "wde", 'There is no picture source "wde".', "Perhaps you mean wide."),
    ],
)
def test_a_slip_of_the_pen_is_refused_with_what_was_meant(
    destination: str, source: str, says: str, remedy: str
) -> None:
    @virtual
    async def story() -> None:
        with pytest.raises(RefusedError) as no:
            await shows(hall(), destination, source)
        assert (str(no.value), no.value.remedy) == (says, remedy)

    story()


@virtual
async def test_a_tie_line_that_is_being_left_is_not_free_before_it_is_seen_to_be_left() -> None:
    own = hall()
    await shows(own, "director", "titles")
    await shows(own, "program", "wide")
    await shows(own, "mix-rec", "hands")
    own.boxes["gallery"].deaf = True
    leaving = await own.submit(Wish(INES, "test", "paths", "set", {"point": "mix-rec.shows", "value": "titles"}))
    with pytest.raises(RefusedError, match="hall 16 to gallery 2 is held by mix-rec"):
        await shows(own, "director", "stage-left")
    assert await leaving.wait(30)
    assert seen(own.board, "mix-rec") == "hands"
