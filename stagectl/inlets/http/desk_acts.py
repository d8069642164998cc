"""Who holds the desk, and who calls? Over HTTP."""

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import CallBody, DeskBody
from stagectl.inlets.http.problems import refused
from stagectl.model.errors import RefusedError


async def desk(call: Call) -> Answer:
    """Who holds it, and who asks for it."""
    return _told(call)


async def hold(call: Call) -> Answer:
    """Take the desk, ask for it, give it to somebody or to nobody, or keep it."""
    body, held = call.body_as(DeskBody), call.door.house.desk
    try:
        match body.act:
            case "take":
                held.take(call.person)
            case "ask":
                held.ask(call.person)
            case "give":
                held.give(call.person, body.to)
            case "keep":
                held.keep(call.person)
    except RefusedError as error:
        raise refused(error) from error
    return _told(call)


async def ring(call: Call) -> Answer:
    """Call whoever is at the desk; it stands in the journal and on every live feed."""
    body = call.body_as(CallBody)
    call.door.house.chronicle.write("call", call.person.name, say=body.say)
    return Answer({"say": "Called."})


def _told(call: Call) -> Answer:
    held = call.door.house.desk
    return Answer(held.plain() | {"say": held.say()})
