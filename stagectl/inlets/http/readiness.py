"""What is asked before the first take? Ways planned together; line-up, clock and record time."""

from typing import TypeVar

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import RoutesBody, WaiverBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot.clock.part import Clocks
from stagectl.shoot.lineup.part import Lineup
from stagectl.shoot.media.part import Media
from stagectl.shoot.paths import Paths
from stagectl.shoot.routes.plan import Guards, Planner
from stagectl.shoot.routes.words import read_routes

P = TypeVar("P")


async def plan_routes(call: Call) -> Answer:
    """Ways for all of these together, shown and not taken."""
    house, body = call.door.house, call.body_as(RoutesBody)
    planner = Planner(house.board, _part(call, "paths", Paths), house.world.offload)
    commands = house.commands
    try:
        plan = await planner.plan(
            read_routes(", ".join(body.routes)), Guards(call.person, commands.locks, commands.limits)
        )
    except RefusedError as error:
        raise refused(error) from error
    return Answer(plan.plain())


async def lineup(call: Call) -> Answer:
    """Every check as it stands, from what is known now; no box is asked."""
    return Answer(_part(call, "lineup", Lineup).plain())


async def run_lineup(call: Call) -> Answer:
    """Ask every box anew first; the result is kept in the journal."""
    return Answer(await _part(call, "lineup", Lineup).run(call.person.name))


async def waive(call: Call) -> Answer:
    """Let a check pass for this shoot, or take that back."""
    body, part = call.body_as(WaiverBody), _part(call, "lineup", Lineup)
    try:
        call.door.house.permit(call.person, "lineup", "set")
        part.waive(body.check, call.person, body.because)
    except RefusedError as error:
        raise refused(error) from error
    return Answer(part.plain())


async def clock(call: Call) -> Answer:
    """Every recorder's timecode as it was last compared."""
    return Answer(_part(call, "clock", Clocks).plain())


async def sample_clock(call: Call) -> Answer:
    """Ask every recorder's timecode again and again for two seconds, and compare."""
    part = _part(call, "clock", Clocks)
    await part.sample()
    return Answer(part.plain())


async def media(call: Call) -> Answer:
    """How long every recorder can go on, and the day's plan."""
    return Answer(_part(call, "media", Media).plain())


def _part(call: Call, name: str, kind: type[P]) -> P:
    found = call.door.house.parts.get(name)
    if not isinstance(found, kind):
        raise ProblemError(404, "target", f"This house has no {name}.")
    return found
