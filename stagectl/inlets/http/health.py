"""Is the daemon well? For supervisors and collectors of counters."""

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError


async def alive(_: Call) -> Answer:
    return Answer({"alive": True})


async def ready(call: Call) -> Answer:
    """Ready: whatever the boxes do, the daemon itself has no trouble."""
    house = call.door.house
    # what can wait, such as a certificate that ends in a week, makes no daemon unfit
    wrong = [text for part, text in house.trouble.items() if not part.endswith(("-soon", "-later"))]
    if wrong:
        raise ProblemError(503, "trouble", wrong[0], remedy="See /api/v1/wrong.")
    adopted = sum(box.adopted for box in house.boxes.values())
    return Answer({"ready": True, "devices": len(house.boxes), "adopted": adopted})


async def metrics(call: Call) -> Answer:
    text, content_type = await call.door.metrics.text()
    return Answer(text, content_type=content_type)
