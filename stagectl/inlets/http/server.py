"""How does the HTTP door open and close?"""

import asyncio
import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import structlog
from aiohttp import web

from stagectl.inlets.http.calls import Door
from stagectl.inlets.http.certificate import Keeper
from stagectl.inlets.http.connection import IDLE_S, Connection
from stagectl.inlets.http.desk_page import Built
from stagectl.inlets.http.guard import BODY_BYTES, add_headers, endpoint, guard
from stagectl.inlets.http.hub import FOLLOWERS, Hub
from stagectl.inlets.http.listening import Listener, Plain, Secure
from stagectl.inlets.http.metrics import Metrics
from stagectl.inlets.http.openapi import document
from stagectl.inlets.http.opening import Tls, check, context
from stagectl.inlets.http.places import BESIDE, Place, Places
from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.http.views import version_of
from stagectl.inlets.rate import Rates
from stagectl.shoot.deskview import DeskView
from stagectl.shoot.house import House
from stagectl.shoot.teller import Teller

if TYPE_CHECKING:
    from stagectl.shoot.scenes import Scenes

STOP_S: Final = 2.0  # for answers that are being written
OFTEN_PER_S: Final = 20.0  # requests of one token, where there are accounts
OFTEN_BURST: Final = 60.0

log = structlog.get_logger()


@dataclass(slots=True)
class HttpServer:
    """An open door. `stop` closes it; commands that were heard go on."""

    host: str
    port: int
    places: Places
    hub: Hub
    tls: Tls | None
    certificate: Keeper | None
    _runner: web.AppRunner
    _listener: Listener

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


def _add_routes(app: web.Application, door: Door) -> None:
    for route in ROUTES:
        address = route.path_text.replace("takes/{n}", "takes/{n:[0-9]+}")  # takes/slate is another address
        app.router.add_route(route.method, address, endpoint(route, door))
        if route.method == "GET" and route.kind not in ("websocket", "text/event-stream"):
            app.router.add_route("HEAD", address, endpoint(route, door))
        if route.first:  # the first who rolls should not wait for it, and it loads modules: there may be no handle left
            for shape in (route.path, route.query, route.body):
                if shape is not None:
                    shape.model_rebuild()


async def serve(
    house: House,
    host: str,
    port: int,
    *,
    scenes: "Scenes | None" = None,
    tls: Tls | None = None,
    elsewhere: bool = False,
    followers: int = FOLLOWERS,
) -> HttpServer:
    """Open the door of `house`: on this machine, or with TLS and accounts to a network; port 0 takes a free one.

    `elsewhere`: if the port is taken, a free one beside it; `followers`: so many may follow live at once.

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
    hub = Hub(house, teller, view, metrics, followers)
    clock = house.world.clock
    rates, often = Rates(clock), Rates(clock, OFTEN_PER_S, OFTEN_BURST)
    door = Door(house, teller, view, scenes, hub, rates, often, metrics, lambda: document(version_of()))
    door.secure = tls is not None
    door.built = Built.read()
    door.names = frozenset(name.casefold() for name in kept.names) if kept is not None else frozenset()
    app = web.Application(middlewares=[guard(door)], client_max_size=BODY_BYTES)
    app.on_response_prepare.append(add_headers(clock, secure=door.secure))
    _add_routes(app, door)
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
    places = Places(followers + BESIDE)

    def connection(place: Place | None) -> Connection:
        settings = {"access_log": None, "keepalive_timeout": IDLE_S, "lingering_time": 1.0}
        return Connection(places, place, server, loop, **settings)

    async def listen(at: int) -> Listener:
        if secure is None:
            return await Plain.open(host, at, connection)
        return await Secure.open(host, at, secure, places, connection)

    try:
        try:
            listener = await listen(port)
        except OSError as error:
            if not elsewhere or error.errno != errno.EADDRINUSE:
                raise
            listener = await listen(0)
    except OSError:
        await runner.cleanup()
        raise
    log.info("http_open", host=host, port=listener.port, tls=tls is not None)
    if kept is not None:
        kept.start()
    opened = HttpServer(host, listener.port, places, hub, tls, kept, runner, listener)
    door.address = opened.url
    return opened
