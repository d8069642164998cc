"""How long may a connection take, and where does it stand?

The library's own connection has no deadline for headers and no limit of number; this one has both, and ends whoever
says nothing, or does not read what it asked for.
"""

import asyncio
from collections.abc import Callable
from typing import Any, Final

import structlog
from aiohttp import web
from aiohttp.http_exceptions import LineTooLong
from aiohttp.web_protocol import RequestHandler

from stagectl.inlets.http.places import Place, Places
from stagectl.inlets.http.problems import ProblemError, inner_fault
from stagectl.inlets.strict_json import written

HEADER_S: Final = 5.0  # from the first byte of a request to the end of its headers
UNREAD_S: Final = 30.0  # what was sent and not taken for so long ends the connection
IDLE_S: Final = 30.0  # between two requests
SERVER: Final = "stagectl"  # all that is told of what answers
LANE_S: Final = 2.0  # until the request of one that stands in the lane has come

log = structlog.get_logger()


class Connection(RequestHandler):
    """One client's connection.

    Attributes:
        place: where it stands; None: not yet, not any more, or there was none.
        stands: it was open once.
        on_writable: called when a client that had fallen behind has taken what was waiting.
        on_lost: called once when the connection is gone.
    """

    def __init__(
        self,
        places: Places,
        place: Place | None,
        server: web.Server,
        loop: asyncio.AbstractEventLoop,
        **settings: Any,
    ) -> None:
        """`place`: the one it took when it came; None: it takes one when it stands."""
        super().__init__(server, loop=loop, **settings)
        self.place = place
        self.stands = False
        self._places = places
        self._busy = False
        self._first_timer: asyncio.TimerHandle | None = None  # until the first request
        self._header_timer: asyncio.TimerHandle | None = None
        self._unread_timer: asyncio.TimerHandle | None = None
        self.on_writable: Callable[[], None] | None = None
        self.on_lost: Callable[[], None] | None = None

    def began(self) -> None:
        """The headers are read; a handler works on the request."""
        self._busy = True
        if self.place is not None:
            self.place.spoke = True
        self._stop(self._first_timer)
        self._stop(self._header_timer)
        self._header_timer = None

    def answered(self) -> None:
        """The handler has its answer: the next byte begins a new request."""
        self._busy = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.place = self.place or self._places.take(str((transport.get_extra_info("peername") or [""])[0]))
        if self.place is None:
            assert isinstance(transport, asyncio.Transport)
            transport.write(_full())
            transport.close()
            return
        self.stands = True
        self.place.on_pushed = self._end
        super().connection_made(transport)
        self._first_timer = self._loop.call_later(LANE_S if self.place.in_lane else IDLE_S, self._end)

    def connection_lost(self, exc: BaseException | None) -> None:
        self._stop(self._header_timer)
        self._stop(self._unread_timer)
        self._stop(self._first_timer)
        if self.place is not None:
            self._places.give(self.place)
            self.place = None
            super().connection_lost(exc)
            if self.on_lost is not None:
                self.on_lost()

    def data_received(self, data: bytes) -> None:
        if self.place is None:
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
        response.headers["Server"] = SERVER  # else the library tells its version and Python's
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


def full() -> ProblemError:
    """All places are taken, and this is not what the lane is for."""
    return ProblemError(503, "full", "All places at this door are taken.", remedy="Close a page and try again.")


def _full() -> bytes:
    problem = full()
    body = written(problem.plain())
    head = (
        "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\nRetry-After: 5\r\n"
        f"Connection: close\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body
