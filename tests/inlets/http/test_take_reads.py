"""Do the web door's pictures of takes come as pictures that a browser shows, and which days are there?

Source: own construction; the policy's digest is that of CSP level 3, from memory.
"""

import base64
import hashlib
import re

import pytest

from tests.inlets.http.conftest import API, Front


async def rolled(front: Front) -> None:
    await front.post("roll?wait=verdict", {"name": "Warm-up"})
    await front.post("cut?wait=verdict", {"take": 1})
    await front.toys.until(lambda: front.toys.house.takes.open is None)


@pytest.mark.parametrize(
    ("path", "says"), [("takes/1/timeline.svg", "Take 1 Warm-up"), ("days/today/timeline.svg", "1 take from")]
)
async def test_a_picture_comes_whole_and_its_style_is_let_through(front: Front, path: str, says: str) -> None:
    await rolled(front)
    async with front.session.get(f"{API}/{path}") as answer:
        text = await answer.text()
        assert (answer.status, answer.headers["Content-Type"]) == (200, "image/svg+xml")
        policy = answer.headers["Content-Security-Policy"]
    assert says in text
    (style,) = re.findall("<style>(.*)</style>", text)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy.startswith("default-src 'none';")
    assert f"'sha256-{digest}'" in policy


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("takes/9/timeline.svg", 404),
        ("days/2026-02-30/timeline.svg", 404),
        ("days/yesterday/timeline.svg", 404),
        ("days/1999-01-01/timeline.svg", 200),
    ],
)
async def test_what_is_no_take_or_day_is_refused_and_an_empty_day_is_empty(
    front: Front, path: str, status: int
) -> None:
    async with front.session.get(f"{API}/{path}") as answer:
        assert answer.status == status
        assert "No take." in await answer.text() or status != 200


async def test_a_take_says_where_its_clips_overlap_once_it_has_ended(front: Front) -> None:
    await front.post("roll?wait=verdict", {})
    _, rolls = await front.get("takes/1")
    await front.post("cut?wait=verdict", {"take": 1})
    await front.toys.until(lambda: front.toys.house.takes.open is None)
    _, ended = await front.get("takes/1")
    assert rolls["overlap"] is None
    assert [clip["device"] for clip in ended["overlap"]["clips"]] == ["iso-1", "iso-2", "iso-3"]
