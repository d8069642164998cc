"""What does each route read of takes? Their log, where their clips overlap, and pictures of that."""

import asyncio
import base64
import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final

from stagectl.handoff import svg
from stagectl.handoff.daypicture import day_picture
from stagectl.handoff.overlap import overlap
from stagectl.handoff.ranges import ranged
from stagectl.handoff.takepicture import take_picture
from stagectl.inlets.http import views
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError
from stagectl.shoot.take import Take

DRAW_S: Final = 10.0  # a picture, at most
PICTURE: Final = "image/svg+xml"
_STYLE: Final = base64.b64encode(hashlib.sha256(svg.ALONE.encode()).digest()).decode()
POLICY: Final = f"default-src 'none'; style-src 'sha256-{_STYLE}'; base-uri 'none'; frame-ancestors 'none'"


async def takes(call: Call) -> Answer:
    return Answer(views.takes(call.door.house, call.door.teller, call.query["count"]))


async def take(call: Call) -> Answer:
    """One take; where its clips overlap is not told while it rolls."""
    found = _known(call)
    told = views.take_view(call.door.house, call.door.teller, found)
    return Answer(
        told
        | {"overlap": overlap(ranged([told], call.door.house.takes.recorders)[0]) if found.closed is not None else None}
    )


async def timeline(call: Call) -> Answer:
    """One take as a picture."""
    return await _picture(call, _take_drawn, _known(call).plain(), call.door.house.takes.recorders)


async def day_timeline(call: Call) -> Answer:
    """The takes of a day as a picture."""
    house, wanted = call.door.house, call.path["day"]
    now = house.world.clock.wall().astimezone()
    try:
        day = now.date() if wanted == "today" else date.fromisoformat(wanted)
    except ValueError as error:
        say = f'"{wanted}" is no day.'
        raise ProblemError(404, "day", say, remedy="Say today, or a date like 2026-11-28.") from error
    told = [take.plain() for take in house.takes.takes.values() if take.opened.astimezone().date() == day]
    title = f"{house.site.name} {day}"
    return await _picture(call, _day_drawn, told, title, now)


def _take_drawn(told: Mapping[str, Any], called: Mapping[str, str]) -> str:
    return take_picture(ranged([told], called)[0], alone=True)


def _day_drawn(told: Sequence[Mapping[str, Any]], title: str, now: datetime) -> str:
    return day_picture(ranged(told), title, now, alone=True)


async def _picture(call: Call, draw: Callable[..., str], *args: object) -> Answer:
    """Drawn in a thread: a large house draws for a while."""
    try:
        async with asyncio.timeout(DRAW_S):
            drawn = await call.door.house.world.offload.run("picture", draw, *args)
    except TimeoutError as error:
        say = f"The picture was not drawn within {DRAW_S:g} s."
        raise ProblemError(504, "late", say, remedy="Ask again.") from error
    return Answer(drawn.encode(), headers={"Content-Security-Policy": POLICY}, content_type=PICTURE)


def _known(call: Call) -> Take:
    number = call.path["n"]
    found = call.door.house.takes.takes.get(number)
    if found is None:
        raise ProblemError(404, "take", f"There is no take {number}.", remedy="See /api/v1/takes.")
    return found
