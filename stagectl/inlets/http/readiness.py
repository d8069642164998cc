"""What is asked before the first take? Ways planned together; line-up, clock and record time as they stand."""

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import RoutesBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot.paths import Paths
from stagectl.shoot.routes.plan import Guards, Planner
from stagectl.shoot.routes.words import read_routes


async def plan_routes(call: Call) -> Answer:
    """Ways for all of these together, shown and not taken."""
    house, body = call.door.house, call.body_as(RoutesBody)
    paths = house.parts.get("paths")
    if not isinstance(paths, Paths):
        raise ProblemError(404, "target", "This site has no picture paths.")
    planner = Planner(house.board, paths, house.site.pictures, house.world.offload)
    commands = house.commands
    try:
        plan = await planner.plan(
            read_routes(", ".join(body.routes)), Guards(call.person, commands.locks, commands.limits)
        )
    except RefusedError as error:
        raise refused(error) from error
    return Answer(plan.plain())
