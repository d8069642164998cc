"""When many follow, and are told in several turns of the loop: does each get every message once, and in order?

Source: own construction. Two are told in a turn here, so that few stand for many.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from typing import Any

import aiohttp
import pytest

from stagectl.inlets.http import hub as hubs
from stagectl.inlets.http.hub import Hub
from stagectl.inlets.http.live_client import Client
from tests.inlets.http.conftest import API, Front

WITHIN_S = 10.0
IN_A_TURN = 2
PAGES = 7


class Page:
    """A socket and all that it was told."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse, client: Client) -> None:
        self.socket = socket
        self.client = client
        self.told: list[dict[str, Any]] = []

    async def next(self) -> dict[str, Any]:
        async with asyncio.timeout(WITHIN_S):
            message: dict[str, Any] = json.loads(await self.socket.receive_str())
        self.told.append(message)
        return message

    async def until(self, so: Callable[[dict[str, Any]], bool]) -> None:
        while not so(await self.next()):
            pass

    @property
    def entries(self) -> list[int]:
        return [entry["n"] for message in self.told for entry in message.get("entries", [])]

    @property
    def revs(self) -> list[int]:
        return [message["rev"] for message in self.told]

    @property
    def say(self) -> str:
        """The last sentence it was told."""
        said = [message.get("say", message.get("now", {}).get("say", "")) for message in self.told]
        return next(one if isinstance(one, str) else "" for one in reversed(said) if one)


@asynccontextmanager
async def pages(front: Front, number: int = PAGES) -> AsyncIterator[list[Page]]:
    async with AsyncExitStack() as stack:
        found = []
        for _ in range(number):
            before = set(front.server.hub._clients)
            socket = await stack.enter_async_context(front.session.ws_connect(f"{API}/live"))
            (client,) = set(front.server.hub._clients) - before
            page = Page(socket, client)
            await page.next()
            found.append(page)
        yield found


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hubs, "TOLD_SLICE", IN_A_TURN)


def routed(source: int) -> Callable[[dict[str, Any]], bool]:
    return lambda message: any(
        (one["device"], one["name"], one["value"]) == ("hall", "output.1.source", source)
        for one in message.get("points", [])
    )


def between(hub: Hub, source: int, do: Callable[[], None]) -> None:
    """Do this once, between two turns in which the message with that route is told."""
    tell_on = hub._tell_on

    def then() -> bool:
        more = tell_on()
        written = next((text for one, text in hub._pieces.items() if one.name == "output.1.source"), "")
        if more and f'"value":{source},' in written:
            hub._tell_on = tell_on  # type: ignore[method-assign]
            do()
        return more

    hub._tell_on = then  # type: ignore[method-assign]


async def test_no_turn_of_the_loop_tells_more_than_its_share(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    told = [0]
    tick, send = Hub._tick, Client.send

    def ticked(hub: Hub) -> None:
        told.append(0)
        tick(hub)

    def sent(client: Client, message: Any) -> None:
        told[-1] += 1
        send(client, message)

    async with pages(front) as all_of_them:
        monkeypatch.setattr(Hub, "_tick", ticked)
        monkeypatch.setattr(Client, "send", sent)
        front.toys.boxes["hall"].tell(output__1__source=3)
        for page in all_of_them:
            await page.until(routed(3))
    assert max(told) == IN_A_TURN
    assert sum(told) >= PAGES


async def test_each_gets_the_same_messages_once_and_in_order(front: Front) -> None:
    async with pages(front) as all_of_them:
        for source in (2, 3, 4):
            front.toys.boxes["hall"].tell(output__1__source=source)
            await asyncio.sleep(0)
        assert (await front.post("roll?wait=verdict", {}))[0] == 200
        front.toys.boxes["hall"].tell(output__1__source=5)
        assert (await front.post("cut?wait=verdict", {"take": 1}))[0] == 200
        front.toys.boxes["hall"].tell(output__1__source=6)
        for page in all_of_them:
            await page.until(routed(6))
        first = all_of_them[0]
        assert first.entries == sorted(set(first.entries))
        assert {"command", "verdict"} <= {entry["kind"] for one in first.told for entry in one.get("entries", [])}
        changes = [message for message in first.told if message["is"] == "changes"]
        for page in all_of_them:
            assert page.revs == sorted(page.revs)
            assert page.entries[-len(first.entries) :] == first.entries[-len(page.entries) :]
            own = [message for message in page.told if message["is"] == "changes"]
            assert own[-5:] == changes[-5:]


async def test_what_cannot_wait_comes_behind_the_message_under_way_and_at_once(front: Front) -> None:
    async with pages(front) as all_of_them:
        hub = front.server.hub

        def enters() -> None:
            front.toys.house.chronicle.write("take", "ines", what="test")

        between(hub, 3, enters)
        front.toys.boxes["hall"].tell(output__1__source=3)
        for page in all_of_them:
            await page.until(lambda message: any(entry["kind"] == "take" for entry in message.get("entries", [])))
            places = [place for place, message in enumerate(page.told) if routed(3)(message)]
            assert places == [len(page.told) - 2], "the one before it, once"


async def test_who_leaves_or_comes_meanwhile_disturbs_nobody(front: Front) -> None:
    async with pages(front) as all_of_them:
        hub, gone, stays = front.server.hub, all_of_them[-1], all_of_them[:-1]
        between(hub, 3, lambda: hub.leave(gone.client))
        front.toys.boxes["hall"].tell(output__1__source=3)
        for page in stays:
            await page.until(routed(3))
        async with pages(front, 1) as (late,):
            between(hub, 4, lambda: hub.turn(late.client, frozenset({"hall"})))
            front.toys.boxes["hall"].tell(output__1__source=4)
            await late.until(lambda message: message["is"] == "snapshot")
            assert routed(4)(late.told[-1])
            for page in stays:
                await page.until(routed(4))
        gone.client.end(1001)
        while (last := await gone.socket.receive(WITHIN_S)).type is aiohttp.WSMsgType.TEXT:
            assert not routed(3)(json.loads(last.data))


async def test_the_last_one_may_leave_in_the_middle(front: Front) -> None:
    async with pages(front) as all_of_them:
        hub = front.server.hub

        def leave() -> None:
            for page in all_of_them:
                hub.leave(page.client)

        between(hub, 3, leave)
        front.toys.boxes["hall"].tell(output__1__source=3)
        await front.toys.until(lambda: not hub._clients)
        assert hub._telling is None
    async with pages(front, 1) as (again,):
        assert routed(3)(again.told[0])


async def test_who_reads_again_meanwhile_gets_the_newest_last(front: Front) -> None:
    async with pages(front) as all_of_them:
        hub, slow = front.server.hub, all_of_them[-1]
        slow.client._connection.pause_writing()
        front.toys.boxes["hall"].tell(output__1__source=3)
        await all_of_them[0].until(routed(3))
        between(hub, 4, slow.client._connection.resume_writing)
        front.toys.boxes["hall"].tell(output__1__source=4)
        await all_of_them[0].until(routed(4))
        front.toys.boxes["hall"].tell(output__1__source=5)
        for page in all_of_them:
            await page.until(routed(5))
        assert not any(routed(3)(message) for message in slow.told)
        assert sum(routed(4)(message) for message in slow.told) == 1
        assert slow.revs == sorted(slow.revs)


async def test_who_did_not_read_is_told_what_is_said_meanwhile_though_no_point_of_its_own_changed(front: Front) -> None:
    async with front.session.ws_connect(f"{API}/live?points=takes") as socket, pages(front, 1) as (other,):
        (client,) = set(front.server.hub._clients) - {other.client}
        slow = Page(socket, client)
        await slow.next()
        slow.client._connection.pause_writing()
        front.toys.boxes["iso-2"].change({"slot.1.left": 3600})  # no entry of the journal speaks of it
        await other.until(lambda message: "1 h 0 min left" in str(message.get("desk", {}).get("say", "")))
        slow.client._connection.resume_writing()
        told = await slow.next()
        assert "1 h 0 min left" in told["desk"]["say"]
