"""How does somebody follow the house live? Over a WebSocket, which acts too, or over a stream of events."""

import asyncio
from collections.abc import Callable, Iterable
from typing import Final

from aiohttp import WSMsgType, web

from stagectl.control.access import NOBODY, Person
from stagectl.inlets import strict_json
from stagectl.inlets.http.bearer import source_of
from stagectl.inlets.http.calls import Call
from stagectl.inlets.http.connection import Connection
from stagectl.inlets.http.live_acts import Asker
from stagectl.inlets.http.live_client import Client
from stagectl.inlets.http.problems import ProblemError
from stagectl.inlets.http.rules import SEE
from stagectl.model.errors import RefusedError
from stagectl.shoot.house import House

HEARTBEAT_S: Final = 20.0
TOKEN_S: Final = 2.0  # for the first message of a socket that came without a token
MESSAGE_BYTES: Final = 4096  # of an act over the socket
PROTOCOL: Final = "stagectl.v1"


def _seen(call: Call, word: str = "device") -> frozenset[str] | None:
    """Which devices a follower asked for."""
    text = call.query.get(word)
    return None if text is None else _known(call.door.house, str(text).split(","))


def _known(house: House, given: Iterable[str]) -> frozenset[str]:
    """Names of devices and parts. Raises ProblemError: there is no such one."""
    names = frozenset(given)
    for name in sorted(names):
        if name not in house.boxes and name not in house.parts:
            raise ProblemError(404, "target", f'There is no device "{name}".', remedy="See /api/v1/devices.")
    return names


def _place(call: Call) -> Connection:
    """The connection of a new follower. Raises ProblemError: no place left."""
    if call.door.hub.full:
        raise ProblemError(503, "full", "All live places are taken.", remedy="Close a page and try again.")
    connection = call.request.protocol
    assert isinstance(connection, Connection)
    return connection


async def socket(call: Call) -> web.StreamResponse:
    """A snapshot, then changes by revision. Acts: {"do":"roll","args":{},"id":"7"} -> heard, then done.

    A repeated id of 16 or more characters is one wish on every door; a shorter one only on this socket.
    {"ping":1} is answered with the daemon's clocks, {"see":["paths"]} turns to other points.
    """
    devices, connection = _seen(call), _place(call)
    response = web.WebSocketResponse(
        heartbeat=HEARTBEAT_S, max_msg_size=MESSAGE_BYTES, compress=False, protocols=(PROTOCOL,)
    )
    if not response.can_prepare(call.request).ok:
        raise ProblemError(
            426,
            "upgrade",
            "This address is a WebSocket.",
            remedy="Or follow /api/v1/events.",
            headers={"Upgrade": "websocket"},
        )
    await response.prepare(call.request)
    if "Sec-WebSocket-Protocol" in call.request.headers and response.ws_protocol is None:
        await response.close(code=4400, message=b"stagectl.v1 is spoken here")
        return response
    person = call.person if call.person is not NOBODY else await _first_word(call, response)
    if person is None:
        return response
    client = Client(connection, person, devices, websocket=True)
    client.points = _seen(call, "points")
    hub = call.door.hub
    connection.on_writable = lambda: hub.caught_up(client)
    hub.join(client)
    asker = Asker(call.door, person, client.answer, lambda names: hub.turn(client, _known(call.door.house, names)))
    let_go = _ends_with(person, client, 4401)
    try:
        async for message in response:
            if message.type is WSMsgType.TEXT:
                await asker.hear(message.data)
            elif message.type is WSMsgType.BINARY:
                await response.close(code=1003, message=b"text is taken")
    finally:
        let_go()
        hub.leave(client)
        asker.stop()
    return response


async def _first_word(call: Call, response: web.WebSocketResponse) -> Person | None:
    """Who it is by its first message, {"token": ...}; None: it was let go of, and nothing was shown to it."""
    why = ""
    try:
        async with asyncio.timeout(TOKEN_S):
            message = await response.receive()
        given = strict_json.read(message.data.encode()) if message.type is WSMsgType.TEXT else None
        text = given.get("token") if isinstance(given, dict) else None
        person, _ = call.door.house.gate.bearer(text if isinstance(text, str) else "")
        SEE.admit(person)
    except TimeoutError:
        why = "no token came"
    except (RefusedError, strict_json.StrictError) as error:
        why = str(error)
    else:
        return person
    call.door.house.gate.refuse("somebody", source_of(call.request), "live", why, "token")
    await response.close(code=4401, message=b"a token is needed")
    return None


def _ends_with(person: Person, client: Client, code: int | None) -> Callable[[], None]:
    """End a feed when the token it came with ends. Returns how to leave that off."""
    shows = person.shows
    if shows is None:
        return lambda: None

    def end() -> None:
        client.end(code)
        client.lost.set()

    shows.on_end.append(end)
    if shows.ended:  # it ended while the feed was being opened
        shows.end()
    return lambda: shows.on_end.remove(end) if end in shows.on_end else None


async def events(call: Call) -> web.StreamResponse:
    """The same changes as `live`, for programs that only read. Ids are "epoch-revision"."""
    devices, connection = _seen(call), _place(call)
    chunked = call.request.version >= (1, 1)
    response = web.StreamResponse(headers={"Content-Type": "text/event-stream", "X-Accel-Buffering": "no"})
    if chunked:
        response.enable_chunked_encoding()
    await response.prepare(call.request)
    await response.write(b": stagectl\n\n")
    client = Client(connection, call.person, devices, websocket=False, chunked=chunked)
    client.points = _seen(call, "points")
    hub = call.door.hub
    connection.on_writable = lambda: hub.caught_up(client)
    connection.on_lost = client.lost.set
    hub.join(client)
    let_go = _ends_with(call.person, client, 1000)
    try:
        while not client.lost.is_set():
            try:
                async with asyncio.timeout(HEARTBEAT_S):
                    await client.lost.wait()
            except TimeoutError:
                client.breathe()
    finally:
        let_go()
        hub.leave(client)
    return response
