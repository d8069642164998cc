"""Who and what gets past the door? Host, Origin, shape, size and time of every request; nothing else is asked twice."""

import asyncio
import ipaddress
from collections.abc import Awaitable, Callable
from dataclasses import replace
from email.utils import format_datetime
from typing import Any, Final

import structlog
from aiohttp import web
from aiohttp.typedefs import Middleware
from pydantic import BaseModel, ValidationError

from stagectl.control.access import NOBODY, Person
from stagectl.control.tokens import Token
from stagectl.inlets import strict_json
from stagectl.inlets.http import form
from stagectl.inlets.http.bearer import person_of, source_of
from stagectl.inlets.http.calls import Answer, Call, Door
from stagectl.inlets.http.connection import SERVER, Connection, full
from stagectl.inlets.http.places import Place
from stagectl.inlets.http.problems import ProblemError, from_aiohttp, inner_fault, misshapen, refused, too_large
from stagectl.inlets.http.route import Route
from stagectl.model.errors import RefusedError
from stagectl.model.world import Clock

BODY_BYTES: Final = 1 << 20
BODY_S: Final = 10.0  # from the end of the headers to the end of the body
URL_LONGEST: Final = 4096
NAMES: Final = ("localhost", "127.0.0.1", "::1")
# refusals that stand in the journal
WRITTEN: Final = frozenset({"token", "role", "fresh", "who", "held", "locked", "confirm"})
KEY: Final = "Idempotency-Key"
SEEN: Final = "Stagectl-Seen"
LATE_S: Final = 3.0  # a wish that was longer on its way is not carried out: who pressed may have thought better of it
HSTS: Final = "max-age=31536000"  # 12 months; subdomains may be others' machines
HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
}

log = structlog.get_logger()
_Next = Callable[[web.Request], Awaitable[web.StreamResponse]]


def guard(door: Door) -> Middleware:
    """The one middleware: lets a request in or answers it with a problem."""

    @web.middleware
    async def guarded(request: web.Request, handler: _Next) -> web.StreamResponse:
        connection = request.protocol
        if isinstance(connection, Connection):
            connection.began()
        try:
            check_origin(request, door)
            return _only_one(request, await handler(request))
        except ProblemError as problem:
            return _finished(request, problem)
        except web.HTTPException as error:
            return _finished(request, from_aiohttp(error))
        except ConnectionError:
            raise
        except Exception:
            resource = request.match_info.route.resource  # no address as it came: a hook's holds its secret
            log.exception("http_fault", method=request.method, path=resource.canonical if resource else "")
            return _finished(request, inner_fault())
        finally:
            if isinstance(connection, Connection):
                connection.answered()

    return guarded


def _finished(request: web.Request, problem: ProblemError) -> web.Response:
    response = problem.response()
    place = _lane(request)
    if problem.status in (400, 408, 413, 421) or request.can_read_body or place is not None:
        response.force_close()  # what still comes is not read as a new request
    if place is not None:
        place.spoke = False  # it was heard: the next one may have its place
    return response


def add_headers(clock: Clock, *, secure: bool = False) -> Callable[[web.Request, web.StreamResponse], Awaitable[None]]:
    """Make the signal that gives every answer, also a problem's, what all carry; its Date is `clock`'s wall time."""

    async def add(_: web.Request, response: web.StreamResponse) -> None:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers["Server"] = SERVER
        if secure:
            response.headers["Strict-Transport-Security"] = HSTS
        response.headers["Date"] = format_datetime(clock.wall(), usegmt=True)

    return add


def check_origin(request: web.Request, door: Door) -> None:
    """Let in only who speaks to this machine by its own name, and only pages that came from here.

    Raises:
        ProblemError: 421 for a foreign Host (DNS rebinding), 403 for a foreign page.
    """
    hosts = request.headers.getall("Host", [])
    name = _host_name(hosts[0]) if len(hosts) == 1 else None
    if name is None or not (_is_here(name, secure=door.secure) or name in door.names):
        known = ", ".join(sorted(door.names)) or "localhost or 127.0.0.1"
        raise ProblemError(421, "host", "stagectl does not answer to this name.", remedy=f"Use {known} in the address.")
    origin = request.headers.get("Origin")
    if origin is not None and origin.casefold() != f"{'https' if door.secure else 'http'}://{hosts[0]}".casefold():
        raise ProblemError(
            403, "origin", "A page from elsewhere may not ask stagectl.", remedy="Use stagectl's own page."
        )
    if request.method not in ("GET", "HEAD") and request.headers.get("Sec-Fetch-Site", "none") not in (
        "none",
        "same-origin",
    ):
        raise ProblemError(403, "origin", "A page from elsewhere may not ask stagectl.")
    if len(request.raw_path) > URL_LONGEST:
        raise ProblemError(414, "url", f"This address is longer than {URL_LONGEST} characters.")


def _host_name(host: str) -> str | None:
    """The name in a Host header without its port; None: it is none."""
    if host.startswith("["):
        name, closed, port = host[1:].partition("]")
        port = port.removeprefix(":")
    else:
        name, _, port = host.partition(":")
        closed = "]"
    return name.casefold() if closed and (not port or (port.isascii() and port.isdigit())) else None


def _is_here(name: str, *, secure: bool) -> bool:
    """Is it a name nobody else can give us? Of an open door any bare address is: what is rebound is a name."""
    if name in NAMES:
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return secure or address.is_loopback


def endpoint(route: Route, door: Door) -> _Next:
    """The handler of a route, behind the checks of who comes and of its shapes.

    Raises:
        ValueError: the route has no rule, so nobody may be let in.
    """
    rule = route.rule
    if rule is None:
        raise ValueError(f"{route.method} {route.path_text} says nothing of who may")

    async def handle(request: web.Request) -> web.StreamResponse:
        person = NOBODY
        try:
            if _lane(request) is not None and not route.first:
                raise full()
            person, token = _person_of(request, door, route)
            if person is not NOBODY or route.kind != "websocket":  # a socket may bring its token first thing
                rule.admit(person)
            path = _shaped("path", route.path, dict(request.match_info), status=404)
            query = _query(request, route)
            body = await _body(request, route, with_token=token is not None)
            key = _key(request, route)
            _young(request, door)
            if person is not NOBODY and (request.method == "POST" or route.kind == "websocket"):
                person = replace(person, source=source_of(request))  # what it does is written down with it
            answer = await route.handler(Call(door, request, person, path, query, body, key, token))
        except RefusedError as error:
            problem = refused(error)
            _write_down(request, door, route, person, problem)
            raise problem from error
        except ProblemError as problem:
            _write_down(request, door, route, person, problem)
            raise
        return answer if isinstance(answer, web.StreamResponse) else _response(answer)

    return handle


def _only_one(request: web.Request, response: web.StreamResponse) -> web.StreamResponse:
    """In the lane one request is heard, then the place is the next one's."""
    if _lane(request) is not None:
        response.force_close()
    return response


def _lane(request: web.Request) -> Place | None:
    """Its place in the lane; None: it has an ordinary one."""
    connection = request.protocol
    place = connection.place if isinstance(connection, Connection) else None
    return place if place is not None and place.in_lane else None


def _person_of(request: web.Request, door: Door, route: Route) -> tuple[Person, Token | None]:
    """Who asks, unless they have asked too often: where there are accounts, so many a second for each token.

    What has right of way is counted by itself, so that nothing else that a token asks for holds a roll back.

    Raises:
        RefusedError: code "token".
        ProblemError: 429, or the header can't be.
    """
    try:
        person, token = person_of(request, door)
    except RefusedError:
        _not_too_often(door, source_of(request))
        raise
    if token is None:
        _not_too_often(door, source_of(request))
    else:
        _not_too_often(door, f"{'first' if route.first else 'rest'} {token.id}")
    return person, token


def _not_too_often(door: Door, peer: str) -> None:
    if not door.house.gate.guarded:
        return
    if wait_s := door.often.take(peer):
        headers = {"Retry-After": str(int(wait_s) + 1)}
        raise ProblemError(429, "rate", "Too many requests.", remedy="Ask again in a second.", headers=headers)


def _write_down(request: web.Request, door: Door, route: Route, person: Person, problem: ProblemError) -> None:
    """Put into the journal who was refused what; a login's refusal is written by the gate."""
    if problem.code in WRITTEN:
        act = f"{route.method} {route.path_text}"
        door.house.gate.refuse(person.name or "somebody", source_of(request), act, problem.say, problem.code)


def _response(answer: Answer) -> web.Response:
    body = answer.content if isinstance(answer.content, bytes) else strict_json.written(answer.content)
    response = web.Response(body=body, status=answer.status, headers=answer.headers)
    response.headers["Content-Type"] = answer.content_type
    return response


def _key(request: web.Request, route: Route) -> str:
    keys = request.headers.getall(KEY, [])
    if not keys or not route.keyed:
        return ""
    if len(keys) > 1 or not keys[0]:
        raise ProblemError(422, "id", f"One {KEY} is taken, not empty.", fields=[(KEY, "one is taken.")])
    return keys[0]


def _young(request: web.Request, door: Door) -> None:
    """Refuse a press that was kept somewhere on its way.

    A page says with it when that was, "epoch-seconds" on the daemon's own clock as its last pong told. Others need not.

    Raises:
        ProblemError: 409, it is too old, of an earlier start of the daemon, or no such text.
    """
    text = request.headers.get(SEEN)
    if text is None:
        return
    epoch, _, at = text.partition("-")
    house = door.house
    try:
        ago_s = house.world.clock.now() - float(at)
    except ValueError:
        ago_s = float("nan")
    if epoch != str(house.epoch) or not ago_s <= LATE_S:
        say = "This was asked on a page that has lost stagectl since. Nothing was sent."
        raise ProblemError(409, "late", say, remedy="Look at the page, then ask again.")


def _query(request: web.Request, route: Route) -> dict[str, Any]:
    if not request.query_string:
        return _shaped("query", route.query, {})
    given: dict[str, str] = {}
    for name, value in request.query.items():
        if name in given:
            say = f'"{name[:60]}" stands twice in the address.'
            raise ProblemError(422, "query", say, remedy="Send it once.", fields=[(f"query.{name[:60]}", "twice.")])
        given[name] = value
    if route.query is None and given:
        name = next(iter(given))[:60]
        raise ProblemError(
            422, "query", f'This address takes no "{name}".', fields=[(f"query.{name}", "it is not known here.")]
        )
    return _shaped("query", route.query, given)


def _shaped(where: str, model: type[BaseModel] | None, given: dict[str, str], status: int = 422) -> dict[str, Any]:
    if model is None:
        return {}
    try:
        return model.model_validate(given).model_dump()
    except ValidationError as error:
        raise misshapen(where, error, status) from error


async def _body(request: web.Request, route: Route, *, with_token: bool) -> BaseModel | None:
    """Read and check the body; an empty one is an empty object.

    A form comes in with a token alone: any page on the network can make a browser send one.

    Raises:
        ProblemError: 408, 413, 415, 400 (no strict JSON, no form) or 422 (not the shape).
    """
    if request.method in ("GET", "HEAD"):
        return None
    data = await _read(request)
    if route.unread:
        return None
    if route.body is None:
        if data.strip() not in (b"", b"{}"):
            raise ProblemError(422, "body", "This address takes no body.", fields=[("body", "it is not known here.")])
        return None
    try:
        if route.form and with_token and request.content_type == form.CONTENT_TYPE:
            value = form.read(data)
        else:
            if data:
                _check_type(request)
            value = strict_json.read(data) if data.strip() else {}
    except form.FormError as error:
        raise ProblemError(400, "form", str(error), remedy="Send verb=roll&id=a1, or JSON.") from error
    except strict_json.StrictError as error:
        raise ProblemError(400, "json", str(error), remedy="Send one JSON object.") from error
    try:
        return route.body.model_validate(value)
    except ValidationError as error:
        raise misshapen("body", error) from error


def _check_type(request: web.Request) -> None:
    if request.headers.get("Content-Type") == "application/json":
        return
    charset = (request.charset or "utf-8").casefold()
    if request.content_type != "application/json" or charset not in ("utf-8", "utf8"):
        raise ProblemError(
            415,
            "content-type",
            "A body is JSON in UTF-8.",
            remedy="Send the header Content-Type: application/json.",
            headers={"Accept": "application/json"},
        )


async def _read(request: web.Request) -> bytes:
    if request.content_length is not None and request.content_length > BODY_BYTES:
        raise too_large()
    if not request.can_read_body:
        return b""
    try:
        if request.content.is_eof():  # it came with the headers, as a press does
            return await request.read()
        async with asyncio.timeout(BODY_S):
            return await request.read()
    except TimeoutError as error:
        say = f"The body did not come within {BODY_S:g} s."
        raise ProblemError(408, "late", say, headers={"Connection": "close"}) from error
    except (web.RequestPayloadError, ValueError) as error:
        raise ProblemError(400, "body", "The body can't be read.") from error
