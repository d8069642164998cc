"""Who follows the house live, what is seen, and what does a client that does not read cost the others?

Source: own construction; messages after the project's inlet vocabulary.
"""

import asyncio
import json
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import aiohttp
import pytest

from stagectl.inlets.http import connection, live, live_client
from tests.inlets.http.conftest import API, Front

WITHIN_S = 10.0


class Feed:
    """A live socket, read message by message; answers to acts and changes of the house apart."""

    def __init__(self, socket_: aiohttp.ClientWebSocketResponse) -> None:
        self.socket = socket_
        self.points: dict[tuple[str, str], dict[str, Any]] = {}
        self.rev = 0
        self.messages: list[dict[str, Any]] = []

    async def next(self) -> dict[str, Any]:
        async with asyncio.timeout(WITHIN_S):
            message: dict[str, Any] = json.loads(await self.socket.receive_str())
        self.messages.append(message)
        if message["is"] in ("snapshot", "changes"):
            assert message["rev"] >= self.rev, "revisions never go back"
            self.rev = message["rev"]
            for point in message["points"]:
                self.points[point["device"], point["name"]] = point
        return message

    async def until(self, device: str, name: str, value: object) -> None:
        while self.points.get((device, name), {}).get("value") != value:
            await self.next()

    async def told(self, identifier: str, word: str) -> dict[str, Any]:
        """The answer to an act of that id that is `word`."""
        while True:
            for message in self.messages:
                if message.get("re") == identifier and message["is"] == word:
                    return message
            await self.next()


@asynccontextmanager
async def feed(front: Front, query: str = "", **options: Any) -> AsyncIterator[Feed]:
    async with front.session.ws_connect(f"{API}/live{query}", **options) as opened:
        yield Feed(opened)


async def test_a_snapshot_comes_first_and_holds_every_point(front: Front) -> None:
    async with feed(front) as one:
        first = await one.next()
    assert first["is"] == "snapshot"
    assert "3 of 3 can roll." in first["now"]["say"]
    _, listed = await front.get("points")
    assert {(point["device"], point["name"]) for point in listed["points"]} == set(one.points)
    assert one.points["mixer", "strip.1.level"] == {
        **one.points["mixer", "strip.1.level"],
        "value": -12.0,
        "unit": "dB",
        "quality": "good",
        "by": "",
    }


async def test_a_change_at_the_box_is_seen_with_its_author(front: Front) -> None:
    async with feed(front) as one:
        await one.next()
        front.toys.boxes["hall"].tell(output__2__source=4)
        await one.until("hall", "output.2.source", 4)
    assert one.points["hall", "output.2.source"]["by"] == "box"


async def test_many_changes_of_a_point_are_one_message(front: Front) -> None:
    async with feed(front) as one:
        await one.next()
        for source in range(1, 5):
            front.toys.boxes["hall"].tell(output__2__source=source)
        await one.until("hall", "output.2.source", 4)
    seen = [
        point["value"]
        for message in one.messages
        if message["is"] == "changes"
        for point in message["points"]
        if point["name"] == "output.2.source"
    ]
    assert len(seen) < 4
    assert seen[-1] == 4


async def test_only_the_asked_devices_are_seen(front: Front) -> None:
    async with feed(front, "?device=hall,takes") as one:
        await one.next()
        assert {device for device, _ in one.points} == {"hall", "takes"}
        front.toys.boxes["mixer"].tell(strip__1__level=-3.0)
        front.toys.boxes["hall"].tell(output__1__source=3)
        await one.until("hall", "output.1.source", 3)
        assert {device for device, _ in one.points} == {"hall", "takes"}


async def test_a_device_that_is_not_there_is_refused_before_the_socket(front: Front) -> None:
    status, answer = await front.get("events?device=nobody")
    assert (status, answer["code"]) == (404, "target")


async def test_a_take_is_told_as_it_opens_with_its_verdict_and_sentence(front: Front) -> None:
    async with feed(front) as one:
        await one.next()
        await front.post("roll?wait=verdict", {"name": "Songs"})
        kinds: list[str] = []
        says: list[str] = []
        while "verdict" not in kinds or not says:
            message = await one.next()
            kinds += [entry["kind"] for entry in message.get("entries", ())]
            says += [message["say"]] if "say" in message else []
    assert kinds.index("command") < kinds.index("verdict")
    assert "take" in kinds
    assert says[-1].startswith("Take 1 rolls on")


async def test_an_act_over_the_socket_is_heard_and_then_done(front: Front) -> None:
    async with feed(front) as one:
        await one.socket.send_str(json.dumps({"do": "roll", "args": {"name": "Songs"}, "id": "7"}))
        heard = await one.told("7", "heard")
        done = await one.told("7", "done")
        assert heard["command"] == done["command"]
        assert (done["count"], done["take"]) == ("3 of 3", 1)
        await one.socket.send_str(json.dumps({"do": "cut", "args": {"take": 1}, "id": "8"}))
        assert (await one.told("8", "done"))["say"] == "Take 1 ended on 3 of 3."
    _, command = await front.get(f"commands/{heard['command']}")
    assert command["inlet"] == "live"


async def test_the_same_id_twice_on_a_socket_is_one_take(front: Front) -> None:
    async with feed(front) as one:
        for _ in range(2):
            await one.socket.send_str(json.dumps({"do": "roll", "id": "7"}))
        await one.told("7", "done")
    assert len(front.toys.asked()) == 3


async def test_a_long_id_is_one_wish_on_every_door(front: Front) -> None:
    await front.post("roll?wait=verdict", {}, Idempotency_Key="0123456789abcdef")
    async with feed(front) as one:
        await one.socket.send_str(json.dumps({"do": "roll", "id": "0123456789abcdef"}))
        assert (await one.told("0123456789abcdef", "done"))["command"] == "0123456789abcdef"
    assert len(front.toys.asked()) == 3


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("nonsense", "json"),
        ('{"do": "roll", "id": "7", "id": "8"}', "json"),
        ('{"do": "format", "id": "7"}', "shape"),
        ('{"do": "roll"}', "shape"),
        ("[]", "shape"),
        ('{"do": "cut", "id": "7"}', "take"),
        ('{"do": "cut", "args": {"take": 5}, "id": "7"}', "take"),
        ('{"do": "roll", "args": {"colour": "red"}, "id": "7"}', "argument"),
        ('{"do": "roll", "args": {"on": ["nobody"]}, "id": "7"}', "target"),
    ],
)
async def test_what_is_not_understood_on_the_socket_is_refused_there(front: Front, text: str, code: str) -> None:
    async with feed(front) as one:
        await one.next()
        await one.socket.send_str(text)
        while (answer := await one.next())["is"] != "refused":
            pass
        assert answer["code"] == code
        assert answer["say"]
    assert front.toys.asked() == []


async def test_a_socket_that_asks_too_often_is_slowed(front: Front) -> None:
    async with feed(front) as one:
        for number in range(14):
            await one.socket.send_str(json.dumps({"do": "cut", "args": {"take": 9}, "id": str(number)}))
        answers = []
        while len(answers) < 14:
            message = await one.next()
            answers += [message["code"]] if message["is"] == "refused" else []
    assert answers[:10] == ["take"] * 10
    assert "rate" in answers[10:]


async def test_a_viewer_may_follow_but_not_act(front: Front) -> None:
    async with feed(front, headers={"X-Stage-Who": "guest"}) as one:
        await one.socket.send_str(json.dumps({"do": "roll", "id": "7"}))
        assert (await one.told("7", "refused"))["code"] == "role"
    assert front.toys.asked() == []


async def test_a_page_from_elsewhere_gets_no_socket(front: Front) -> None:
    with pytest.raises(aiohttp.WSServerHandshakeError) as refusal:
        await front.session.ws_connect(f"{API}/live", headers={"Origin": "http://evil.example"})
    assert refusal.value.status == 403


async def test_a_plain_request_is_told_to_upgrade(front: Front) -> None:
    status, answer = await front.get("live")
    assert (status, answer["code"]) == (426, "upgrade")


async def test_a_socket_that_speaks_something_else_is_closed_with_a_reason(front: Front) -> None:
    async with front.session.ws_connect(f"{API}/live", protocols=("other.v9",)) as opened:
        message = await opened.receive(WITHIN_S)
        assert (message.type, message.data) == (aiohttp.WSMsgType.CLOSE, 4400)
    async with front.session.ws_connect(f"{API}/live", protocols=("stagectl.v1",)) as opened:
        assert opened.protocol == "stagectl.v1"


async def test_a_message_that_is_too_long_ends_the_socket(front: Front) -> None:
    async with feed(front) as one:
        await one.socket.send_str(" " * 5000)
        while (message := await one.socket.receive(WITHIN_S)).type is aiohttp.WSMsgType.TEXT:
            pass
        assert message.data == 1009
    assert (await front.get("/livez"))[0] == 200


async def test_followers_beyond_the_last_place_are_refused(front: Front) -> None:
    front.server.hub.most = 1
    async with feed(front) as one:
        await one.next()
        status, answer = await front.get("events")
        assert (status, answer["code"]) == (503, "full")
        assert (await front.post("roll?wait=verdict", {}))[0] == 200


async def test_nobody_following_costs_nothing(front: Front) -> None:
    async with feed(front) as one:
        await one.next()
    await front.toys.until(lambda: not front.server.hub._clients)
    assert front.server.hub._view is None
    assert front.server.hub._follower is None
    assert front.server.hub._timer is None
    assert not front.server.hub._pieces


# -- server-sent events -----------------------------------------------------------------------------------------------


async def next_event(answer: aiohttp.ClientResponse) -> dict[str, str]:
    """The next event of a stream by field; comments are passed over."""
    fields: dict[str, str] = {}
    async with asyncio.timeout(WITHIN_S):
        while True:
            line = (await answer.content.readline()).decode().rstrip("\n")
            if line.startswith(":"):
                continue
            if not line and fields:
                return fields
            name, found, value = line.partition(": ")
            if found:
                fields[name] = value


async def test_the_stream_of_events_tells_the_same(front: Front) -> None:
    async with front.session.get(f"{API}/events?device=hall") as answer:
        assert answer.content_type == "text/event-stream"
        first = await next_event(answer)
        assert first["event"] == "snapshot"
        epoch, _, rev = first["id"].partition("-")
        assert epoch == "1"
        front.toys.boxes["hall"].tell(output__4__source=1)
        while True:
            event = await next_event(answer)
            assert event["event"] == "changes"
            if any(point["name"] == "output.4.source" for point in json.loads(event["data"])["points"]):
                break
        assert int(event["id"].partition("-")[2]) > int(rev)
    await front.toys.until(lambda: not front.server.hub._clients)


async def test_an_idle_stream_is_kept_alive_by_comments(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "HEARTBEAT_S", 0.02)
    async with front.session.get(f"{API}/events?device=mixer") as answer:
        lines = []
        async with asyncio.timeout(WITHIN_S):
            while lines.count(b": \n") < 2:
                lines.append(await answer.content.readline())


# -- a client that does not read --------------------------------------------------------------------------------------


class Deaf:
    """A WebSocket client on a bare socket with a tiny window: it reads only when told to."""

    def __init__(self, front: Front) -> None:
        self.socket = socket.socket()
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self.socket.setblocking(False)
        self._front = front
        self.client: live_client.Client

    async def open(self) -> None:
        loop = asyncio.get_running_loop()
        await loop.sock_connect(self.socket, ("127.0.0.1", self._front.server.port))
        await loop.sock_sendall(
            self.socket,
            b"GET /api/v1/live HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n",
        )
        await self._front.toys.until(lambda: bool(self._front.server.hub._clients))
        (self.client,) = self._front.server.hub._clients
        transport = self.client._connection.transport
        assert transport is not None
        transport.set_write_buffer_limits(high=4096)
        transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)

    async def read_all(self, until: bytes, times: int = 1) -> bytes:
        """Read until the bytes came so many times, or the end."""
        found = b""
        async with asyncio.timeout(WITHIN_S):
            while found.count(until) < times:
                more = await asyncio.get_running_loop().sock_recv(self.socket, 1 << 20)
                if not more:
                    return found
                found += more
        return found


async def fill(front: Front, deaf: Deaf) -> None:
    """Change a long name until the client has fallen behind."""
    names = iter(range(1_000_000))

    def behind() -> bool:
        front.toys.boxes["iso-1"].tell(clip__name=f"clip {next(names)} " + "x" * 3000)
        return deaf.client.behind

    await front.toys.until(behind)


async def test_a_client_that_does_not_read_costs_only_itself(front: Front) -> None:
    deaf = Deaf(front)
    await deaf.open()
    async with feed(front) as one:
        await one.next()
        await fill(front, deaf)
        front.toys.boxes["hall"].tell(output__1__source=3)
        await one.until("hall", "output.1.source", 3)
        assert (await front.post("roll?wait=verdict", {}))[0] == 200
    deaf.socket.close()


async def test_a_client_that_reads_again_gets_the_newest_of_each_point(front: Front) -> None:
    deaf = Deaf(front)
    await deaf.open()
    await fill(front, deaf)
    client = deaf.client
    for source in (2, 3, 4):
        front.toys.boxes["hall"].tell(output__1__source=source)
    front.toys.boxes["iso-1"].tell(clip__name="the newest")
    await front.toys.until(
        lambda: any(one.spec.name == "clip.name" and one.value == "the newest" for one in client.held)
    )
    assert len(client.held) < len(list(front.toys.house.board.everything()))
    text = await deaf.read_all(b'"the newest"')
    assert b'"name":"output.1.source","unit":"","value":4' in text
    assert b'"name":"output.1.source","unit":"","value":2' not in text
    deaf.socket.close()


async def test_a_client_that_misses_too_many_entries_gets_a_fresh_snapshot(front: Front) -> None:
    deaf = Deaf(front)
    await deaf.open()
    await fill(front, deaf)
    client = deaf.client
    for number in range(live_client.HELD + 1):
        front.toys.house.chronicle.write("link", "", device="hall", what="test", why=str(number))
    await front.toys.until(lambda: client.fresh)
    assert not client.held
    text = await deaf.read_all(b'"is":"snapshot"', times=2)
    assert text.count(b'"is":"snapshot"') == 2
    deaf.socket.close()


async def test_a_client_that_never_reads_is_let_go(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "UNREAD_S", 0.05)
    deaf = Deaf(front)
    await deaf.open()
    await fill(front, deaf)
    await front.toys.until(lambda: not front.server.hub._clients)
    deaf.socket.close()


async def test_the_door_closes_with_a_goodbye(front: Front) -> None:
    async with feed(front) as one:
        await one.next()
        await front.server.stop()
        while (message := await one.socket.receive(WITHIN_S)).type is aiohttp.WSMsgType.TEXT:
            pass
        assert message.data == 1001
