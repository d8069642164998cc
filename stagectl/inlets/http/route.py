"""What is a route? One method of one address: its shapes, who may, and what can go wrong."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import BaseModel

from stagectl.inlets.http.calls import Handler
from stagectl.inlets.http.rules import SEE, Least, Rule

API: Final = "/api/v1"
NONE: Final = "No such thing here."
MAY_NOT: Final = "This person may not."


@dataclass(frozen=True, slots=True)
class Route:
    """One method of one address.

    Attributes:
        summary: what it does, in one line.
        answer: shape of the answer; None: no JSON, see `kind`.
        path, query, body: shapes of what comes in; None: nothing is taken.
        accepted: it may answer 202, with where to look.
        kind: content type of the answer.
        status: when all is well.
        keyed: takes an Idempotency-Key.
        also: further statuses that are problems, with why; see `problems`.
        form: its body may come as a form too, from who brings a token.
        unread: whatever comes as a body is let pass unread.
        first: it has right of way: a full door hears it, and no other request counts against it.
        tag: heading in the document.
        rule: the least that who comes must be; a door with a route that has none does not open.
    """

    method: str
    path_text: str
    handler: Handler
    summary: str
    answer: type[BaseModel] | None = None
    path: type[BaseModel] | None = None
    query: type[BaseModel] | None = None
    body: type[BaseModel] | None = None
    accepted: bool = False
    keyed: bool = False
    kind: str = "application/json"
    status: int = 200
    also: Mapping[int, str] = field(default_factory=dict)
    form: bool = False
    unread: bool = False
    first: bool = False
    tag: str = "see"
    rule: Rule | None = None

    @property
    def problems(self) -> Mapping[int, str]:
        """Every status that is a problem, with why: what can be refused, and what may not be there, are told of all."""
        told = dict(self.also)
        if self.method == "POST" and self.rule is not None and self.rule.least not in (Least.PUBLIC, Least.OWN):
            told.setdefault(403, MAY_NOT)
        if self.path is not None:
            told.setdefault(404, NONE)
        return told


def see(path_text: str, handler: Handler, summary: str, answer: type[BaseModel] | None = None, **more: Any) -> Route:
    """A GET below the API for whoever may see the house; `more` as Route takes it."""
    return Route("GET", API + path_text, handler, summary, answer, rule=SEE, **more)


def does(path_text: str, handler: Handler, summary: str, answer: type[BaseModel], *, rule: Rule, **more: Any) -> Route:
    """A POST below the API that acts; `more` as Route takes it."""
    return Route("POST", API + path_text, handler, summary, answer, rule=rule, tag="act", **more)
