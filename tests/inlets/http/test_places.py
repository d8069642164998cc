"""Who gets in when a crowd stands at the door? Ordinary places, so many a source, and a lane for roll and cut.

Source: own construction, after the security model: a lane that no flood can fill. 192.0.2.x and 198.51.100.x are
addresses for examples (RFC 5737).
"""

import asyncio
import errno
import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiohttp
import pytest

from stagectl.inlets.http import connection, listening
from stagectl.inlets.http.places import LANE, LANE_EACH, Place, Places
from stagectl.inlets.http.server import HttpServer, serve
from tests.inlets.http.authority import NAMES, issue
from tests.inlets.http.conftest import API, Front
from tests.inlets.http.keys import Keys, close

HERE = "127.0.0.1"


def pushed(place: Place) -> list[str]:
    """Gets an entry when another one takes this place."""
    told: list[str] = []
    place.on_pushed = lambda: told.append("pushed")
    return told


# -- the rule ---------------------------------------------------------------------------------------------------------


def test_one_source_of_the_network_has_so_many_places_and_this_machine_all() -> None:
    places = Places(ordinary=100, each=3)
    crowd = [places.take("192.0.2.7") for _ in range(4)]
    assert [one is not None and one.in_lane for one in crowd] == [False, False, False, True]
    other, own = places.take("192.0.2.8"), [places.take(HERE) for _ in range(50)]
    assert other is not None
    assert not other.in_lane
    assert not any(one is None or one.in_lane for one in own)
    assert places.open == 55


def test_a_place_that_is_given_back_is_the_next_ones() -> None:
    places = Places(ordinary=1, each=1)
    first = places.take("192.0.2.7")
    assert first is not None
    places.give(first)
    again = places.take("192.0.2.7")
    assert again is not None
    assert not again.in_lane
    assert places.open == 1


def test_who_is_silent_in_the_lane_makes_room_for_the_next() -> None:
    places = Places(ordinary=0)
    crowd = [places.take(f"198.51.100.{number}") for number in range(LANE)]
    told = [pushed(one) for one in crowd if one is not None]
    spoken = crowd[0]
    assert spoken is not None
    spoken.spoke = True
    came = places.take("192.0.2.9")
    assert came is not None
    assert came.in_lane
    assert [bool(one) for one in told[:3]] == [False, True, False], "the oldest that has said nothing"
    assert places.open == LANE


def test_a_crowd_from_one_source_pushes_out_its_own() -> None:
    places = Places(ordinary=0)
    good = places.take("192.0.2.9")
    assert good is not None
    told = pushed(good)
    for _ in range(10 * LANE):
        assert places.take("198.51.100.1") is not None
    assert told == []
    assert places.open == 1 + LANE_EACH


def test_only_a_lane_full_of_those_who_have_spoken_turns_one_away() -> None:
    places = Places(ordinary=0)
    for number in range(LANE):
        one = places.take(f"198.51.100.{number}")
        assert one is not None
        one.spoke = True
    assert places.take("192.0.2.9") is None
    assert places.turned_away == 1


# -- over the wire ----------------------------------------------------------------------------------------------------


@asynccontextmanager
async def crowd(port: int, number: int) -> AsyncIterator[list[asyncio.StreamReader]]:
    """So many connections that say nothing."""
    lines = [await asyncio.open_connection(HERE, port) for _ in range(number)]
    try:
        yield [reader for reader, _ in lines]
    finally:
        for _, writer in lines:
            writer.transport.abort()


async def anew(server: HttpServer, path: str, body: object, trust: ssl.SSLContext | bool = True, **head: str) -> int:
    """The status of one request over a connection of its own."""
    url = f"{'https' if trust is not True else 'http'}://localhost:{server.port}"
    async with aiohttp.ClientSession(url, connector=aiohttp.TCPConnector(ssl=trust), headers=head) as session:
        method = "GET" if body is None else "POST"
        async with session.request(method, f"{API}/{path}", json=body) as answer:
            return answer.status


async def test_a_full_door_hears_a_roll_and_a_cut_and_nothing_else(front: Front) -> None:
    keys: Keys = await close(front)
    places = front.server.places
    places.ordinary = places.open + 2
    async with crowd(front.server.port, 2 + LANE):
        await front.toys.until(lambda: places.open >= 2 + LANE_EACH)
        ines = keys.of("ines")
        assert await anew(front.server, "now", None, **ines) == 503
        assert await anew(front.server, "takes/slate", {"name": "x"}, **ines) == 503
        assert await anew(front.server, "roll?wait=verdict", {}, **keys.of("nobody")) == 401
        assert await anew(front.server, "roll?wait=verdict", {}, **keys.of("mara")) == 403
        assert await anew(front.server, "roll?wait=verdict", {}, **ines) == 200
        assert await anew(front.server, "cut?wait=verdict", {"take": 1}, **ines) == 200
        status = await anew(front.server, "in/pedal?wait=verdict", {"verb": "roll"}, **keys.of("pedal"))
        assert status == 200, "a pedal comes through here too"
    await front.toys.until(lambda: places.open <= places.ordinary)


async def test_in_the_lane_one_request_is_heard_and_silence_ends_soon(
    front: Front, monkeypatch: pytest.MonkeyPatch
) -> None:
    places = front.server.places
    places.ordinary = places.open
    press = b"POST /api/v1/roll HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\n\r\n"
    reader, writer = await asyncio.open_connection(HERE, front.server.port)
    writer.write(press)
    async with asyncio.timeout(10):
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 202")
        assert b"connection: close" in head.lower()
        writer.write(press)
        assert (await reader.read()).count(b"HTTP/1.1") == 0
    writer.transport.abort()
    monkeypatch.setattr(connection, "LANE_S", 0.05)
    async with crowd(front.server.port, 1) as (silent,), asyncio.timeout(10):
        assert await silent.read() == b""


async def test_who_never_says_anything_is_let_go(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "IDLE_S", 0.05)
    async with crowd(front.server.port, 1) as (silent,), asyncio.timeout(10):
        assert await silent.read() == b""


async def test_handshakes_that_never_end_take_places_and_hold_no_roll_back(front: Front, tmp_path: Path) -> None:
    keys = await close(front)
    tls = issue(tmp_path / "ca", *NAMES)
    trust = ssl.create_default_context(cafile=str(tls.certificate.parent / "ca.pem"))
    server = await serve(front.toys.house, HERE, 0, tls=tls)
    try:
        server.places.ordinary = 5
        async with crowd(server.port, 5 + LANE):
            await front.toys.until(lambda: server.places.open >= 5 + LANE_EACH)
            assert await anew(server, "now", None, trust, **keys.of("ines")) == 503
            assert await anew(server, "roll?wait=verdict", {}, trust, **keys.of("ines")) == 200
        await front.toys.until(lambda: server.places.open == 0)
    finally:
        await server.stop()


# -- how often --------------------------------------------------------------------------------------------------------


async def test_a_token_that_asks_too_often_is_told_and_its_roll_is_heard(front: Front) -> None:
    keys = await close(front)
    head = keys.of("ines")
    statuses = [(await front.get("me", **head))[0] for _ in range(120)]
    assert statuses[:60] == [200] * 60
    assert 429 in statuses
    assert (await front.get("me", **keys.of("tomas")))[0] == 200, "others are not"
    assert (await front.post("roll?wait=verdict", {}, **head))[0] == 200
    assert (await front.post("cut?wait=verdict", {"take": 1}, **head))[0] == 200


async def test_guesses_of_tokens_are_slowed_down_by_their_source(front: Front) -> None:
    keys = await close(front)
    statuses = [(await front.get("me", Authorization=f"Bearer guess-{count}"))[0] for count in range(120)]
    assert set(statuses) == {401, 429}
    assert (await front.get("me", **keys.of("ines")))[0] == 200


async def test_a_house_without_accounts_counts_nobody(front: Front) -> None:
    assert {(await front.get("me"))[0] for _ in range(150)} == {200}


async def test_without_a_handle_left_the_door_waits_and_then_takes_in_again(
    front: Front, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listening, "PAUSE_S", 0.01)
    loop = asyncio.get_running_loop()
    taken, faults = loop.sock_accept, [OSError(errno.EMFILE, "Too many open files")] * 3

    async def refused(sock: socket.socket) -> tuple[socket.socket, object]:
        if faults:
            raise faults.pop()
        came, address = await taken(sock)
        return came, address

    monkeypatch.setattr(loop, "sock_accept", refused, raising=False)
    keys = await close(front)
    tls = issue(tmp_path / "ca", *NAMES)
    trust = ssl.create_default_context(cafile=str(tls.certificate.parent / "ca.pem"))
    server = await serve(front.toys.house, HERE, 0, tls=tls)
    try:
        assert await anew(server, "now", None, trust, **keys.of("ines")) == 200
        assert faults == []
    finally:
        await server.stop()
