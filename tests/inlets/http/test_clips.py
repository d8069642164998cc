"""Does the web door tell whose each clip on the recorders is, and own up to what it could not read?

Source: own construction; the toys list what a test gives them.
"""

from typing import Any

from stagectl.model.capabilities.recorder import CLIP_COUNT
from tests.inlets.http.conftest import Front


async def a_take(front: Front) -> dict[str, Any]:
    """A take of all three, of whose clips the log has the name."""
    for number in (1, 2, 3):
        front.toys.boxes[f"iso-{number}"].change({"clip.name": f"A00{number}", "clip.start": "01:00:00:00"})
    await front.post("roll?wait=verdict", {"name": "Songs"})
    await front.post("cut?wait=verdict", {"take": 1})
    await front.toys.until(lambda: front.toys.house.takes.open is None)
    for lane in front.toys.house.takes.takes[1].all_lanes():
        lane.clip, lane.start, lane.start_exact = f"A00{lane.device[-1]}", "01:00:00:00", True
    _, take = await front.get("takes/1")
    return dict(take)


def row(name: str, start: str = "01:00:00:00") -> dict[str, Any]:
    return {"index": 1, "name": name, "start": start, "duration": "00:00:10:00"}


async def test_each_clip_is_a_takes_or_an_orphan_and_what_is_not_there_is_missing(front: Front) -> None:
    await a_take(front)
    front.toys.boxes["iso-1"].clips = [row("A001"), row("X", "05:00:00:00")]
    front.toys.boxes["iso-2"].clips = []
    front.toys.boxes["iso-3"].clips = [row("A003")]
    status, answer = await front.get("clips")
    assert status == 200
    assert [(one["device"], one["take"], one["clip"]) for one in answer["clips"]] == [
        ("iso-1", 1, "A001"),
        ("iso-3", 1, "A003"),
    ]
    assert [(one["device"], one["clip"]) for one in answer["orphans"]] == [("iso-1", "X")]
    assert [(one["device"], one["take"], one["clip"]) for one in answer["missing"]] == [("iso-2", 1, "A002")]
    assert answer["unknown"] == []


async def test_of_what_could_not_be_read_nothing_is_called_missing(front: Front) -> None:
    await a_take(front)
    front.toys.boxes["iso-1"].clips = [row("A001")]
    await front.toys.boxes["iso-2"].close()
    front.toys.boxes["iso-3"].change({"slot.1.state": "empty", "slot.active": 1})
    await front.toys.until(lambda: not front.toys.house.boxes["iso-2"].up)
    _, answer = await front.get("clips")
    assert answer["missing"] == []
    assert [(one["device"], one["why"]) for one in answer["unknown"]] == [
        ("iso-2", "it is not reached"),
        ("iso-3", "the medium in slot 1 is not ready"),
    ]
    assert {one["device"]: one["why"] for one in answer["recorders"]}["iso-2"] == "it is not reached"


async def test_a_list_that_tells_fewer_clips_than_the_recorder_counts_is_not_whole(front: Front) -> None:
    await a_take(front)
    front.toys.boxes["iso-1"].change({"clip.count": 2})
    front.toys.boxes["iso-1"].clips = [row("X", "05:00:00:00")]
    await front.toys.until(lambda: front.toys.house.board.get("iso-1", CLIP_COUNT).value == 2)
    _, answer = await front.get("clips")
    absent = next(one for one in answer["unknown"] if one["device"] == "iso-1")
    assert absent["why"] == "it told 1 of its 2 clips"


async def test_a_recorder_that_rolls_is_left_alone(front: Front) -> None:
    await a_take(front)
    await front.post("roll?wait=verdict", {})
    _, answer = await front.get("clips")
    assert {one["why"] for one in answer["recorders"]} == {"it records, and is left alone"}
    assert not any({"rows": True} in toy.heard for toy in front.toys.boxes.values())
    assert [one["take"] for one in answer["unknown"]] == [1, 1, 1]
