"""What does a broker's end cost a take, and is everything there again afterwards? mosquitto as a program."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.inlets.mosquitto import program
from tests.real import host, story
from tests.real.room import Room
from tests.stories.studio import until

pytestmark = pytest.mark.timeout(120)
TREE = "stagectl/1/tidewater-annexe"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with Room(tmp_path, 3, mqtt=True) as made:
        made.start()
        yield made


def retained(room: Room) -> set[str]:
    """The topics that the broker keeps a message of."""
    words = [
        "-V",
        "5",
        "-p",
        str(room.mqtt_port),
        "-q",
        "1",
        "-W",
        "2",
        "--retained-only",
        "-F",
        "%t",
        "-t",
        f"{TREE}/#",
    ]
    heard = subprocess.run([program("mosquitto_sub"), *words], capture_output=True, text=True, timeout=30, check=False)
    return {line for line in heard.stdout.splitlines() if not line.startswith(f"{TREE}/alarm")}


def test_b02_a_broker_that_is_killed_and_wiped_mid_take_gets_everything_back(room: Room) -> None:
    kept = until(lambda: seen if len(seen := retained(room)) > 20 else None, 20, "the state is published")
    story.roll(room)
    room.clear_wires()
    room.kill_broker()
    story.others_obey(room)
    room.start_broker()  # it keeps nothing on disk
    until(lambda: retained(room) >= kept, 20, "all is there again")
    for deck in room.decks:
        story.untouched(room, deck)
    status, ended = room.post("cut", {"take": 1})
    assert (status, ended["ended"]) == (200, "verified")


def test_b03_a_broker_that_stands_still_holds_up_nobody(room: Room) -> None:
    until(lambda: len(retained(room)) > 20, 20, "the state is published")
    with host.paused(room.broker_pid):
        for take in (1, 2, 3):
            story.roll(room)
            story.others_obey(room)
            status, ended = room.post("cut", {"take": take})
            assert (status, ended["ended"]) == (200, "verified")
    until(lambda: len(retained(room)) > 20, 20, "it follows again")
    assert room.rolling() == []
