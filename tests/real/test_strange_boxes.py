"""What if something else answers at a recorder's address, or nobody knows where that is? Real sockets and processes."""

import random
import re
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.real import host, story, strange
from tests.real.room import Room
from tests.stories.studio import until

pytestmark = pytest.mark.timeout(150)
SICK = "iso-1"
HEALTHY = ("iso-2", "iso-3", "hall")


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with Room(tmp_path, 3, wired=[SICK]) as made:
        made.start()
        yield made


def memory_kb(pid: int) -> int:
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    assert found is not None
    return int(found[1])


def comes_back(room: Room) -> None:
    """Its own address answers again: all roll on, and a cut ends them."""
    room.wires[SICK].redirect(room.addresses[SICK])
    story.healed(room)
    for deck in room.decks:
        story.untouched(room, deck)
    status, ended = room.post("cut", {"take": 1})
    assert (status, ended["ended"]) == (200, "verified"), ended


@pytest.mark.parametrize(
    "serve",
    [
        pytest.param(strange.a_line_without_end, id="N11 a megabyte without a line end"),
        pytest.param(strange.a_reply_without_end, id="N09 a reply that never ends"),
    ],
)
def test_what_never_ends_is_cut_off_and_costs_nothing(room: Room, serve: Callable[[socket.socket], None]) -> None:
    story.roll(room)
    room.clear_wires()
    before = memory_kb(room.daemon_pid)
    with strange.listening(serve) as address:
        room.wires[SICK].redirect(address)
        until(lambda: room.device(SICK)["counts"]["losses"] >= 2, 30, "it is let go, and let go again")
        story.stale(room, SICK)
        story.others_obey(room)
        story.well(room, *HEALTHY)
    assert memory_kb(room.daemon_pid) - before < 4_000  # kB; the bar is 1 MB a frame, the rest is the house at work
    comes_back(room)


def test_n12_a_flood_of_notices_holds_up_no_roll_and_spoils_no_take(room: Room) -> None:
    story.roll(room)
    room.clear_wires()
    before = memory_kb(room.daemon_pid)
    with strange.a_flood() as address:
        room.wires[SICK].redirect(address)
        until(lambda: room.device(SICK)["counts"]["events"] > 5000, 20, "it floods")
        story.others_obey(room)
        status, ended = room.post("cut", {"take": 1, "on": ["iso-2", "iso-3"]})
        assert status == 200
        assert {box["device"]: box["ended"] for box in ended["boxes"]} == {"iso-2": "verified", "iso-3": "verified"}
        until(lambda: SICK in room.wrong(), 20, "an alarm names it")
        story.well(room, *HEALTHY)
    assert memory_kb(room.daemon_pid) - before < 10_000
    room.wires[SICK].redirect(room.addresses[SICK])
    story.healed(room)
    story.untouched(room, SICK)


def test_n08_links_that_clog_one_by_one_and_heal_in_any_order_lose_nothing(tmp_path: Path) -> None:
    chance = random.Random(8)
    decks = [f"iso-{number}" for number in range(1, 7)]
    with Room(tmp_path, 6, wired=decks) as room:
        room.start()
        story.roll(room)
        room.clear_wires()
        for _ in range(2):
            for deck in chance.sample(decks, len(decks)):
                room.wires[deck].half_open()
                time.sleep(chance.uniform(0.0, 0.6))
            for deck in chance.sample(decks, len(decks)):
                room.wires[deck].heal()
                time.sleep(chance.uniform(0.0, 0.6))
                for each in decks:
                    story.never_wrong(room, each)
        story.healed(room)
        for deck in decks:
            story.untouched(room, deck)
        status, ended = room.post("cut", {"take": 1})
        assert (status, ended["ended"]) == (200, "verified"), ended
        story.bounded(room, 1)


def test_n18_a_recorder_that_talks_to_somebody_else_is_left_to_them(tmp_path: Path) -> None:
    with Room(tmp_path, 3, options={SICK: {"max_clients": 1}}) as room:
        with socket.create_connection(room.addresses[SICK], 5) as other:
            assert other.recv(4096)
            room.start(absent=[SICK])
            answer = story.roll(room, but=[SICK])
            assert answer["count"] == "2 of 3"
            sick = next(box for box in answer["boxes"] if box["device"] == SICK)
            assert (sick["ended"], sick["refused"]) == ("failed", True)
            assert room.acts(SICK) == []
            assert not room.device(SICK)["adopted"]
            assert room.device(SICK)["why"]
        until(lambda: room.device(SICK)["adopted"], story.HEALED_S, "it is free, and adopted")


@pytest.fixture
def swapped(tmp_path: Path) -> Iterator[Room]:
    """A room where iso-2 answers at the address of iso-1, whose serial number the site knows."""
    options = {deck: {"unique_id": f"00000000000{number}"} for number, deck in enumerate(("iso-1", "iso-2"), 1)}
    with Room(tmp_path, 3, wired=[SICK], options=options) as room:
        text = room.site.read_text()
        room.site.write_text(text.replace("called: Rec 1}", 'called: Rec 1, serial: "000000000001"}'))
        room.start()
        room.clear_wires()
        room.wires[SICK].redirect(room.addresses["iso-2"])
        until(lambda: "another box" in str(room.device(SICK)["why"]), 15, "it is known for another one")
        yield room


def test_n19_another_recorder_at_the_address_is_never_driven(swapped: Room) -> None:
    room = swapped
    answer = story.roll(room, but=[SICK])
    assert answer["count"] == "2 of 3"
    assert (room.rolls_of(SICK), room.rolls_of("iso-2")) == (0, 1), "it rolled for itself alone"
    assert len(room.acts("iso-2")) == 1
    assert room.acts(SICK) == []
    until(lambda: "another box" in room.wrong(), 10, "an alarm says so")
    ended = room.post("cut", {"take": 1, "on": ["iso-2", "iso-3"]})[1]
    assert {box["device"]: box["ended"] for box in ended["boxes"]} == {"iso-2": "verified", "iso-3": "verified"}
    room.wires[SICK].redirect(room.addresses[SICK])
    story.healed(room)


def test_n19_what_another_recorder_says_is_not_taken_for_its_own(swapped: Room) -> None:
    room = swapped
    story.roll(room, but=[SICK])
    until(lambda: len(room.get("takes/1")["lanes"]) >= 2, 10, "the take has its lanes")
    time.sleep(2.5)  # two looks: what is claimed is that nothing more comes
    assert sorted(lane["device"] for lane in room.get("takes/1")["lanes"]) == ["iso-2", "iso-3"]


NAMED = "iso-3"


@pytest.fixture
def named(tmp_path: Path) -> Iterator[tuple[Room, strange.NameServer]]:
    """A room where the site knows one recorder by name alone, and a name server that answers nobody yet."""
    server = strange.NameServer("127.0.53.53")
    server.start()
    try:
        with Room(tmp_path, 3, wired=[NAMED]) as room:
            names = tmp_path / "resolv.conf"
            names.write_text("nameserver 127.0.53.53\noptions timeout:5 attempts:3\n")
            room.write_site({NAMED: ("rec-3.tidewater.test", room.wires[NAMED].address[1])})
            bind = f'mount --bind {names} /etc/resolv.conf && exec "$@"'
            room.launch(*host.own_mounts(), "/bin/sh", "-c", bind, "daemon")
            room.until_ready()
            room.until_adopted(absent=[NAMED])
            yield room, server
    finally:
        server.close()


def test_n21_a_name_that_nobody_resolves_or_that_moves_holds_up_nobody_and_is_tried_again(
    named: tuple[Room, strange.NameServer],
) -> None:
    room, server = named
    assert server.asked.wait(15), "the name was looked for"
    answer = story.roll(room, but=[NAMED])
    assert answer["count"] == "2 of 3"
    story.others_obey(room)
    story.well(room, "iso-1", "iso-2", "hall")
    server.silent = False
    until(lambda: room.device(NAMED)["adopted"], 40, "the name is known, and its recorder adopted")

    room.post("cut", {"take": 1})
    story.roll(room)
    room.clear_wires()
    server.address = "127.0.0.2"
    room.wires[NAMED].move(server.address)
    until(lambda: not room.device(NAMED)["up"], 15, "it is not where it was")
    story.others_obey(room)
    story.healed(room)
    for deck in room.decks:
        truth = room.truth(deck)
        assert (truth["transport"], room.acts(deck)) == ("record", []), deck
    status, ended = room.post("cut", {"take": 2})
    assert (status, ended["count"]) == (200, "3 of 3"), "it is driven at its new address"
