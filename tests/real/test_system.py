"""What happens to a take when the machine is the one that fails? Real processes; ids of docs/faults.md in the names."""

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from tests.real import host, plugin, story
from tests.real.room import PYTHON, Room, dead_port
from tests.stories.studio import until

pytestmark = pytest.mark.timeout(150)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with Room(tmp_path, 3) as made:
        yield made


def rolls_on(room: Room) -> None:
    """All roll on untouched, are shown so, and a cut ends them."""
    story.healed(room)
    for deck in room.decks:
        story.untouched(room, deck)
    cut_well(room)


def cut_well(room: Room, take: int = 1) -> None:
    status, ended = room.post("cut", {"take": take})
    assert (status, ended["ended"]) == (200, "verified"), ended
    assert room.rolling() == []


def verified(folder: Path) -> None:
    """The journal is whole, by the tool that people have for it."""
    told = subprocess.run(
        [PYTHON, "-m", "stagectl", "journal", "verify", str(folder)], capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stdout + told.stderr


def trouble(room: Room) -> str:
    """What the daemon says is wrong with itself; empty: it is well."""
    status, answer = room.ask("GET", "/readyz")
    return "" if status == 200 else str(answer["detail"])


# -- processes --------------------------------------------------------------------------------------------------------


def test_p04_a_pause_shows_nothing_old_as_new_and_sends_nothing_late(room: Room) -> None:
    room.start()
    story.roll(room)
    room.clear_wires()
    held: dict[str, Any] = {}

    def press() -> None:
        wish = {"target": "hall", "verb": "set", "args": {"point": "output 2 source", "value": 2}}
        held["answer"] = room.ask("POST", "/api/v1/commands?wait=verdict", wish)

    with host.paused(room.daemon_pid):
        pressed = threading.Thread(target=press)
        pressed.start()
        room.hand("iso-2", "stop")
        time.sleep(6.0)  # longer than anything may be shown without saying that it is old
    end = time.monotonic() + 4
    while time.monotonic() < end:
        shown = room.point("iso-2", "transport")
        assert shown["quality"] != "good" or shown["value"] != "recording", shown
    pressed.join(10)
    status, answer = held["answer"]
    assert status == 409, answer
    assert "stood still" in answer["detail"], "what was asked six seconds ago is not carried out now"
    assert not any("VIDEO OUTPUT ROUTING:\\n1" in text for text in room.heard("hall"))
    until(lambda: sorted(room.get("takes/1")["rolling"]) == ["iso-1", "iso-3"], story.SHOWN_S, "who rolls is known")
    assert all(room.acts(deck) == [] for deck in room.decks)
    assert [(room.rolls_of(deck), room.ends_of(deck)) for deck in room.decks] == [(1, 0), (1, 1), (1, 0)]
    cut_well(room)


def test_p04_what_waited_for_its_box_when_the_machine_stood_still_never_leaves(tmp_path: Path) -> None:
    """Decision 7: nothing leaves after its verdict; and what could not leave in its time does not leave late."""
    with Room(tmp_path, 1, wired=["hall"]) as room:
        room.start()
        wire = room.wires["hall"]
        wire.hold(True, out=False)  # it hears and obeys, but its answers are under way
        asked = len(room.heard("hall"))
        until(lambda: len(room.heard("hall")) > asked, 10, "a question is open, so what is asked now waits in line")
        room.clear_wires()
        wish = {"target": "hall", "verb": "set", "args": {"point": "output 2 source", "value": 5}}
        status, told = room.ask("POST", "/api/v1/commands", wish)
        with host.paused(room.daemon_pid):
            assert (status, told["ended"]) == (202, None), told
            wire.hold(False, out=False)
            time.sleep(1.5)  # a route has a second
        until(lambda: room.get(f"commands/{told['id']}")["ended"], 10, "it has its verdict")
        (box,) = room.get(f"commands/{told['id']}")["boxes"]
        assert (box["ended"], box["code"], box["refused"]) == ("failed", "late", True), box
        story.well(room, "hall")
        assert [text for text in room.heard("hall") if "ROUTING:\\n1 4" in text] == []
        until(lambda: story.obeys(room), 10, "what is asked now is carried out")


def test_p13_a_second_daemon_on_the_same_folder_does_not_start_and_touches_nothing(room: Room) -> None:
    room.start()
    story.roll(room)
    room.clear_wires()
    second = subprocess.run(
        [PYTHON, "-m", "stagectl", "serve", str(room.site), "--http", "127.0.0.1:0", "--data", str(room.data)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert second.returncode == 2
    assert f"Another stagectl (process {room.daemon_pid}) works with" in second.stderr
    assert "Traceback" not in second.stderr
    assert all(len(room.truth(deck)["clients"]) == 1 for deck in room.decks)
    rolls_on(room)
    assert room.interrupt() == 0
    verified(room.data)


def test_p15_with_every_box_dead_the_house_opens_and_takes_them_when_they_come(tmp_path: Path) -> None:
    with Room(tmp_path, 3, wired=["iso-1", "iso-2", "iso-3", "hall"]) as room:
        for box in room.boxes:
            room.wires[box].refuse()
        room.launch()
        room.until_ready()
        assert [box["adopted"] for box in room.get("devices")["devices"]] == [False] * 4
        status, answer = room.post("roll")
        assert status == 200
        assert answer["count"] == "0 of 3"
        assert answer["ended"] == "failed"
        for box in room.boxes:
            room.wires[box].heal()
        room.until_adopted()
        story.roll(room)


def test_p16_with_a_tenth_of_the_processor_nothing_untrue_is_said(room: Room) -> None:
    room.start()
    with host.starved(room.daemon_pid, 0.1):
        status, answer = room.post("roll", {"name": "Evening"})
        if status == 200:
            story.true(room, answer)
        else:  # beside others the tenth is less: what waited too long is refused
            assert (status, room.rolling()) == (409, []), answer
    story.healed(room)
    if status != 200:
        story.roll(room)
    assert [(room.rolls_of(deck), room.ends_of(deck)) for deck in room.decks] == [(1, 0)] * 3
    cut_well(room)
    assert [(room.rolls_of(deck), room.ends_of(deck)) for deck in room.decks] == [(1, 1)] * 3


# -- disk -------------------------------------------------------------------------------------------------------------


def test_p05_a_full_disk_stops_no_roll_and_no_cut_and_is_said(room: Room, tmp_path: Path) -> None:
    room.start(*host.small_disk(room.data, "2m"))
    disk = host.inside(room.daemon_pid, room.data)
    assert (disk / "in-use").exists()
    film = host.fill(disk)
    story.roll(room)
    room.clear_wires()
    until(lambda: "disk" in trouble(room), 10, "the full disk is told")
    reserve = host.fill(disk)  # what the reserve gave back is taken too
    assert reserve == film
    written = 0
    while "memory" not in trouble(room):
        status, answer = room.ask("POST", "/api/v1/takes/1/marks", {"note": "x" * 400})
        assert status in (200, 201, 429), answer
        written += 1
        assert written < 5000, "the reserve has an end"
    story.others_obey(room)
    status, ended = room.post("cut", {"take": 1})
    assert (status, ended["ended"]) == (200, "verified")
    assert ended["durable"] is False, "an answer must say that its record is not safe"
    film.unlink()
    until(lambda: trouble(room) == "", 90, "the disk has room again, and the daemon saw it")
    story.roll(room)
    copy = tmp_path / "copy"
    shutil.copytree(disk, copy)
    verified(copy)


def test_p06_a_sync_that_fails_ends_the_trust_in_its_file_and_is_said(room: Room) -> None:
    room.start()
    before = sorted(path.name for path in room.data.glob("journal-*"))
    with host.syncs_fail(room.daemon_pid):
        status, answer = room.post("roll", {"name": "Evening"})
        assert (status, answer["ended"]) == (200, "verified"), answer
        assert answer["durable"] is False
        until(lambda: "could not be made safe" in trouble(room) or "memory" in trouble(room), 10, "it is told")
    room.clear_wires()
    until(lambda: trouble(room) == "", 90, "the disk is well again, and the daemon saw it")
    after = sorted(path.name for path in room.data.glob("journal-*"))
    assert after[: len(before)] == before
    assert len(after) > len(before), "that file is never written again"
    room.kill()
    room.start()
    assert room.get("takes/1")["name"] == "Evening", "what was kept in memory was written first"
    rolls_on(room)
    verified(room.data)


# -- clock and handles ------------------------------------------------------------------------------------------------


def test_p08_two_hours_forth_and_back_move_no_verdict_and_no_order(room: Room, tmp_path: Path) -> None:
    clock = host.WallClock(tmp_path)
    room.env = clock.env
    room.start()
    for take, step in enumerate((7200, -7200, 0), 1):
        story.roll(room)
        losses = [room.device(box)["counts"]["losses"] for box in room.boxes]
        clock.step(step)
        until(lambda: room.get("site") and True, 2, "it answers")
        story.others_obey(room)
        assert all(room.quality(deck) == "good" for deck in room.decks)
        assert [room.device(box)["counts"]["losses"] for box in room.boxes] == losses
        cut_well(room, take)
        story.bounded(room, take)
    opened = [take["opened"] for take in reversed(room.get("takes")["takes"])]
    assert opened[1] > opened[0], "the second take was written down two hours later"
    assert opened[2] < opened[1]
    entries = room.get("journal?count=1000")["entries"]
    assert [entry["n"] for entry in entries] == sorted(entry["n"] for entry in entries)
    room.kill()
    room.start()
    assert [take["take"] for take in room.get("takes")["takes"]] == [3, 2, 1]
    room.interrupt()
    verified(room.data)


def test_p12_without_handles_for_more_the_boxes_and_who_is_there_are_kept(room: Room) -> None:
    room.start(*host.few_handles(48))
    room.clear_wires()
    at = ("127.0.0.1", room.port)
    here = HTTPConnection(*at, timeout=30)
    here.request("GET", "/livez")
    here.getresponse().read()
    crowd = []
    try:
        crowd.extend(socket.create_connection(at, 5) for _ in range(80))
        here.request("POST", "/api/v1/roll?wait=verdict", "{}", {"Content-Type": "application/json"})
        answer = here.getresponse()
        assert answer.status == 200
        assert b'"3 of 3"' in answer.read()
        assert room.rolling() == room.decks
    finally:
        for one in crowd:
            one.close()
        here.close()
    until(lambda: room.ask("GET", "/livez")[0] == 200, 20, "there is room for new clients again")
    story.well(room, *room.boxes)
    cut_well(room)


# -- drivers of others ------------------------------------------------------------------------------------------------


@pytest.fixture
def guest(tmp_path: Path) -> Iterator[tuple[Room, Path]]:
    """A room where iso-1 is driven by somebody else's driver, and the folder where its slips are switched."""
    home = tmp_path / "plugin"
    home.mkdir()
    with Room(tmp_path, 3) as room:
        room.env = plugin.installed(home)
        room.site.write_text(room.site.read_text().replace("iso-1: {box: text-deck", "iso-1: {box: slip-deck"))
        room.start()
        yield room, home


def test_p09_a_driver_that_blocks_the_loop_is_named_and_left_alone(guest: tuple[Room, Path]) -> None:
    room, home = guest
    story.roll(room)
    room.clear_wires()
    (home / plugin.BLOCKS).write_text("5")
    until(lambda: room.device("iso-1")["quarantined"], 20, "it is left alone")
    assert "slip_deck" in str(room.device("iso-1")["quarantined"])
    assert "loop_stalled" in room.logged()
    until(lambda: "slip_deck" in room.wrong(), 5, "an alarm names it")
    until(lambda: story.obeys(room), 5, "an act is carried out again")  # what waited meanwhile is refused as too old
    story.healed(room, "iso-2", "iso-3")
    for deck in room.decks:
        story.untouched(room, deck)
    status, ended = room.post("cut", {"take": 1})
    assert status == 200
    assert {box["device"]: box["ended"] for box in ended["boxes"] if box["device"] != "iso-1"} == {
        "iso-2": "verified",
        "iso-3": "verified",
    }
    assert room.rolling() == ["iso-1"], "it can't be reached by us, and rolls on"


def test_p10_a_driver_that_raises_takes_down_its_own_box_alone(guest: tuple[Room, Path]) -> None:
    room, home = guest
    story.roll(room)
    room.clear_wires()
    (home / plugin.RAISES).write_text("")
    until(lambda: not room.device("iso-1")["up"], 10, "its box is out of reach")
    story.others_obey(room)
    story.well(room, "iso-2", "iso-3", "hall")
    until(lambda: room.device("iso-1")["quarantined"], 30, "after three restarts in a minute it is left alone")
    for deck in room.decks:
        story.untouched(room, deck)


def test_p14_a_site_file_that_was_spoilt_meanwhile_is_named_and_what_rolls_is_left_alone(room: Room) -> None:
    room.start()
    story.roll(room)
    room.kill()
    room.clear_wires()
    well = room.site.read_text()
    room.site.write_text(well.replace("box: block-router", "box: block-rooter"))
    room.launch()
    assert room.process.wait(30) == 2
    assert f"{room.site.name}" in room.logged()
    assert 'no kind of box "block-rooter"' in room.logged()
    assert all(room.heard(deck) == [] for deck in room.decks), "nobody was even dialled"
    room.site.write_text(well)
    room.start()
    rolls_on(room)


def test_an_address_where_nobody_is_holds_up_nobody(room: Room) -> None:
    room.write_site({"iso-3": dead_port()})
    room.start(absent=["iso-3"])
    answer = story.roll(room, but=["iso-3"])
    assert answer["count"] == "2 of 3"
    story.well(room, "iso-1", "iso-2", "hall")
