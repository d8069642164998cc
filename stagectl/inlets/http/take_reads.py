"""What does each route read of takes? Their log, where their clips overlap, and pictures of that."""

from stagectl.handoff.overlap import overlap
from stagectl.handoff.ranges import ranged
from stagectl.inlets.http import views
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError
from stagectl.shoot.take import Take


async def takes(call: Call) -> Answer:
    return Answer(views.takes(call.door.house, call.door.teller, call.query["count"]))


async def take(call: Call) -> Answer:
    """One take; where its clips overlap is not told while it rolls."""
    found = _known(call)
    told = views.take_view(call.door.house, call.door.teller, found)
    return Answer(told | {"overlap": overlap(ranged([told])[0]) if found.closed is not None else None})


def _known(call: Call) -> Take:
    number = call.path["n"]
    found = call.door.house.takes.takes.get(number)
    if found is None:
        raise ProblemError(404, "take", f"There is no take {number}.", remedy="See /api/v1/takes.")
    return found
