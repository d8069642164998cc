"""What did a request come in with? A token in its header, or on a socket in its subprotocol, never in its address."""

from typing import Final

from aiohttp import web

from stagectl.control.access import NOBODY, Person, Role
from stagectl.control.tokens import Token
from stagectl.inlets.http.calls import Door
from stagectl.inlets.http.opening import is_loopback
from stagectl.inlets.http.problems import ProblemError
from stagectl.model.errors import RefusedError

WHO: Final = "X-Stage-Who"
OFFER: Final = "tok."  # before a token among the subprotocols a socket offers


def person_of(request: web.Request, door: Door) -> tuple[Person, Token | None]:
    """Who asks, and with which token. NOBODY: with none, in a house that has accounts.

    Raises:
        RefusedError: code "token": it is not known, or has ended.
        ProblemError: the header can't be.
    """
    gate = door.house.gate
    if not gate.guarded:
        return _at_this_machine(request, door), None
    if request.headers.getall(WHO, []):
        raise ProblemError(
            403, "who", f"{WHO} says nothing where there are accounts.", remedy="Log in, and leave it out."
        )
    text = _text(request)
    if text is None:
        return NOBODY, None
    return gate.bearer(text)


def source_of(request: web.Request) -> str:
    """Where a request comes from, for the journal."""
    return f"{request.remote or 'unknown'} http"


def reached_at(request: web.Request, door: Door) -> str:
    """The address others reach this door at: as who asks has reached it, unless that means this machine alone."""
    if door.secure and is_loopback(request.url.host or ""):
        return door.address
    return f"{'https' if door.secure else 'http'}://{request.host}"


def _text(request: web.Request) -> str | None:
    given = request.headers.getall("Authorization", [])
    if len(given) > 1:
        raise RefusedError("Two tokens came at once.", remedy="Send one.", code="token")
    if given:
        scheme, _, text = given[0].partition(" ")
        if scheme.casefold() != "bearer" or not text.strip():
            raise RefusedError("Only a bearer token is taken.", remedy="Send Authorization: Bearer ...", code="token")
        return text.strip()
    offered = [one.strip() for one in request.headers.get("Sec-WebSocket-Protocol", "").split(",")]
    return next((one.removeprefix(OFFER) for one in offered if one.startswith(OFFER)), None)


def _at_this_machine(request: web.Request, door: Door) -> Person:
    """Without accounts, whoever sits at this machine is the operator "desk", or says who they are."""
    names = request.headers.getall(WHO, [])
    if not names:
        return Person("desk", Role.OPERATOR)
    role = door.house.site.people.get(names[0]) if len(names) == 1 else None
    if role is None:
        known = ", ".join(door.house.site.people) or "nobody"
        raise ProblemError(
            403,
            "who",
            "The site file does not name this person.",
            remedy=f"It names {known}.",
            fields=[(WHO, "unknown.")],
        )
    return Person(names[0], role)
