"""Can a take be corrected through the web door by who may, and by nobody else?

Source: own construction, from the rules of the take log and docs/who-may.md.
"""

from typing import Any

import pytest

from tests.inlets.http.conftest import Front
from tests.inlets.http.keys import close


async def written(front: Front) -> None:
    await front.post("roll?wait=verdict", {"name": "Songs"})
    await front.post("takes/1/marks", {"kind": "good", "note": "the trill"})


async def test_a_slate_is_corrected_and_the_take_keeps_how_it_was(front: Front) -> None:
    await written(front)
    status, said = await front.post("takes/1/slate", {"name": "Encore", "slate_take": 4})
    assert (status, said["say"]) == (200, "Take 1 is Encore, take 4 now.")
    _, take = await front.get("takes/1")
    assert (take["name"], take["slate_take"]) == ("Encore", 4)
    ((what, was, now, who),) = [tuple(one[name] for name in ("what", "was", "now", "who")) for one in take["changes"]]
    assert (what, was, now, who) == ("slate", "Songs, take 1", "Encore, take 4", "desk")
    _, told = await front.get("journal?count=100")
    said = [entry["say"] for entry in told["entries"]]  # lanes of the roll may be written down after it
    assert "Desk corrected take 1, slate: Encore, take 4; it was Songs, take 1." in said


async def test_a_mark_is_struck_out_and_kept(front: Front) -> None:
    await written(front)
    status, said = await front.post("takes/1/marks/1", {"struck": True})
    assert (status, said["say"]) == (200, "Mark 1 of take 1 is struck out; how it was is kept.")
    _, take = await front.get("takes/1")
    assert (take["marks"], take["notes"]) == ([], [])
    assert [(mark["n"], mark["text"]) for mark in take["struck"]] == [(1, "the trill")]


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("takes/9/slate", {"name": "x"}, 404),
        ("takes/1/slate", {}, 422),
        ("takes/1/slate", {"name": "x", "slate_take": 0}, 422),
        ("takes/9/marks/1", {"struck": True}, 404),
        ("takes/1/marks/2", {"struck": True}, 404),
        ("takes/1/marks/0", {"struck": True}, 404),
        ("takes/1/marks/1", {"kind": "bad"}, 422),
        ("takes/1/marks/1", {"kind": "note", "note": ""}, 422),
    ],
)
async def test_what_can_not_be_corrected_is_refused(front: Front, path: str, body: Any, status: int) -> None:
    await written(front)
    assert (await front.post(path, body))[0] == status
    _, take = await front.get("takes/1")
    assert take["changes"] == []


async def test_a_guest_corrects_nothing_though_it_may_rate(front: Front) -> None:
    await written(front)
    keys = await close(front)
    head = keys.of("guest")  # whose link grants roll, good and call
    for path, body in (("takes/1/slate", {"name": "x"}), ("takes/1/marks/1", {"struck": True})):
        status, answer = await front.post(path, body, **head)
        assert (status, answer["code"]) == (403, "role")
    _, take = await front.get("takes/1", **keys.of("ines"))
    assert take["changes"] == []


async def test_who_only_looks_corrects_nothing(front: Front) -> None:
    await written(front)
    for path, body in (("takes/1/slate", {"name": "x"}), ("takes/1/marks/1", {"struck": True})):
        status, answer = await front.post(path, body, X_Stage_Who="guest")
        assert (status, answer["code"]) == (403, "role")
