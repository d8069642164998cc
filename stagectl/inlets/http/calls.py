"""What does a handler get, and what does it give?"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from aiohttp import web
from pydantic import BaseModel

from stagectl.control.access import Person
from stagectl.control.tokens import Token
from stagectl.shoot.deskview import DeskView
from stagectl.shoot.house import House
from stagectl.shoot.teller import Teller

if TYPE_CHECKING:
    from stagectl.inlets.http.desk_page import Built
    from stagectl.inlets.http.hub import Hub
    from stagectl.inlets.http.metrics import Metrics
    from stagectl.inlets.rate import Rates
    from stagectl.shoot.scenes import Scenes

M = TypeVar("M", bound=BaseModel)


@dataclass(slots=True)
class Door:
    """What all handlers share.

    Attributes:
        rates: of what outside controllers ask, by inlet.
        often: of requests, by token; by source of those without one.
        spec: gives the OpenAPI document.
        lists: one reader of a box's list at a time.
        names: what this door is called beside this machine's own names.
        secure: it speaks TLS.
        address: where it is, such as "https://stage.example:8443".
        built: the files of the page; None: they were not built.
    """

    house: House
    teller: Teller
    view: DeskView
    scenes: "Scenes | None"
    hub: "Hub"
    rates: "Rates"
    often: "Rates"
    metrics: "Metrics"
    spec: Callable[[], Mapping[str, Any]]
    names: frozenset[str] = frozenset()
    secure: bool = False
    address: str = ""
    built: "Built | None" = None
    lists: dict[str, asyncio.Lock] = field(default_factory=dict)


@dataclass(slots=True)
class Call:
    """One request whose shape was checked.

    Attributes:
        person: who asks.
        token: what it came in with; None: nothing, or nothing is needed.
        path, query: by name, in their types.
        body: the model of the route; None if it takes none.
        key: the caller's id of this wish; empty: none given.
    """

    door: Door
    request: web.Request
    person: Person
    path: Mapping[str, Any]
    query: Mapping[str, Any]
    body: BaseModel | None
    key: str = ""
    token: Token | None = None

    def body_as(self, model: type[M]) -> M:
        """The body, as the model of this route."""
        assert isinstance(self.body, model)
        return self.body


@dataclass(slots=True)
class Answer:
    """What goes back: `content` as JSON, or bytes with a content type of their own."""

    content: Any
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    content_type: str = "application/json"


Handler = Callable[[Call], Awaitable["Answer | web.StreamResponse"]]
