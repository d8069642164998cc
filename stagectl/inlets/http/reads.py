"""What does each route read? Nothing here has an effect: no GET ever asks a box for more than a list."""

import asyncio
from typing import Any, Final

from stagectl.inlets.http import views
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.capabilities.base import Capability
from stagectl.model.errors import DeviceError, RefusedError

LIST_S: Final = 10.0  # a whole list of a box, at most


async def site(call: Call) -> Answer:
    return Answer(views.site(call.door.house))


async def devices(call: Call) -> Answer:
    house = call.door.house
    return Answer({"devices": [views.device(house, name) for name in house.boxes]})


async def device(call: Call) -> Answer:
    return Answer(views.device_whole(call.door.house, _known(call, call.path["id"])))


async def points(call: Call) -> Answer:
    """All readings, or those of one device or of one name."""
    house, device_id, name = call.door.house, call.query.get("device"), call.query.get("name")
    if device_id is not None and device_id not in house.boxes and device_id not in house.parts:
        raise _nobody(device_id)
    found = house.board.everything() if device_id is None else house.board.points(device_id).values()
    chosen = found if name is None else (one for one in found if name in (one.spec.name, one.spec.template))
    return Answer(views.points_text(house, chosen))


async def point(call: Call) -> Answer:
    house, name = call.door.house, call.path["device"]
    if name not in house.boxes and name not in house.parts:
        raise _nobody(name)
    reading = house.board.find(name, call.path["name"])
    if reading is None:
        say = f'{name} has no point "{call.path["name"]}".'
        raise ProblemError(404, "point", say, remedy=f"See /api/v1/points?device={name}")
    return Answer(views.point(house, reading))


async def capability(call: Call) -> Answer:
    kinds = _kinds(call)
    found = kinds.get(call.path["kind"])
    if found is None:
        say = f'No box or part here is of kind "{call.path["kind"]}".'
        raise ProblemError(404, "kind", say, remedy=f"There is {', '.join(kinds)}.")
    return Answer(views.capability(found))


async def rows(call: Call) -> Answer:
    """A list of a box, in pages; read from the box each time, one reader a box at a time."""
    house, name, what = call.door.house, _known(call, call.path["id"]), call.path["what"]
    box = house.boxes[name]
    if what not in views.LISTS.get(box.capability.kind, ()):
        raise ProblemError(404, "no-list", f'{name} has no list "{what}".', remedy="A recorder has clips.")
    lock = call.door.lists.setdefault(name, asyncio.Lock())
    try:
        async with asyncio.timeout(LIST_S), lock:
            found = await box.list_rows(what, deadline_s=LIST_S)
    except RefusedError as error:
        raise refused(error) from error
    except DeviceError as error:
        say = f"{house.called(name)} does not tell its {what}: {str(error).rstrip('.')}."
        raise ProblemError(502, "device", say, remedy="Look at its front.") from error
    except TimeoutError as error:
        say = f"{house.called(name)} did not tell its {what} within {LIST_S:g} s."
        raise ProblemError(504, "late", say, remedy="Ask again.") from error
    first, count = call.query["first"], call.query["count"]
    page = found[first - 1 : first - 1 + count]
    return Answer(
        {"device": name, "what": what, "first": first, "total": len(found), "rows": [dict(row) for row in page]}
    )


async def commands(call: Call) -> Answer:
    """The newest commands, newest first."""
    house, count = call.door.house, call.query["count"]
    newest = list(reversed(house.commands.groups.values()))[:count]
    return Answer({"commands": [views.group(house, call.door.teller, group) for group in newest]})


async def command(call: Call) -> Answer:
    house = call.door.house
    group = house.commands.groups.get(call.path["id"])
    if group is None:
        say = f'No command "{call.path["id"]}" is known.'
        raise ProblemError(404, "command", say, remedy="See /api/v1/commands.")
    return Answer(views.group(house, call.door.teller, group))


async def journal(call: Call) -> Answer:
    return Answer(views.journal(call.door.house, call.person, call.query.get("since"), call.query["count"]))


async def now(call: Call) -> Answer:
    desk = call.door.house.desk
    told = call.door.teller.now() | {"rises": call.door.view.rises()}
    return Answer(told | {"desk": desk.say() if desk.holder else ""})


async def wrong(call: Call) -> Answer:
    teller = call.door.teller
    return Answer({"wrong": [row.plain() for row in teller.wrong()], "back": [row.plain() for row in teller.back()]})


def _known(call: Call, name: str) -> str:
    if name not in call.door.house.boxes:
        raise _nobody(name)
    return name


def _nobody(name: str) -> ProblemError:
    return ProblemError(404, "target", f'There is no device "{name}".', remedy="See /api/v1/devices.")


def _kinds(call: Call) -> dict[str, Capability]:
    house = call.door.house
    found: dict[str, Any] = {box.capability.kind: box.capability for box in house.boxes.values()}
    return found | {part.capability.kind: part.capability for part in house.parts.values()}
