"""Twenty takes with random faults: does every verdict agree with the simulators' own record, and does nothing grow?"""

import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.stories.studio import RECORDERS, Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(400)]

TAKES = 20
SEED = int(os.environ.get("STORY_SEED", "20261125"))  # another seed, another story
# Faults that a roll or a cut may meet, and how long they last: for the roll alone, or over the whole take.
FAULTS = (
    ("never_roll", True),
    ("roll_late", 1.0),
    ("remote_off", True),
    ("no_input", True),
    ("no_notices", True),
    ("early_notices", True),
    ("one_byte", True),
    ("latency", 0.1),
    ("garbage", True),
    ("ignore_stop", True),
    ("silent", True),
    ("reset_mid_line", True),
)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path) as made:
        made.start()
        yield made


def records(studio: Studio, box: str) -> bool:
    return bool(studio.truth(box)["transport"] == "record")


def healed(studio: Studio) -> bool:
    """Every recorder is well, and was asked since it last changed."""
    boxes = studio.get("devices")["devices"]
    known = [studio.point(box, name) for box in RECORDERS for name in ("transport", "remote", "slot.1.state")]
    return all(box["adopted"] and box["health"] == "well" for box in boxes) and all(
        point["quality"] == "good" and point["value"] != "recording" for point in known
    )


def losses(studio: Studio, box: str) -> int:
    return int(studio.get(f"devices/{box}")["counts"]["losses"])


def memory_kb(studio: Studio) -> int:
    assert studio.daemon_pid
    for line in Path(f"/proc/{studio.daemon_pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    raise AssertionError("no VmRSS")


def press_roll(studio: Studio, take: int, names: dict[str, str]) -> dict[str, Any]:
    status, answer = studio.post("roll", {"name": f"Take {take}"}, key=f"roll-{take}")
    assert status == 200, answer
    for told in answer["boxes"]:
        box = told["device"]
        if told["ended"] == "verified":
            assert records(studio, box), (take, box, told, names)
        elif told["ended"] == "failed" and told["code"] in ("needs", "device"):
            assert not records(studio, box), (take, box, told, names)
    again = studio.post("roll", {"name": f"Take {take}"}, key=f"roll-{take}")[1]
    assert again["take"] == answer["take"]
    return dict(answer)


def make_sick(studio: Studio, chance: random.Random) -> dict[str, str]:
    """Turn random faults on: box -> fault."""
    names = {}
    for box in chance.sample(RECORDERS, chance.choice((0, 1, 1, 2))):
        fault, value = chance.choice(FAULTS)
        names[box] = fault
        studio.fault(box, fault, value)
    return names


def press_cut(studio: Studio, take: int, number: int, names: dict[str, str]) -> None:
    status, ended = studio.post("cut", {"take": take}, key=f"cut-{number}")
    assert status == 200, ended
    for told in ended["boxes"]:
        if told["ended"] == "verified":
            assert not records(studio, told["device"]), (number, told, names)
        assert told["device"] in names or told["ended"] == "verified", f"take {number}, faults {names}: {told}"


def heal(studio: Studio, names: dict[str, str]) -> None:
    """Turn the faults off, as a person would put the boxes right, and wait until that is seen."""
    for box, fault in names.items():
        lost = losses(studio, box)
        studio.fault(box, fault, False)
        studio.hand(box, "remote", on=True)
        if records(studio, box):
            studio.hand(box, "stop")
        if fault == "silent":  # an answer is missing for ever: the link is made anew before it is believed
            until(lambda box=box, lost=lost: losses(studio, box) > lost, 15, f"{box} is connected anew")
    until(lambda: healed(studio), 30, f"all is well again after {names}")
    until(lambda: not (studio.get("now")["take"] or {}).get("running"), 15, "nothing rolls")


def test_twenty_takes_with_random_faults(studio: Studio) -> None:
    chance = random.Random(SEED)
    grown_from = 0
    for number in range(1, TAKES + 1):
        names = make_sick(studio, chance)
        rolled = press_roll(studio, number, names)
        odd = [told for told in rolled["boxes"] if told["device"] not in names and told["ended"] != "verified"]
        assert not odd, f"take {number}, faults {names}: {odd}"
        press_cut(studio, rolled["take"], number, names)
        heal(studio, names)
        if number == 5:
            grown_from = memory_kb(studio)
    takes = studio.get("takes?count=100")["takes"]
    for take in takes:
        for lane in take["lanes"]:
            assert lane["device"] in lane["clip"] or not lane["clip"], lane  # no clip of another recorder
    held = [clip["name"] for box in RECORDERS for clip in studio.truth(box)["clips"]]
    told = [lane["clip"] for take in takes for lane in take["lanes"] if lane["clip"]]
    assert set(told) <= set(held)
    assert memory_kb(studio) - grown_from < 10_000  # kB; bounded, not leaking
