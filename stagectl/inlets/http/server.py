"""How does the HTTP door open and close?"""

import asyncio
import ssl
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import structlog
from aiohttp import web

from stagectl.inlets.http.calls import Door
from stagectl.inlets.http.certificate import Keeper
from stagectl.inlets.http.connection import IDLE_S, Connection, Doorkeeper
from stagectl.inlets.http.desk_page import Built
from stagectl.inlets.http.guard import BODY_BYTES, add_headers, endpoint, guard
from stagectl.inlets.http.live import Hub
from stagectl.inlets.http.metrics import Metrics
from stagectl.inlets.http.openapi import document
from stagectl.inlets.http.opening import GOODBYE_S, HANDSHAKE_S, Tls, check, context
from stagectl.inlets.http.rate import Rates
from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.http.views import version_of
from stagectl.shoot.deskview import DeskView
from stagectl.shoot.house import House
from stagectl.shoot.teller import Teller

if TYPE_CHECKING:
    from stagectl.shoot.scenes import Scenes

STOP_S: Final = 2.0  # for answers that are being written

log = structlog.get_logger()


@dataclass(slots=True)
class HttpServer:
    """An open door. `stop` closes it; commands that were heard go on."""

    host: str
    port: int
    keeper: Doorkeeper
    hub: Hub
    tls: Tls | None
    certificate: Keeper | None
    _runner: web.AppRunner
    _listener: asyncio.Server

    @property
    def url(self) -> str:
        """Where it is, for people and programs."""
        host = self.certificate.names[0] if self.certificate is not None and self.certificate.names else self.host
        scheme = "http" if self.tls is None else "https"
        return f"{scheme}://[{host}]:{self.port}" if ":" in host else f"{scheme}://{host}:{self.port}"

    async def stop(self) -> None:
        """Let go of every client, live feeds first."""
        self._listener.close()
        if self.certificate is not None:
            self.certificate.stop()
        self.hub.stop()
        await self._runner.cleanup()


async def serve(
    house: House, host: str, port: int, *, scenes: "Scenes | None" = None, tls: Tls | None = None
) -> HttpServer:
    """Open the door of `house`: on this machine, or with TLS and accounts to a network; port 0 takes a free one.

    Raises:
        SiteError: others could reach the address, and there is no account or no TLS; or its files can't be used.
        OSError: the address is taken.
    """
    check(host, tls, accounts=bool(house.gate.accounts))
    secure = None if tls is None else context(tls)
    kept = None if tls is None or secure is None else Keeper(tls, secure, house.world.clock, house.troubled)
    loop = asyncio.get_running_loop()
    metrics = Metrics(house)
    teller = Teller(house)
    view = DeskView(house, teller)
    hub = Hub(house, teller, view, metrics)
    door = Door(house, teller, view, scenes, hub, Rates(house.world.clock), metrics, lambda: document(version_of()))
    door.secure = tls is not None
    door.built = Built.read()
    door.names = frozenset(name.casefold() for name in kept.names) if kept is not None else frozenset()
    app = web.Application(middlewares=[guard(door)], client_max_size=BODY_BYTES)
    app.on_response_prepare.append(add_headers(house.world.clock, secure=door.secure))
    for route in ROUTES:
        address = route.path_text.replace("takes/{n}", "takes/{n:[0-9]+}")  # takes/slate is another address
        app.router.add_route(route.method, address, endpoint(route, door))
        if route.method == "GET" and route.kind not in ("websocket", "text/event-stream"):
            app.router.add_route("HEAD", address, endpoint(route, door))
    runner = web.AppRunner(
        app,
        access_log=None,
        keepalive_timeout=IDLE_S,
        lingering_time=1.0,
        shutdown_timeout=STOP_S,
        handle_signals=False,
    )
    await runner.setup()
    server = runner.server
    assert server is not None
    keeper = Doorkeeper()
    settings = {"access_log": None, "keepalive_timeout": IDLE_S, "lingering_time": 1.0}
    try:
        listener = await loop.create_server(
            lambda: Connection(keeper, server, loop, **settings), host, port, backlog=256, **_over(secure)
        )
    except OSError:
        await runner.cleanup()
        raise
    bound = listener.sockets[0].getsockname()[1]
    log.info("http_open", host=host, port=bound, tls=tls is not None)
    if kept is not None:
        kept.start()
    opened = HttpServer(host, bound, keeper, hub, tls, kept, runner, listener)
    door.address = opened.url
    return opened


def _over(secure: ssl.SSLContext | None) -> dict[str, Any]:
    """What the listener is told about TLS."""
    if secure is None:
        return {}
    return {"ssl": secure, "ssl_handshake_timeout": HANDSHAKE_S, "ssl_shutdown_timeout": GOODBYE_S}
