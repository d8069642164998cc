"""Known good before the first take, told as users do it: at the terminal, with simulators as programs of their own."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.stories.studio import Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(180)]

WANTED = """
line-up:
  format: 1080p2997
  codec: VC3-SQ
  timecode: 29.97 df
  timecode source: external
  plan: [{take: Harbour Suite, lasts: 45 min, times: 2}]
"""


def write(text: str) -> str:
    head, _, tail = text.partition("\nline-up:")
    rest = tail.partition("\n\n")[2]
    return f"{head}\n\n{rest}\n{WANTED}"


def play(told: dict[str, Any]) -> None:
    """A bad morning: four decks, four faults. The house is 29.97 drop-frame."""
    told["house_rate"] = "29.97 DF"
    own = {box["id"]: box["options"] for box in told["boxes"]}
    own["iso-1"]["video_format"] = "1080i5994"
    own["iso-2"]["drop"] = False
    own["iso-3"]["free_run_ppm"] = 40
    own["mix-rec"]["slots"] = [{"volume": "TIDE-51"}, {"volume": "TIDE-52"}]  # its old clip is labelled for 25
    own["iso-4"]["slots"] = [{"volume": "TIDE-41", "size_bytes": 40e9}, {"volume": "TIDE-42", "mounted": False}]


@pytest.fixture
def morning(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path, write=write, play=play) as made:
        made.start()
        yield made


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path) as made:
        made.start()
        yield made


def holding(studio: Studio) -> dict[str, dict[str, Any]]:
    """What keeps the house from being ready, by a fresh look at the terminal."""
    said = studio.cli("--json", "lineup")
    told = json.loads(said.stdout)
    rows = {row["id"]: row for row in told["rows"] if row["stands"] != "pass" and row["must"]}
    assert (said.returncode == 0) == told["ready"] == (not rows)
    return rows


def test_four_faults_are_named_with_remedies_and_put_right_one_by_one(morning: Studio) -> None:
    until(lambda: morning.point("media", "iso-1.left")["value"], 20, "record times are known")
    found = holding(morning)
    assert sorted(found) == [
        "iso-1.format",
        "iso-2.timecode",
        "iso-3.timecode",
        "iso-3.timecode-source",
        "iso-4.record-time",
    ]
    assert found["iso-1.format"]["found"] == "input format is 1080i5994"
    assert "Set the camera that is routed to it to 1080p2997." in found["iso-1.format"]["remedy"]
    assert found["iso-2.timecode"]["found"] == "it counts non-drop, wanted 29.97 df"
    assert found["iso-2.timecode"]["remedy"] == "Set its generator to count as the house does."
    assert found["iso-3.timecode"]["found"] == "its timecode source is its own clock"
    assert "timecode input" in found["iso-3.timecode"]["remedy"]
    assert found["iso-4.record-time"]["found"].endswith("min left, 1 h 30 min planned")
    assert found["iso-4.record-time"]["remedy"] == "Change its medium for one with more room."

    text = morning.cli("lineup").stdout
    assert "FAIL" in text
    assert re.search(r"Not ready: 5 of \d+ checks fail\.", text)
    assert "running free: its timecode source is its own clock" in morning.cli("clock").stdout
    assert "NOT ENOUGH" in morning.cli("media").stdout

    morning.hand("iso-1", "picture", format="1080p2997")
    assert "iso-1.format" not in holding(morning)
    morning.hand("iso-2", "count", drop=True)
    until(lambda: "iso-2.timecode" not in holding(morning), 30, "iso-2 is in step")
    assert morning.cli("set", "iso-3", "timecode source", "external").returncode == 0
    until(lambda: "iso-3.timecode" not in holding(morning), 30, "iso-3 is in step")
    assert sorted(holding(morning)) == ["iso-4.record-time"]
    morning.hand("iso-4", "eject", slot=1)
    morning.hand("iso-4", "insert", slot=1, size_bytes=480e9)
    until(lambda: not holding(morning), 30, "the house is ready")
    ready = morning.cli("lineup")
    assert ready.returncode == 0
    assert ready.stdout.startswith("Ready to roll: ")
    assert morning.point("lineup", "ready")["value"] is True
    assert any(entry["kind"] == "lineup" and entry["data"]["ready"] for entry in morning.get("journal")["entries"])


def test_the_fourth_route_is_refused_naming_the_two_holders_until_one_gives_its_tie_line_up(hall: Studio) -> None:
    """Hall 15 and hall 16 are all the tie-lines to the gallery. Issue 5, shows, second line."""
    first = hall.cli("route", "director", "wide")
    assert first.returncode == 0, first.stdout + first.stderr
    way = "wide, hall input 4 > hall output 15 > gallery input 1 > gallery output 3"
    assert hall.point("paths", "director.way")["value"] == way  # program has it by the same tie-line
    assert hall.cli("route", "mix-rec", "hands").returncode == 0
    assert hall.cli("route", "program", "hands").returncode == 0
    assert hall.point("paths", "ties.free")["value"] == 1  # the one that leads the other way

    refused = hall.cli("route", "program", "stage-left")
    said = (
        "No tie-line is free to bring stage-left to program: hall 15 to gallery 1 is held by director (wide), "
        "hall 16 to gallery 2 is held by mix-rec (hands). "
        "Give director a source that needs no tie-line first: stagectl route director titles"
    )
    assert (refused.returncode, (refused.stdout + refused.stderr).strip()) == (1, said)
    planned = hall.cli("route", "plan", "program=stage-left")
    assert planned.returncode == 6
    assert said.partition(": ")[2] in planned.stdout.replace("NO WAY. ", "")
    assert hall.point("paths", "program.shows")["value"] == "hands"

    command = said.partition(": stagectl ")[2].split()
    assert hall.cli(*command).returncode == 0
    through = hall.cli("route", "program", "stage-left")
    assert through.returncode == 0, through.stdout + through.stderr
    shows = {point["name"]: point["value"] for point in hall.get("points?device=paths")["points"]}
    assert [shows[f"{name}.shows"] for name in ("program", "mix-rec", "director")] == ["stage-left", "hands", "titles"]
