"""What may be corrected of a take that is written? Its slate and its marks; each keeps how it was."""

from stagectl.inlets.http import views
from stagectl.inlets.http.acting import permitted
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import MarkChangeBody, TakeSlateBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot import wording
from stagectl.shoot.take import Take
from stagectl.shoot.takecorrections import slated


async def slate(call: Call) -> Answer:
    """Give a take another slate."""
    body, number = call.body_as(TakeSlateBody), _known(call).number
    permitted(call.door, call.person, "correct")
    try:
        take = call.door.house.takes.corrections.slate(number, call.person.name, body.name, body.slate_take)
    except RefusedError as error:
        raise refused(error) from error
    return _told(call, take, wording.reslated(take=number, slate=slated(take)))


async def mark(call: Call) -> Answer:
    """Correct what a mark says, or strike it out."""
    body, take, place = call.body_as(MarkChangeBody), _known(call), call.path["m"]
    permitted(call.door, call.person, "correct")
    if place > len(take.marks):
        say = f"Take {take.number} has no mark {place}."
        raise ProblemError(404, "mark", say, remedy=f"See /api/v1/takes/{take.number}.")
    try:
        take = call.door.house.takes.corrections.mark(
            take.number, place, call.person.name, kind=body.kind, text=body.note, struck=body.struck
        )
    except RefusedError as error:
        raise refused(error) from error
    say = wording.mark_corrected(take=take.number, mark=place, struck=take.marks[place - 1].struck)
    return _told(call, take, say)


def _told(call: Call, take: Take, say: str) -> Answer:
    return Answer(views.take_view(call.door.house, call.door.teller, take) | {"say": say})


def _known(call: Call) -> Take:
    found = call.door.house.takes.takes.get(call.path["n"])
    if found is None:
        raise ProblemError(404, "take", f"There is no take {call.path['n']}.", remedy="See /api/v1/takes.")
    return found
