"""Are the simulators' options read with their types, and refused with their lines?

Source of all rows: own construction, after the simulators' README.
"""

import random
from pathlib import Path
from typing import Any, Final

import pytest

from stagectl.filetree import FileError, FileErrors
from stagectl.site import Site, load_sim, load_site, read_site, sim_path
from stagectl.site.simfile import read_sim
from stagectl.yamlfile import parse
from stagectl_simulators.house_clock import HouseClock, rate_named
from stagectl_simulators.kinds import build
from tests.site.kinds_for_tests import KINDS, PARTS

HALL: Final = Path(__file__).parent.parent.parent / "scenes" / "tidewater-hall.yaml"


def site() -> Site:
    text = (
        "site: Hall\n"
        "devices:\n"
        "  iso-1: {box: text-deck, at: 10.0.5.11}\n"
        "  iso-2: {box: text-deck, at: 10.0.5.12}\n"
        "  hall: {box: block-router, at: 10.0.5.21}\n"
    )
    return read_site(parse(text, "site.yaml"), Path("site.yaml"), KINDS, PARTS)


def play(kind: str, name: str, options: dict[str, Any]) -> object:
    """What the simulators' own process does with a box of a plan."""
    return build(kind, name, options, random.Random(1), HouseClock(rate_named("25"), "10:00:00:00"))


def read(text: str) -> dict[str, dict[str, Any]]:
    return read_sim(parse(text, "hall.sim.yaml"), site(), play)


def test_the_simulators_take_what_the_demo_hall_asks_of_them() -> None:
    hall = load_site(HALL, KINDS, PARTS)
    options = load_sim(sim_path(HALL), hall, play)
    assert list(options) == list(hall.devices)
    assert (options["hall"]["outputs"], options["gallery"]["inputs"], options["mixer"]["strips"]) == (16, 8, 16)
    assert len(options["hall"]["input_labels"]) == len(options["hall"]["output_labels"]) == 16


def test_the_demo_hall_s_wiring_fits_its_simulated_frames() -> None:
    hall = load_site(HALL, KINDS, PARTS)
    options = load_sim(sim_path(HALL), hall)
    inputs = {*hall.pictures.sources.values(), *((tie.to_router, tie.input) for tie in hall.pictures.tie_lines)}
    outputs = {
        *hall.pictures.destinations.values(),
        *((tie.from_router, tie.output) for tie in hall.pictures.tie_lines),
    }
    assert [one for one in inputs if one[1] > options[one[0]]["inputs"]] == []
    assert [one for one in outputs if one[1] > options[one[0]]["outputs"]] == []
    assert [one for one in hall.sound.buses.values() if one[1] > options[one[0]]["buses"]] == []


def test_bare_words_have_types_and_quoted_ones_are_text() -> None:
    options = read_sim(
        parse(
            'devices:\n  iso-1: {a: 1, b: 0.25, c: yes, d: no, e: "1", f: 10:00:00:00}\n'
            '  iso-2: {g: -3, h: [1, {i: "yes"}], j: 007}\n',
            "hall.sim.yaml",
        ),
        site(),
    )
    assert options["iso-1"] == {
        "a": 1,
        "b": 0.25,
        "c": True,
        "d": False,
        "e": "1",
        "f": "10:00:00:00",
    }
    assert options["iso-2"] == {
        "g": -3,
        "h": [1, {"i": "yes"}],
        "j": "007",
    }
    assert isinstance(options["iso-1"]["a"], int)
    assert isinstance(options["iso-1"]["c"], bool)


def test_a_device_that_is_not_named_is_played_as_it_is() -> None:
    assert read("devices: {iso-2: {drop: no}}") == {"iso-1": {}, "iso-2": {"drop": False}, "hall": {}}


WRONG: Final = [
    # id, file, what is said of it
    (
        "a device the site lacks",
        "devices: {isso-1: {drop: no}}",
        'hall.sim.yaml:1:11 devices.isso-1: the site has no device "isso-1". Perhaps you mean iso-1.',
    ),
    (
        "an unknown key",
        "devcies: {}\ndevices: {}",
        "hall.sim.yaml:1:1 devcies: nobody reads this. Say devices.",
    ),
    ("no devices", "{}", "hall.sim.yaml:1:1 devices: this is missing. Add it."),
    (
        "a value that is missing",
        "devices:\n  iso-1:\n    drop:\n",
        "hall.sim.yaml:3:10 devices.iso-1.drop: the value is missing. Write it, or take the line out.",
    ),
    (
        "an option of the wrong type",
        'devices:\n  iso-1: {older: yes, roll_delay_s: "0.4"}',
        (
            "hall.sim.yaml:2:23 devices.iso-1.roll_delay_s: "
            "iso-1: option 'roll_delay_s' must be a number from 0 to 60, not '0.4'."
        ),
    ),
    (
        "a device twice",
        "devices: {iso-1: {}, iso-1: {}}",
        "hall.sim.yaml:1:22 devices.iso-1: this stands here twice, first in line 1. Keep one.",
    ),
]


@pytest.mark.parametrize(("text", "said"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_mistake_is_told_with_its_place(text: str, said: str) -> None:
    with pytest.raises(FileError) as caught:
        read(text)
    assert str(caught.value) == said


def test_what_a_simulator_does_not_know_is_told_with_what_it_knows() -> None:
    with pytest.raises(FileError, match=r"hall\.sim\.yaml:1:18 devices\.hall\.reels: hall: no option 'reels'\. Known"):
        read("devices: {hall: {reels: 2}}")


def test_mistakes_of_several_devices_are_told_at_once() -> None:
    with pytest.raises(FileErrors) as caught:
        read("devices:\n  iso-1: {reels: 2}\n  iso-2: []\n  hall: {inputs: 1000}\n")
    assert [error.path for error in caught.value.errors] == [
        "devices.iso-1.reels",
        "devices.iso-2",
        "devices.hall.inputs",
    ]
