"""How does this door say no? One body for every refusal and fault: problem+json (RFC 9457)."""

from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any, Final

from aiohttp import web
from pydantic import ValidationError

from stagectl.inlets.strict_json import written
from stagectl.model.errors import RefusedError

CONTENT_TYPE: Final = "application/problem+json"
STATUS: Final[Mapping[str, int]] = {  # codes of RefusedError; any other is an argument that can't be: 422
    "token": 401,
    "login": 401,
    "late": 429,
    "role": 403,
    "fresh": 403,
    "held": 409,
    "confirm": 428,
    "desk": 409,
    "no-accounts": 409,
    "tokens": 409,
    "locked": 403,
    "target": 404,
    "alarm": 404,
    "alarm-off": 409,
    "scene": 404,
    "run": 404,
    "runs": 409,
    "copy-runs": 409,
    "copy-idle": 409,
    "setup": 404,
    "contradicts": 409,
    "unchanged": 409,
    "unwritten": 503,
    "no-list": 404,
    "id-reused": 409,
    "conflict": 409,
    "still": 409,
    "stood-still": 409,
    "take": 409,
    "playback": 409,
    "take-unnamed": 409,
    "busy": 409,
    "ended": 409,
    "answered": 409,
}


class ProblemError(Exception):
    """An answer that is not what was asked for.

    Attributes:
        status: of HTTP, 400 to 599.
        code: short stable word for programs.
        say, remedy: one sentence each.
        fields: what is wrong where: ("body.take", sentence).
        headers: such as Allow, Retry-After.
        word: said as "confirm" with the same request it lets that pass; empty: there is none.
    """

    def __init__(
        self,
        status: int,
        code: str,
        say: str,
        *,
        remedy: str = "",
        fields: Iterable[tuple[str, str]] = (),
        headers: Mapping[str, str] | None = None,
        word: str = "",
    ) -> None:
        super().__init__(say)
        self.status = status
        self.code = code
        self.say = say
        self.remedy = remedy
        self.fields = list(fields)
        self.headers = dict(headers or {})
        self.word = word

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        body: dict[str, Any] = {
            "type": f"urn:stagectl:problem:{self.code}",
            "title": HTTPStatus(self.status).phrase,
            "status": self.status,
            "detail": self.say,
            "code": self.code,
            "remedy": self.remedy,
        }
        if self.word:
            body["confirm"] = self.word
        if self.fields:
            body["field"] = self.fields[0][0]
            body["errors"] = [{"field": field, "says": says} for field, says in self.fields]
        return body

    def response(self) -> web.Response:
        """As HTTP sends it."""
        return web.Response(
            status=self.status, body=written(self.plain()), headers={**self.headers, "Content-Type": CONTENT_TYPE}
        )


def refused(error: RefusedError, *, field: str = "") -> ProblemError:
    """A refusal of the house, before a byte was sent."""
    status = STATUS.get(error.code, 422)
    say = str(error)
    headers = {401: {"WWW-Authenticate": "Bearer"}, 429: {"Retry-After": "1"}}.get(status)
    fields = [(field, say)] if field else ()
    return ProblemError(status, error.code, say, remedy=error.remedy, fields=fields, headers=headers, word=error.word)


def misshapen(where: str, error: ValidationError, status: int = 422) -> ProblemError:
    """What came in has not the shape that the route takes. `where`: "body", "query" or "path"."""
    fields = [(_field(where, one["loc"]), _says(one)) for one in error.errors(include_url=False)[:20]]
    name, says = fields[0]
    return ProblemError(
        status, "shape", f"{name}: {says}", remedy="See /docs for what this route takes.", fields=fields
    )


def _field(where: str, loc: tuple[int | str, ...]) -> str:
    return ".".join([where, *(str(one)[:60] for one in loc)])


def _says(error: Any) -> str:
    match error["type"]:
        case "missing":
            return "it is missing."
        case "extra_forbidden":
            return "it is not known here."
        case "value_error":
            return str(error["ctx"]["error"])
    return f"{error['msg']}."


def from_aiohttp(error: web.HTTPException) -> ProblemError:
    """What the library refuses by itself: no such path, no such method, a body too large."""
    headers = {"Allow": error.headers["Allow"]} if "Allow" in error.headers else {}
    match error.status:
        case 404:
            return ProblemError(404, "path", "There is nothing at this address.", remedy="See /docs for what there is.")
        case 405:
            allowed = headers.get("Allow", "")
            return ProblemError(405, "method", f"This address takes {allowed} only.", headers=headers)
        case 413:
            return too_large()
    return ProblemError(error.status, "http", f"{error.reason}.", headers=headers)


def too_large() -> ProblemError:
    """A body over the limit."""
    return ProblemError(413, "too-large", "This body is larger than 1 MiB.", headers={"Connection": "close"})


def inner_fault() -> ProblemError:
    """Something in stagectl itself went wrong; the log has it."""
    return ProblemError(
        500,
        "fault",
        "stagectl could not answer this. What was asked of the boxes is not changed by it.",
        remedy="Look at the log of stagectl, and ask what the boxes show.",
    )
