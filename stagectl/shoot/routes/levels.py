"""At which levels is a route made, and what stays? Picture and sound of one name go together unless told apart.

Each level is a graph of its own: its routers are other boxes, and tie-lines join like with like. So a place at a level
is just one more place, and all levels are solved and carried out as one.
"""

from collections.abc import Iterable, Sequence

from stagectl.model.errors import RefusedError
from stagectl.model.words import nearest
from stagectl.shoot.routes.words import Route, alone
from stagectl.shoot.wiring import Bound, Port, Wiring
from stagectl.site import VIDEO, Pictures, place


class Levels:
    """Which names stand at which level; one for a house.

    Attributes:
        wiring: of all levels, by place.
        married: destinations of more than one level.
    """

    def __init__(self, pictures: Pictures) -> None:
        tables = {VIDEO: (pictures.sources, pictures.destinations)}
        tables |= {level: (one.sources, one.destinations) for level, one in pictures.levels.items()}
        self._gives, self._takes = pictures.gives, pictures.takes
        self._several = len(tables) > 1
        self._sources = {level: sources for level, (sources, _) in tables.items()}
        self._destinations = pictures.all_destinations()
        self.married = {name: None for name, ports in self._destinations.items() if len(ports) > 1}
        self._on = {router: level for level, one in pictures.levels.items() for router in one.routers}
        self.wiring = Wiring(
            {place(name, level): port for level, names in self._sources.items() for name, port in names.items()},
            {
                place(name, level): names[level]
                for level in tables
                for name, names in self._destinations.items()
                if level in names
            },
            pictures.tie_lines,
        )

    def of(self, destination: str) -> list[str]:
        """The levels of a destination; empty: there is none of that name."""
        return list(self._destinations.get(destination, ()))

    def bound(self, to: str, source: str) -> Bound:
        """The formats of a way to a place; no place and no tie-line of another level than video asks for one."""
        return Bound(to, self._gives.get(source, ""), self._takes.get(to, ()))

    def source_at(self, port: Port) -> str:
        """The place of an input: its name, and its level."""
        return place(self.wiring.name(port), self._on.get(port[0], VIDEO))

    def ends(self, route: Route) -> tuple[Port, Port]:
        """Output and input that a route at one level means. Raises RefusedError: code "point" or "value"."""
        name, level, word = route.destination, route.level or VIDEO, route.source
        output = self.wiring.destinations.get(route.place)
        if output is None:
            if name in self._destinations:
                raise RefusedError(f"{name} has no {level}.", remedy=f"It has {_list(self.of(name))}.", code="point")
            raise RefusedError(
                f'There is no destination "{name}".', remedy=nearest(name, self._destinations), code="point"
            )
        known = self._sources.get(level, {})
        start = known.get(word) or self._input(word, level)
        if start is None:
            if levels := self._source_levels(word):
                raise RefusedError(f"{word} has no {level}.", remedy=f"It has {_list(levels)}.", code="value")
            raise RefusedError(f'There is no picture source "{word}".', remedy=nearest(word, known), code="value")
        return output, start

    def _input(self, word: str, level: str) -> Port | None:
        """An input by its number: "hall input 7"."""
        port = self.wiring.source(word) if " " in word else None
        return port if port is not None and self._on.get(port[0], VIDEO) == level else None

    def _source_levels(self, word: str) -> list[str]:
        return [level for level, names in self._sources.items() if word in names or self._input(word, level)]

    def spread(self, routes: Sequence[Route]) -> tuple[Route, ...]:
        """A route for each level: of one that names none, all that its source and its destination have.

        Raises:
            RefusedError: they share no level, or a place is named twice, or tie-lines are named without a level.
        """
        if not self._several:
            return alone(
                [Route(one.destination, one.source, one.over, "") if one.level == VIDEO else one for one in routes]
            )
        return alone([one for route in routes for one in self._levels_of(route)])

    def _levels_of(self, route: Route) -> list[Route]:
        if route.level:
            return [route]
        if route.over:
            raise RefusedError(
                f"{route.say()} names tie-lines, but no level.",
                remedy=f"Write it like {route.destination} = {route.source} at {VIDEO} over ...",
                code="argument",
            )
        to, of = self.of(route.destination), self._source_levels(route.source)
        shared = [level for level in to if level in of]
        if to and of and not shared:
            say = f"{route.source} has {_list(of)} alone, and {route.destination} {_list(to)}."
            raise RefusedError(say, remedy="Name a source that has it.", code="value")
        return [Route(route.destination, route.source, route.over, level) for level in shared or to or [VIDEO]]

    def kept(self, routes: Iterable[Route]) -> tuple[str, ...]:
        """What stays as it is, because a source that shall come at all levels does not have it: a sentence each."""
        if not self._several:
            return ()
        return tuple(
            f"{route.source} has no {level}: {route.destination} keeps the {level} it has."
            for route in routes
            if not route.level
            for level in self.of(route.destination)
            if level not in self._source_levels(route.source)
        )


def _list(names: Sequence[str]) -> str:
    return " and ".join(names) or "none"
