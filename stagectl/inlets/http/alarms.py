"""What can be seen and done about alarms? To list them, to say that one is known, to put one aside."""

from datetime import datetime
from typing import Any

from stagectl.control.chronicle import stamp
from stagectl.inlets.http.calls import Answer, Call, Door
from stagectl.inlets.http.models import AsideBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot import wording
from stagectl.shoot.alarm import Alarm


async def alarms(call: Call) -> Answer:
    """All that stand, are put aside, or are over and not seen; with rates."""
    house, teller = call.door.house, call.door.teller
    rows = [teller.row(alarm).plain() for alarm in house.alarms.everything()]
    at = stamp(house.world.clock.wall())
    return Answer({"at": at, "alarms": rows, "rates": house.alarms.rates().plain()})


async def know(call: Call) -> Answer:
    """Somebody has seen it: it stays in sight, and is not shouted any more."""
    door = call.door
    try:
        door.house.permit(call.person, "alarm")
        alarm = door.house.alarms.find(call.path["id"])
        more = len(alarm.under_it)
        door.house.alarms.know(alarm, call.person, "http")
    except RefusedError as error:
        raise refused(error) from error
    return Answer(_told(door, alarm, wording.known(say=_say(door, alarm), more=more)))


async def aside(call: Call) -> Answer:
    """Leave it out of what is wrong for a time."""
    body, door = call.body_as(AsideBody), call.door
    until = _time(body.until)
    try:
        door.house.permit(call.person, "alarm")
        alarm = door.house.alarms.find(call.path["id"])
        door.house.alarms.put_aside(alarm, call.person, "http", until, body.reason)
    except RefusedError as error:
        raise refused(error) from error
    return Answer(_told(door, alarm, wording.put_aside(say=_say(door, alarm), until=door.teller.at(until))))


def _say(door: Door, alarm: Alarm) -> str:
    return door.teller.sentence(alarm)[0] if alarm.standing else alarm.text


def _told(door: Door, alarm: Alarm, done: str) -> dict[str, Any]:
    return door.teller.row(alarm).plain() | {"done": done}


def _time(text: str) -> datetime:
    try:
        until = datetime.fromisoformat(text)
        if until.tzinfo is not None and until.astimezone() is not None:
            return until
    except (ValueError, OverflowError):
        pass
    say = '"until" is a time as RFC 3339 writes it, with its zone.'
    raise ProblemError(422, "argument", say, remedy="Such as 2026-11-25T18:00:00Z.", fields=[("body.until", say)])
