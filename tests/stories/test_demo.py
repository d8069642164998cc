"""Does the demo do what the README says? Started, used and ended as a person would, program by program."""

import json
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from stagectl_simulators import client
from tests.stories.programs import WAIT_S, Program, Wires, changes, program, stagectl
from tests.stories.studio import until

DECKS = ("iso-1", "iso-2", "iso-3", "iso-4", "mix-rec")
pytestmark = pytest.mark.slow


class Hall:
    """The demo hall, running."""

    def __init__(self, demo: Program) -> None:
        self.demo = demo
        self.url = demo.until("web door").split()[2]
        self.door = demo.until("simulators").split()[1]
        self.ready = demo.until("Ready after")
        demo.until("Ctrl-C ends")

    def call(self, *args: str) -> tuple[int, str, str]:
        done = stagectl(*args, STAGECTL_URL=self.url, STAGECTL_SIM_URL=self.door)
        return done.returncode, done.stdout, done.stderr


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[Hall]:
    free = ["--http", "127.0.0.1:0", "--door", "127.0.0.1:0", "--data", str(tmp_path / "data")]
    with program(["demo", *free], tmp_path) as demo:
        yield Hall(demo)


def test_five_recorders_roll_the_cut_asks_which_and_the_sheet_has_it(hall: Hall) -> None:
    assert "all 8 boxes are read" in hall.ready
    assert float(hall.ready.split()[2]) < 10, "the issue promises 10 s"

    code, text, _ = hall.call("roll", "--name", "Warm-up")
    lines = text.splitlines()
    assert code == 0
    assert lines[0] == "Asked 5 recorders, take 1."
    assert [line.split()[:3] for line in lines[1:6]] == [["Rec", str(number), "rolls"] for number in range(1, 6)]
    assert sum("first" in line or "frame" in line for line in lines[1:6]) == 5
    assert lines[6].startswith("Take 1 rolls on 5 of 5, spread ")

    code, text, why = hall.call("cut")
    assert (code, text) == (2, "")
    assert why.endswith("To end it: stagectl cut 1\n")
    assert all(client.truth(hall.door, deck)["transport"] == "record" for deck in DECKS)

    code, text, _ = hall.call("cut", "1")
    assert code == 0
    assert text.splitlines()[-1] == "Take 1 ended on 5 of 5."
    assert hall.call("cut", "1")[0] == 4, "a repeated line of the shell's history is refused"

    assert "Warm-up" in hall.call("takes")[1]
    code, text, _ = hall.call("take", "1")
    assert code == 0
    assert all(f"T001_Warm-up_{deck}" in text for deck in DECKS)
    # lengths are known once the clip lists are read after the cut
    until(lambda: "All share" in hall.call("take", "1")[1], WAIT_S, "the common range of take 1")


def test_a_deck_that_says_ok_and_never_rolls_is_named_and_the_others_roll_on(hall: Hall) -> None:
    assert hall.call("simulate", "fault", "iso-2", "never_roll", "on") == (0, "iso-2: never_roll is on.\n", "")
    code, text, _ = hall.call("roll")
    assert code == 1
    assert "FAILED" in next(line for line in text.splitlines() if "Rec 2" in line)
    assert "Take 1 rolls on 4 of 5" in text
    code, text, _ = hall.call("wrong")
    assert code == 6
    assert text.startswith("! Rec 2")
    told = json.loads(hall.call("--json", "cut", "1")[1])
    assert (told["verdict"], sorted(told["boxes"])) == ("verified", ["iso-1", "iso-3", "iso-4", "mix-rec"])


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_ending_the_demo_while_it_rolls_sends_no_stop_and_leaves_nothing_behind(hall: Hall, by: signal.Signals) -> None:
    assert hall.call("roll")[0] == 0
    wires = Wires(hall.door, DECKS)
    wires.start()
    assert wires.read.wait(WAIT_S)
    assert hall.demo.end(by) == 0
    wires.join(WAIT_S)
    assert not wires.is_alive(), "the simulators end with the demo"
    for deck, entries in wires.entries.items():
        assert [text.split(":")[0] for text in changes(entries)] == ["record"], deck
    assert "Traceback" not in hall.demo.logged()


def test_a_second_demo_beside_the_first_finds_room(hall: Hall, tmp_path: Path) -> None:
    more = tmp_path / "more"
    more.mkdir()
    taken = ["--http", hall.url.removeprefix("http://"), "--door", hall.door.removeprefix("http://")]
    with program(["demo", *taken], more) as second:
        other = Hall(second)
        assert (other.url, other.door) != (hall.url, hall.door)
        assert "can't be had, so a free port is used" in second.logged()
        assert "all 8 boxes are read" in other.ready
        assert second.end() == 0
