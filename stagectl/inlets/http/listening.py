"""How does the door listen? So that whoever comes takes a place at once, over TLS before the handshake."""

import asyncio
import errno
import socket
import ssl
from collections.abc import Callable
from contextlib import suppress
from typing import Final, Protocol

import structlog

from stagectl.inlets.http.connection import Connection
from stagectl.inlets.http.opening import GOODBYE_S, HANDSHAKE_S
from stagectl.inlets.http.places import Place, Places

BACKLOG: Final = 256
PAUSE_S: Final = 0.2  # after a fault of our own: others close their handles meanwhile, and the loop is never held
_GONE: Final = (errno.ECONNABORTED, errno.EPROTO)  # who came went away before it was taken in; accept(2)
_Make = Callable[[Place | None], Connection]  # None: it takes its place itself when it stands

log = structlog.get_logger()


class Listener(Protocol):
    """What stands open. `close` takes nobody in any more; who is in stays."""

    @property
    def port(self) -> int: ...

    def close(self) -> None: ...


class Plain:
    """Without TLS: the loop's own server; a connection stands as soon as it has come."""

    def __init__(self, server: asyncio.Server) -> None:
        self._server = server
        self.port: int = server.sockets[0].getsockname()[1]

    @classmethod
    async def open(cls, host: str, port: int, make: _Make) -> "Plain":
        """Raises OSError: the address is taken."""
        loop = asyncio.get_running_loop()
        return cls(await loop.create_server(lambda: make(None), host, port, backlog=BACKLOG))

    def close(self) -> None:
        self._server.close()


class Secure:
    """Over TLS. The loop's own server has no limit for handshakes that never end, so each takes a place here."""

    def __init__(self, sockets: list[socket.socket], secure: ssl.SSLContext, places: Places, make: _Make) -> None:
        self.port: int = sockets[0].getsockname()[1]
        self._sockets = sockets
        self._secure = secure
        self._places = places
        self._make = make
        self._loop = asyncio.get_running_loop()
        self._hands: dict[asyncio.Task[None], None] = {}  # handshakes
        self._takers = [self._loop.create_task(self._take(one), name="https") for one in sockets]

    @classmethod
    async def open(cls, host: str, port: int, secure: ssl.SSLContext, places: Places, make: _Make) -> "Secure":
        """Raises OSError: the address is taken, or none of this machine."""
        loop = asyncio.get_running_loop()
        found = await loop.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE, proto=socket.IPPROTO_TCP
        )
        sockets: list[socket.socket] = []
        try:
            for family, _, _, _, address in dict.fromkeys(found):
                at = (address[0], sockets[0].getsockname()[1], *address[2:]) if sockets and not port else address
                sockets.append(_bound(family, at))
        except OSError:
            for one in sockets:
                one.close()
            raise
        return cls(sockets, secure, places, make)

    def close(self) -> None:
        for task in (*self._takers, *self._hands):
            task.cancel()
        for one in self._sockets:
            one.close()

    async def _take(self, listening: socket.socket) -> None:
        while True:
            try:
                came, address = await self._loop.sock_accept(listening)
            except OSError as error:
                if error.errno not in _GONE:  # such as no file handle left
                    log.warning("http_not_taken", why=error.strerror)
                    await asyncio.sleep(PAUSE_S)
                continue
            place = self._places.take(str(address[0]))
            if place is None:
                came.close()
                continue
            hand = self._loop.create_task(self._greet(came, place), name="https hand")
            self._hands[hand] = None
            hand.add_done_callback(self._greeted)

    def _greeted(self, hand: asyncio.Task[None]) -> None:
        self._hands.pop(hand, None)
        if not hand.cancelled() and (slip := hand.exception()) is not None:
            log.error("https_slipped", why=repr(slip))

    async def _greet(self, came: socket.socket, place: Place) -> None:
        """Shake hands; the place is given back if that comes to nothing."""
        connection = self._make(place)
        own = asyncio.current_task()
        assert own is not None
        place.on_pushed = lambda: _ended(own)
        try:
            # its own deadlines end it
            await self._loop.connect_accepted_socket(
                lambda: connection,
                came,
                ssl=self._secure,
                ssl_handshake_timeout=HANDSHAKE_S,
                ssl_shutdown_timeout=GOODBYE_S,
            )
        except (OSError, asyncio.CancelledError) as error:  # ssl.SSLError is an OSError
            if not connection.stands:
                self._places.give(place)
                with suppress(OSError):
                    came.close()
            if isinstance(error, asyncio.CancelledError):
                raise


def _ended(hand: asyncio.Task[None]) -> None:
    hand.cancel()


def _bound(family: int, address: tuple[object, ...]) -> socket.socket:
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        made.setblocking(False)
        made.bind(address)
        made.listen(BACKLOG)
    except OSError:
        made.close()
        raise
    return made
