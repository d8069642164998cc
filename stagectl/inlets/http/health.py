"""Is the daemon well? For supervisors and collectors of counters."""

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError


async def alive(_: Call) -> Answer:
    return Answer({"alive": True})


async def ready(call: Call) -> Answer:
    """Ready: whatever the boxes do, the daemon itself has no trouble."""
    house = call.door.house
    if house.trouble:
        raise ProblemError(503, "trouble", next(iter(house.trouble.values())), remedy="See /api/v1/wrong.")
    adopted = sum(box.adopted for box in house.boxes.values())
    return Answer({"ready": True, "devices": len(house.boxes), "adopted": adopted})


async def metrics(call: Call) -> Answer:
    text, content_type = await call.door.metrics.text()
    return Answer(text, content_type=content_type)
