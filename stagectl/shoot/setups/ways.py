"""Which ways do the pictures of a set-up take, where one has to let a tie-line go before another has it?

One by one, a picture finds its way beside what runs. If that fails for one, all of them are solved together, and what
leads to a destination waits until those that look through it have left.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.access import Person, Role
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ask, Set
from stagectl.shoot.paths import Paths, RouteAll, meant, shows
from stagectl.shoot.routes.plan import Guards, Planner
from stagectl.shoot.routes.words import Route, written
from stagectl.site import VIDEO

if TYPE_CHECKING:
    from stagectl.shoot.house import House

MOST: Final = 64  # pictures that are solved on the loop; more are found one by one
NO_WAY: Final = "no-way"


def picture_of(house: "House", device: str, verb: Set[Any]) -> Route | None:
    """The route that a Set means; None: it is none."""
    name, _, what = verb.point.name.rpartition(".")
    if device == "paths" and what == "shows":
        return meant(verb)
    if device == "stations" and what == "sees":
        return Route(house.site.stations[name].sees, str(verb.value), level=VIDEO)
    return None


def solved(house: "House", ask: Ask, pictures: Sequence[Route]) -> list[list[Ask]] | None:
    """What brings each of these pictures about, found together. None: no more of them find a way so.

    Args:
        house: where they are.
        ask: whose id, asker and door the asks get.
        pictures: at one level each.

    Returns: asks for each picture, with the steps of its way; one that finds none is an ask that will be refused. The
        part's own ask, which speaks of all, stands with the last of them.
    """
    paths = house.parts.get("paths")
    if len(pictures) > MOST or not isinstance(paths, Paths):
        return None
    planner = Planner(house.board, paths, house.world.offload)
    nobody = Person(ask.who, Role.OPERATOR)  # what only an engineer may pass is not counted on to be left
    made = planner.plan_now(pictures, Guards(nobody, house.commands.locks, house.commands.limits))
    routes = ", ".join(written(row.route() for row in made.rows if row.hops))
    if not routes:
        return None
    together = house.spread(Ask(ask.id, ask.who, ask.inlet, paths.name, RouteAll(routes)))
    itself, found = together[0], {(one.target, point_of(one)): one for one in together[1:]}
    told: list[list[Ask]] = []
    for row in made.rows:
        if not row.hops:
            verb = Set(shows(row.place), row.source)
            no = RefusedError(row.why, remedy=row.remedy, code=NO_WAY)
            told.append([Ask(ask.id, ask.who, ask.inlet, paths.name, verb, cannot=no)])
            continue
        hops = [found[hop.router, OUTPUT_SOURCE.at(hop.output).name] for hop in row.hops]
        told.append([replace(hop) for hop in hops])
    latest = max((asks for asks in told if asks[0].cannot is None), key=lambda asks: asks[-1].stage)
    latest.insert(0, itself)  # judged when the last of them is there
    return told


def point_of(ask: Ask) -> str:
    """The one point that a Set of a box touches."""
    return ask.verb.touches()[0]
