"""Does a daemon come and go beside recorders that roll? Boxes and daemon as programs of their own."""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from stagectl_simulators import client
from tests.stories.programs import Program, changes, program, refused, stagectl

SITE = """
site: Small room
devices:
  deck-1: {{box: text-deck, at: "{deck-1}", called: Deck 1}}
  deck-2: {{box: text-deck, at: "{deck-2}", called: Deck 2}}
"""
DECKS = ("deck-1", "deck-2")
pytestmark = pytest.mark.slow


@pytest.fixture
def room(tmp_path: Path) -> Iterator[tuple[Path, str]]:
    """The site file with the decks' real addresses, and the simulators' door."""
    site = tmp_path / "room.yaml"
    site.write_text(SITE.format(**{"deck-1": "10.0.5.11", "deck-2": "10.0.5.12"}), encoding="utf-8")
    with program(["simulate", str(site), "--door", "127.0.0.1:0"], tmp_path) as played:
        door = played.until("Fault door").split()[-1]
        played.until("Ctrl-C")
        assert "10.0.5.11 is not this machine's, so it is played at 127.0.0.1" in played.logged()
        at = {str(one["id"]): str(one["address"]) for one in client.list_boxes(door)}
        site.write_text(SITE.format(**at), encoding="utf-8")
        yield site, door
        assert played.end() == 0


def served(site: Path, data: Path) -> list[str]:
    return ["serve", str(site), "--http", "127.0.0.1:0", "--data", str(data)]


def url_of(daemon: Program) -> str:
    return daemon.until("is served at").split()[-1]


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_daemon_that_ends_while_decks_roll_sends_nothing_and_finds_its_take_again(
    room: tuple[Path, str], tmp_path: Path, by: signal.Signals
) -> None:
    site, door = room
    data = tmp_path / "data"
    with program(served(site, data), tmp_path) as daemon:
        url = url_of(daemon)
        assert stagectl("roll", "--name", "Evening", STAGECTL_URL=url).returncode == 0
        for deck in DECKS:
            client.clear_wire(door, deck)
        assert daemon.end(by) == (-9 if by is signal.SIGKILL else 0)
        assert "Traceback" not in daemon.logged()
    assert stagectl("now", STAGECTL_URL=url).returncode == 5
    assert all(client.truth(door, deck)["transport"] == "record" for deck in DECKS)

    with program(served(site, data), tmp_path) as again:
        url = url_of(again)
        shown = ""
        with program(["watch", "--plain"], tmp_path, STAGECTL_URL=url) as watching:
            shown = watching.until("Take 1 rolls on 2 of 2")
            assert watching.end() == 130
        assert shown
        assert all(changes(client.wire(door, deck)) == [] for deck in DECKS)
        done = stagectl("cut", "1", STAGECTL_URL=url)
        assert (done.returncode, done.stdout.splitlines()[-1]) == (0, "Take 1 ended on 2 of 2.")
        assert "Evening" in stagectl("takes", STAGECTL_URL=url).stdout
        assert again.end() == 0


def test_an_address_that_is_taken_or_a_folder_that_is_none_is_a_sentence(
    room: tuple[Path, str], tmp_path: Path
) -> None:
    site, door = room
    data = str(tmp_path / "data")
    taken = stagectl("serve", str(site), "--http", door.removeprefix("http://"), "--data", data)
    assert (taken.returncode, "Traceback" in taken.stderr) == (2, False)
    assert "is taken by another program" in taken.stderr
    assert "--data" in refused("serve", str(site), "--http", "127.0.0.1:0", "--data", str(site))
    assert "does not listen on" in refused("serve", str(site), "--http", "0.0.0.0:0", "--data", data)
