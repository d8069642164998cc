"""What can be asked of copying off? To plan, begin, stop, verify, and to say how it stands and what is missing."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from stagectl.copyoff.job import Wanted
from stagectl.copyoff.part import CopyPart
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import CopyBody, VerifyBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.model.words import nearest
from stagectl.shoot.house import House

if TYPE_CHECKING:
    from stagectl.copyoff.runs import CopyOff


async def status(call: Call) -> Answer:
    """How it stands at large and for each recorder."""
    return Answer(await _runs(call).status())


async def plan(call: Call) -> Answer:
    """List the recorders' clips anew; what a run would copy, in its order, and whether it fits."""
    return Answer(await _runs(call).plan(_wanted(call)))


async def run(call: Call) -> Answer:
    """Begin to copy; the answer has the run's id, and its address says how far it is."""
    runs = _runs(call)
    try:
        call.door.house.permit(call.person, "copy")
        begun = await runs.begin(_wanted(call), call.person.name)
    except RefusedError as error:
        raise refused(error) from error
    return Answer(runs.view(begun), 202, {"Location": f"/api/v1/copy/runs/{begun.id}"})


async def one_run(call: Call) -> Answer:
    """How far a run is, or how it ended."""
    runs = _runs(call)
    try:
        return Answer(runs.view(runs.find(call.path["id"])))
    except RefusedError as error:
        raise refused(error) from error


async def stop(call: Call) -> Answer:
    """End the run that goes; a part of a clip is gone on with later."""
    runs = _runs(call)
    try:
        call.door.house.permit(call.person, "copy")
        return Answer(runs.view(runs.halt(call.person.name)))
    except RefusedError as error:
        raise refused(error) from error


async def verify(call: Call) -> Answer:
    """Begin to read all copies again, against the histories beside them."""
    runs = _runs(call)
    try:
        call.door.house.permit(call.person, "copy")
        begun = runs.verify(call.body_as(VerifyBody).places, call.person.name)
    except RefusedError as error:
        raise refused(error) from error
    return Answer(runs.view(begun), 202, {"Location": f"/api/v1/copy/runs/{begun.id}"})


async def report(call: Call) -> Answer:
    """What is not copied, could not be, is doubtful, double or missing; what is safe to clear."""
    return Answer(await _runs(call).report(_wanted(call)))


def _runs(call: Call) -> "CopyOff":
    part = call.door.house.parts.get(CopyPart.name)
    if not isinstance(part, CopyPart):
        raise ProblemError(404, "target", "Nothing is copied off here.")
    if part.runs is None:
        raise ProblemError(404, "copy-off", part.why, remedy="Write `copy:` with a place in the site file.")
    return part.runs


def _wanted(call: Call) -> Wanted:
    """Which clips: from the body of an act, or the query of a question. Raises ProblemError."""
    house = call.door.house
    try:
        if call.body is not None:
            body = call.body_as(CopyBody)
            return Wanted(_decks(house, body.recorders), tuple(body.days), tuple(body.takes))
        words, days, takes = (_listed(call.query[name]) for name in ("recorder", "day", "take"))
        return Wanted(_decks(house, words), tuple(days), tuple(map(int, takes)))
    except RefusedError as error:
        raise refused(error) from error


def _listed(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _decks(house: House, words: Iterable[str]) -> tuple[str, ...]:
    """The recorders that words mean. Raises RefusedError."""
    part = house.parts[CopyPart.name]
    assert isinstance(part, CopyPart)
    decks = dict.fromkeys(device for word in words for device in house.resolve(word))
    for device in decks:
        if device not in part.decks:
            say = f"{house.called(device)} has no clip store."
            raise RefusedError(say, remedy=nearest(device, part.decks), code="target")
    return tuple(decks)
