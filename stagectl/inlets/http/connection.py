"""How long may a connection take, and how many may there be?

The library's own connection has no deadline for headers and no limit of number; this one has both, and ends whoever
does not read what it asked for.
"""

import asyncio
from collections.abc import Callable
from typing import Any, Final

import structlog
from aiohttp import web
from aiohttp.http_exceptions import LineTooLong
from aiohttp.web_protocol import RequestHandler

from stagectl.inlets.http.problems import ProblemError, inner_fault
from stagectl.inlets.http.strict_json import written

HEADER_S: Final = 5.0  # from the first byte of a request to the end of its headers
UNREAD_S: Final = 30.0  # what was sent and not taken for so long ends the connection
IDLE_S: Final = 30.0  # between two requests
CONNECTIONS: Final = 1100  # open at most; live feeds take fewer, so that a roll always finds a place

log = structlog.get_logger()


class Doorkeeper:
    """Counts the open connections."""

    def __init__(self, limit: int = CONNECTIONS) -> None:
        self.limit = limit
        self.open = 0
        self.turned_away = 0


class Connection(RequestHandler):
    """One client's connection.

    Attributes:
        on_writable: called when a client that had fallen behind has taken what was waiting.
        on_lost: called once when the connection is gone.
    """

    def __init__(
        self, keeper: Doorkeeper, server: web.Server, loop: asyncio.AbstractEventLoop, **settings: Any
    ) -> None:
        super().__init__(server, loop=loop, **settings)
        self._keeper = keeper
        self._counted = False
        self._busy = False
        self._header_timer: asyncio.TimerHandle | None = None
        self._unread_timer: asyncio.TimerHandle | None = None
        self.on_writable: Callable[[], None] | None = None
        self.on_lost: Callable[[], None] | None = None

    def began(self) -> None:
        """The headers are read; a handler works on the request."""
        self._busy = True
        self._stop(self._header_timer)
        self._header_timer = None

    def answered(self) -> None:
        """The handler has its answer: the next byte begins a new request."""
        self._busy = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if self._keeper.open >= self._keeper.limit:
            self._keeper.turned_away += 1
            assert isinstance(transport, asyncio.Transport)
            transport.write(_full())
            transport.close()
            return
        self._counted = True
        self._keeper.open += 1
        super().connection_made(transport)

    def connection_lost(self, exc: BaseException | None) -> None:
        self._stop(self._header_timer)
        self._stop(self._unread_timer)
        if self._counted:
            self._counted = False
            self._keeper.open -= 1
            super().connection_lost(exc)
            if self.on_lost is not None:
                self.on_lost()

    def data_received(self, data: bytes) -> None:
        if not self._counted:
            return
        if not self._busy and self._header_timer is None:
            self._header_timer = self._loop.call_later(HEADER_S, self._end)
        super().data_received(data)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._unread_timer = self._loop.call_later(UNREAD_S, self._end)

    def resume_writing(self) -> None:
        self._stop(self._unread_timer)
        self._unread_timer = None
        super().resume_writing()
        if self.on_writable is not None:
            self.on_writable()

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,
    ) -> web.StreamResponse:
        """What could not even be read as HTTP, or went wrong outside a handler."""
        if isinstance(exc, LineTooLong):
            problem = ProblemError(431, "header", "A header line is longer than 8 KiB.")
        elif status < 500:
            problem = ProblemError(400, "http", "This is no HTTP request that can be read.")
        else:
            log.error("http_fault", why=repr(exc))
            problem = inner_fault()
        response = problem.response()
        response.headers["Connection"] = "close"
        response.force_close()
        return response

    def _end(self) -> None:
        if self.transport is not None:
            self.transport.abort()

    @staticmethod
    def _stop(timer: asyncio.TimerHandle | None) -> None:
        if timer is not None:
            timer.cancel()


def _full() -> bytes:
    problem = ProblemError(503, "full", "All places at this door are taken.", remedy="Close a page and try again.")
    body = written(problem.plain())
    head = (
        "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\nRetry-After: 5\r\n"
        f"Connection: close\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body
