"""Why is there no way for a picture, and who could make room? A sentence and its remedy, for one route and for many."""

from collections.abc import Iterable, Mapping
from typing import Final

from stagectl.model.errors import RefusedError
from stagectl.shoot.wiring import Bound, Crosspoints, NoWayError, Port, Tie, Wiring
from stagectl.site import Site

Holders = Mapping[Port, tuple[str, ...]]
"""Who looks through a tie-line, by its near end."""

ELSEWHERE: Final = "Give one of them another source first."


class NoWay:
    """Tells it of one house; pure, so that it may be asked in a thread."""

    def __init__(self, wiring: Wiring, site: Site) -> None:
        self._wiring = wiring
        self._on_air = frozenset(site.pictures.on_air)
        self._recorders = frozenset(site.devices)  # a destination with a device's name is its input
        self._players = frozenset(entry.picture for entry in site.playback.values())

    def refusal(
        self, bound: Bound, source: str, none: NoWayError, holders: Holders, standing: Crosspoints
    ) -> RefusedError:
        """Of one picture, after a search found nothing."""
        name = bound.destination
        if not none.held and not none.kept:
            if none.unfit:
                say = f"No way from {source} to {name} takes {bound.form or 'its format'}."
                remedy = "Change the source's format, or lead it through a processor that takes it."
            else:
                say = f"No tie-line leads from {source} to {name}."
                remedy = "Patch one, and write it in the site file."
            return RefusedError(say, remedy=remedy, code="no-way")
        told = [self.held(tie, holders, standing) for tie in self._wiring.ties if tie in none.held]
        told += [f"{said(tie)} is kept for {' and '.join(tie.kept_for)}" for tie in none.kept]
        return RefusedError(
            f"No tie-line is free to bring {source} to {name}: {', '.join(told)}.",
            remedy=self.remedy(none.held, holders),
            code="no-way",
        )

    def held(self, tie: Tie, holders: Holders, standing: Crosspoints) -> str:
        """Who holds a tie-line, and for which picture."""
        near = (tie.from_router, tie.output)
        carries = self._wiring.trace(near, standing).source or "a picture that is not known"
        return f"{said(tie)} is held by {' and '.join(holders[near])} ({carries})"

    def remedy(self, ties: Iterable[Tie], holders: Holders) -> str:
        """Who had best let go: nobody on air, rather no recorder, the fewest; and to which picture."""
        rows = [holders[tie.from_router, tie.output] for tie in ties]
        free = [places for places in rows if not self._on_air.intersection(map(_name, places))]
        if not free:
            return ELSEWHERE
        places = min(free, key=lambda some: (sum(_name(one) in self._recorders for one in some), len(some)))
        own = [self._own_source(one) for one in places]
        if not all(own):
            return ELSEWHERE
        say = f"Give {' and '.join(places)} a source that needs no tie-line first"
        if len(places) > 1:
            return f"{say}, such as {own[0]}."
        name, _, level = places[0].partition(" ")
        return f"{say}: stagectl route {name} {own[0]}" + (f" --level {level}" if level else "")

    def _own_source(self, to: str) -> str:
        """A source at the router of a place, none that a recorder plays; empty: there is none."""
        router = self._wiring.destinations[to][0]
        names = (_name(place) for place, (at, _) in self._wiring.sources.items() if at == router)
        return next((name for name in names if name not in self._players), "")


def _name(place: str) -> str:
    return place.partition(" ")[0]


def said(tie: Tie) -> str:
    """A tie-line in words."""
    return f"{tie.from_router} {tie.output} to {tie.to_router} {tie.input}"
