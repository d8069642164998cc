"""How is a route written? "program = wide", or "program = wide at sound over hall 15 > foyer 8"."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from stagectl.model.errors import RefusedError
from stagectl.site import place

MOST: Final = 256  # routes in one press; as many as an argument of the doors may hold

_ROUTE: Final = re.compile(r"\s*([^=,;]+?)\s*=\s*([^=,;]+?)(?:\s+at\s+([a-z0-9-]+))?(?:\s+over\s+([^=,;]+?))?\s*")
_NEAR: Final = re.compile(r"([a-z][a-z0-9-]*) ([1-9][0-9]{0,4})")


@dataclass(frozen=True, slots=True)
class Route:
    """A source for a destination.

    Attributes:
        over: near ends of the tie-lines it takes, from the source on; None: any.
        level: video, sound; empty: all that both have.
    """

    destination: str
    source: str
    over: tuple[tuple[str, int], ...] | None = None
    level: str = ""

    @property
    def place(self) -> str:
        """The destination as it is called at this level."""
        return place(self.destination, self.level)

    def say(self) -> str:
        """As it is read."""
        over = " > ".join(f"{router} {output}" for router, output in self.over or ())
        at = f" at {self.level}" if self.level else ""
        return f"{self.destination} = {self.source}{at}" + (f" over {over}" if over else "")


def read_routes(text: str) -> tuple[Route, ...]:
    """Read routes with commas between them.

    Raises:
        RefusedError: one can't be read, or a destination stands there twice, or there are too many; code "argument".
    """
    routes = [_read(part) for part in text.split(",") if part.strip()]
    if not routes:
        raise RefusedError("No route is named.", remedy="Write one like program = wide.", code="argument")
    return alone(routes)


def one_route(destination: str, source: str, level: str = "") -> str:
    """The argument of a press for one route. Raises RefusedError, code "argument": one of these is no name."""
    text = Route(destination, source, level=level).say()
    if read_routes(text) != (Route(destination.strip(), source.strip(), level=level.strip()),):
        raise RefusedError(f'"{text[:60]}" is no route.', remedy="Give a name each.", code="argument")
    return text


def alone(routes: Sequence[Route]) -> tuple[Route, ...]:
    """The same, if no place is in them twice and they are not too many. Raises RefusedError, code "argument"."""
    if len(routes) > MOST:
        raise RefusedError(f"These are more than {MOST} routes.", remedy="Ask in parts.", code="argument")
    seen: dict[str, None] = {}
    for route in routes:
        if route.place in seen:
            raise RefusedError(
                f"{route.place} is named twice.", remedy="A destination shows one picture.", code="argument"
            )
        seen[route.place] = None
    return tuple(routes)


def _read(text: str) -> Route:
    found = _ROUTE.fullmatch(text)
    if found is None:
        raise RefusedError(
            f'"{text.strip()[:60]}" is no route.', remedy="Write it like program = wide.", code="argument"
        )
    destination, source, level, over = found.groups()
    return Route(destination, source, _read_over(over) if over is not None else None, level or "")


def _read_over(text: str) -> tuple[tuple[str, int], ...]:
    nears = []
    for part in text.split(">"):
        found = _NEAR.fullmatch(part.strip())
        if found is None:
            raise RefusedError(
                f'"{part.strip()[:40]}" is no output of a router.', remedy="Write it like hall 15.", code="argument"
            )
        nears.append((found[1], int(found[2])))
    return tuple(nears)


def written(routes: Iterable[Route]) -> list[str]:
    """As arguments of a press."""
    return [route.say() for route in routes]
