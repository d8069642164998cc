"""How does a recorder that plays a take back come to roll all the same? A roll has the right of way.

The roll of the others goes as it goes. What our own playback kept from it is stopped and rolls in a press of its own;
the first press waits for that verdict and counts it as its own.
"""

import asyncio
from collections.abc import Awaitable, Callable, Collection, Sequence
from typing import TYPE_CHECKING, Final

import structlog

from stagectl.control.access import Person
from stagectl.control.groups import Command, Group
from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import TRANSPORT, Roll
from stagectl.model.conditions import YES, Leaf, every
from stagectl.model.errors import RefusedError
from stagectl.shoot.playback.plan import MOVES

if TYPE_CHECKING:
    from stagectl.shoot.house import House

INLET: Final = "playback"  # the door the playback's own acts come through
STOPPED_S: Final = 3.0  # a recorder that has not stopped by then is asked to roll all the same, and says why not

log = structlog.get_logger()


def kept_from(group: Group, board: Board, recorders: Collection[str]) -> list[Command]:
    """Those of a roll that were refused since their recorder, one of these, plays."""
    return [
        one
        for one in group.commands
        if one.verdict is not None
        and one.verdict.code == "needs"
        and one.ask.target in recorders
        and board.get(one.ask.target, TRANSPORT).value in MOVES
    ]


async def roll_again(
    house: "House", group: Group, late: Sequence[Command], end: Callable[[Person], Awaitable[None]]
) -> None:
    """Roll these as soon as they play no more.

    Args:
        house: through whose one way in.
        group: the first press.
        late: of it, what was refused.
        end: ends the playback.
    """
    from stagectl.shoot.house import Wish  # noqa: PLC0415 - the house is made of its parts

    judge, person = house.commands.judge, late[0].person
    put_off = {one.ask.target: (one, refusal) for one in late if (refusal := judge.put_off(one)) is not None}
    devices = [one.ask.target for one in late]
    try:
        if person is None:
            return
        await _end(house.board, devices, lambda: end(person))
        name = str(group.args.get("name") or "")
        args = {"on": ", ".join(devices)} | ({"name": name} if name else {})
        again = await house.submit(Wish(person, INLET, house.takes.name, Roll.spec.name, args, f"{group.id[:50]}-2"))
        for command in again.commands:
            if (waits := put_off.pop(command.ask.target, None)) is not None:
                judge.share(waits[0], command)
    except RefusedError as refused:
        log.warning("playback_kept_from_rolling", devices=devices, why=str(refused))
    finally:
        for one, refusal in put_off.values():
            judge.end(one, refusal)


async def _end(board: Board, devices: Sequence[str], end: Callable[[], Awaitable[None]]) -> None:
    """End the playback, and wait until these are seen to play no more; a roll then says itself what they do."""
    at_rest = every(*(Leaf(TRANSPORT, "is not", MOVES[:1], device) for device in devices))
    news = asyncio.Event()
    watch = board.watch(at_rest, lambda truth: news.set() if truth is YES else None)
    try:
        await end()
        async with asyncio.timeout(STOPPED_S):
            await news.wait()
    except (RefusedError, TimeoutError) as late:
        log.warning("playback_in_the_way", devices=list(devices), why=str(late))
    finally:
        watch.detach()
