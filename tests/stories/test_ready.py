"""Known good before the first take, told as users do it: at the terminal, with simulators as programs of their own."""

import json
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
    assert "Not ready: 5 fail and 0 are not known" in text
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


def test_the_fourth_route_is_refused_naming_the_holders_until_one_gives_its_tie_line_up(hall: Studio) -> None:
    for destination in ("program", "mix-rec", "director"):
        assert hall.cli("route", destination, "titles").returncode == 0
    first = hall.cli("route", "program", "hands")
    assert first.returncode == 0, first.stdout + first.stderr
    plan = hall.cli("route", "plan", "mix-rec=wide", "--take")
    assert plan.returncode == 0, plan.stdout + plan.stderr
    refused = hall.cli("route", "director", "stage-left")
    assert refused.returncode == 1
    said = refused.stdout + refused.stderr
    assert "is held by program (hands)" in said
    assert "is held by mix-rec (wide)" in said
    planned = hall.cli("route", "plan", "director=stage-left")
    assert planned.returncode == 6
    assert "NO WAY." in planned.stdout
    assert "is held by program (hands)" in planned.stdout
    assert hall.cli("route", "program", "titles").returncode == 0
    through = hall.cli("route", "plan", "director=stage-left", "--take")
    assert through.returncode == 0, through.stdout + through.stderr
    shows = {point["name"]: point["value"] for point in hall.get("points?device=paths")["points"]}
    assert (shows["director.shows"], shows["mix-rec.shows"]) == ("stage-left", "wide")
