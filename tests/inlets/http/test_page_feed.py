"""What is the page told live beside points, and what becomes of a press that comes late?

Source: own construction, after the desk's brief.
"""

import asyncio
import json
from collections.abc import Mapping
from typing import Any

import aiohttp
import pytest

from stagectl.inlets.http.guard import LATE_S, SEEN
from tests.inlets.http.conftest import API, Front

WITHIN_S = 10.0


class Followed:
    """A socket as the page has it: what it knows after each message."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self.socket = socket
        self.sections: dict[str, Any] = {}
        self.entries: list[dict[str, Any]] = []
        self.devices: set[str] = set()
        self.pongs: list[dict[str, Any]] = []
        self.snapshots = 0

    async def next(self) -> None:
        async with asyncio.timeout(WITHIN_S):
            told = json.loads(await self.socket.receive_str())
        if "pong" in told:
            self.pongs.append(told)
            return
        if told["is"] == "snapshot":
            self.snapshots += 1
            self.devices.clear()
        self.sections |= told.get("desk", {})
        self.entries += told.get("entries", [])
        self.devices |= {point["device"] for point in told["points"]}

    async def until(self, so: Any) -> None:
        while not so(self):
            await self.next()


def header(front: Front, ago_s: float = 0.0) -> dict[str, str]:
    house = front.toys.house
    return {SEEN: f"{house.epoch}-{house.world.clock.now() - ago_s}"}


async def test_the_page_is_told_in_words_and_again_when_they_change(front: Front) -> None:
    async with front.session.ws_connect(f"{API}/live?points=takes") as socket:
        page = Followed(socket)
        await page.next()
        assert page.sections["acts"]["roll"] == {"label": "Roll all 3: take 1", "can": 3, "of": 3}
        assert [one["say"] for one in page.sections["each"]] == ["ready"] * 3
        assert (await front.post("roll?wait=verdict", {"name": "Warm-up"}))[0] == 200
        await page.until(lambda seen: seen.sections["say"].startswith("Take 1 rolls on 3 of 3."))
        assert [one["say"] for one in page.sections["each"]] == ["rolls"] * 3
        end = page.sections["acts"]["end"]
        assert (end["label"], end["do"]) == ("End take 1...", "End take 1 on 3 recorders")
        assert page.sections["answers"]["sheet"] == "1 take, one rolls"
        said = [entry["say"] for entry in page.entries]
        assert 'Take 1 rolls, asked by desk: "Warm-up".' in said


async def test_a_second_page_takes_nothing_away_from_the_first(front: Front) -> None:
    """A snapshot for a newcomer must not swallow what the others were not told yet."""
    async with front.session.ws_connect(f"{API}/live?points=takes") as first:
        page = Followed(first)
        await page.next()
        assert (await front.post("roll?wait=verdict", {}))[0] == 200
        async with front.session.ws_connect(f"{API}/live?points=takes") as second:
            await Followed(second).next()
            await page.until(lambda seen: seen.sections["take"] is not None)


async def test_points_of_the_view_alone_are_told_and_a_view_may_turn(front: Front) -> None:
    async with front.session.ws_connect(f"{API}/live?points=takes") as socket:
        page = Followed(socket)
        await page.next()
        assert page.devices <= {"takes"}
        await socket.send_json({"see": ["iso-1"]})
        await page.until(lambda seen: seen.snapshots == 2)
        assert page.devices == {"iso-1"}
        assert (await front.post("roll?wait=verdict", {}))[0] == 200
        await page.until(lambda seen: any(entry["kind"] == "verdict" for entry in seen.entries))
        await socket.send_json({"see": ["nobody"]})
        async with asyncio.timeout(WITHIN_S):
            while (told := json.loads(await socket.receive_str())).get("is") != "refused":
                pass
        assert told["code"] == "target"


async def test_a_ping_is_answered_with_the_daemons_clocks(front: Front) -> None:
    async with front.session.ws_connect(f"{API}/live?points=takes") as socket:
        page = Followed(socket)
        before = front.toys.house.world.clock.now()
        await socket.send_json({"ping": 7})
        await page.until(lambda seen: seen.pongs)
        (pong,) = page.pongs
        assert pong["pong"] == 7
        assert before - 0.001 <= pong["at"] <= front.toys.house.world.clock.now() + 0.001
        assert pong["wall"].endswith("Z")


@pytest.mark.parametrize("ago_s", [0.0, LATE_S - 1.0])
async def test_a_press_that_is_young_passes(front: Front, ago_s: float) -> None:
    status, _ = await front.post("roll?wait=verdict", {}, **header(front, ago_s))
    assert status == 200


@pytest.mark.parametrize("kept", ["late", "other start", "no number", "nan"])
async def test_a_press_that_was_kept_on_its_way_is_refused_and_nothing_is_sent(front: Front, kept: str) -> None:
    house = front.toys.house
    texts = {
        "late": header(front, LATE_S + 0.1)[SEEN],
        "other start": f"{house.epoch - 1}-{house.world.clock.now()}",
        "no number": f"{house.epoch}-soon",
        "nan": f"{house.epoch}-nan",
    }
    status, told = await front.post("roll", {}, **{SEEN: texts[kept]})
    assert (status, told["code"]) == (409, "late")
    assert front.toys.asked() == []


async def test_sections_that_take_long_to_look_at_hold_up_no_points(front: Front) -> None:
    """With 1,000 recorders a look may take a tenth of a second: it is taken seldom, and points go on meanwhile."""
    async with front.session.ws_connect(f"{API}/live?points=iso-1") as socket:
        page = Followed(socket)
        await page.next()
        front.server.hub._looked_s = 60.0
        front.toys.house.chronicle.write("call", "ines", say="the piano is ready")
        front.toys.boxes["iso-1"].change({"slot.1.left": 3210})
        async with asyncio.timeout(WITHIN_S):
            while True:
                told = json.loads(await socket.receive_str())
                if any(one["name"] == "slot.1.left" and one["value"] == 3210 for one in told["points"]):
                    break
        front.toys.boxes["iso-1"].change({"slot.1.left": 3200})
        async with asyncio.timeout(WITHIN_S):
            while True:
                told = json.loads(await socket.receive_str())
                if any(one["name"] == "slot.1.left" and one["value"] == 3200 for one in told["points"]):
                    break


async def test_a_change_while_a_round_is_told_is_in_the_next_one(front: Front) -> None:
    """Between looking at the sections and telling them the loop turns: a change there wakes nobody by itself."""
    async with front.session.ws_connect(f"{API}/live?points=iso-1") as socket:
        page = Followed(socket)
        await page.next()
        hub = front.server.hub
        renew, left = hub._renew, iter(range(3001, 3100))

        def renewed(sections: Mapping[str, Any]) -> None:
            renew(sections)
            front.toys.boxes["iso-1"].change({"slot.1.left": next(left)})
            asyncio.get_running_loop().call_soon(lambda: hub._view and hub._view.mark(mark))

        mark = front.toys.house.board.points("iso-1")["slot.1.left"]
        hub._renew = renewed  # type: ignore[method-assign]
        hub._say_at = float("-inf")
        front.toys.boxes["iso-1"].change({"slot.1.left": 3000})
        async with asyncio.timeout(WITHIN_S):
            for _ in range(3):
                await page.next()
        assert not (hub._view is not None and hub._view.waiting and hub._timer is None), "nobody would wake it again"
