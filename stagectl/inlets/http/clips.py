"""Which clips are on the recorders, and which take does each belong to? Their lists, read now, beside the take log."""

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any, Final

from stagectl.handoff.clipmatch import Listing, Row, matched, parts_of, told
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.problems import ProblemError
from stagectl.model.capabilities.recorder import CLIP_COUNT, SLOT_ACTIVE, SLOT_STATE, TRANSPORT, SlotState, Transport
from stagectl.model.errors import DeviceError, RefusedError
from stagectl.model.points import Quality

LIST_S: Final = 10.0  # a recorder's whole list, at most
SLOTS: Final = range(1, 9)  # of a recorder; those with a medium are asked
MATCH_S: Final = 10.0  # holding lists against takes, at most


async def clips(call: Call) -> Answer:
    """Every clip that recorders list, whose it is, and which takes' clips are not there."""
    house = call.door.house
    listings = await asyncio.gather(*(_listing(call, name) for name in house.takes.recorders))
    takes = [take.plain() for take in house.takes.takes.values()]
    try:
        async with asyncio.timeout(MATCH_S):  # in a thread: a recorder may list tens of thousands
            return Answer(await house.world.offload.run("clips", _held, takes, listings))
    except TimeoutError as error:
        say = f"The lists could not be held against the takes within {MATCH_S:g} s."
        raise ProblemError(504, "late", say, remedy="Ask again.") from error


def _held(takes: Sequence[Mapping[str, Any]], listings: Sequence[Listing]) -> dict[str, Any]:
    return told(matched(parts_of(takes), listings), listings)


async def _listing(call: Call, name: str) -> Listing:
    """What a recorder lists, or why that is not known."""
    house = call.door.house
    called, board = house.called(name), house.board
    if board.get(name, TRANSPORT).value is Transport.RECORDING:
        return Listing(name, called, why="it records, and is left alone")
    lock = call.door.lists.setdefault(name, asyncio.Lock())
    try:
        async with asyncio.timeout(LIST_S), lock:
            found = await house.boxes[name].list_rows("clips", deadline_s=LIST_S)
    except RefusedError:
        return Listing(name, called, why="it is not reached")
    except DeviceError as error:
        return Listing(name, called, why=f"it does not tell its clips: {str(error).rstrip('.')}")
    except TimeoutError:
        return Listing(name, called, why=f"it did not tell its clips within {LIST_S:g} s")
    slot, count = board.get(name, SLOT_ACTIVE).value or 0, board.get(name, CLIP_COUNT)
    rows = tuple(_row(row) for row in found)
    why = ""
    if slot and board.get(name, SLOT_STATE.at(slot)).value is not SlotState.READY:
        why = f"the medium in slot {slot} is not ready"
    elif count.quality is Quality.GOOD and count.value is not None and count.value > len(rows):
        why = f"it told {len(rows)} of its {count.value} clips"
    if why or not slot:
        return Listing(name, called, rows, slot, why)
    others: list[int] = []
    for other in SLOTS:
        if other != slot and (more := await _other(call, name, other)) is not None:
            others.append(other)
            rows += more
    return Listing(name, called, rows, slot, why, tuple(others))


async def _other(call: Call, name: str, slot: int) -> tuple[Row, ...] | None:
    """The clips of a medium that is not in use; None: there is none, or the recorder does not tell them."""
    house = call.door.house
    if house.board.get(name, SLOT_STATE.at(slot)).value is not SlotState.READY:
        return None
    try:
        async with asyncio.timeout(LIST_S), call.door.lists.setdefault(name, asyncio.Lock()):
            found = await house.boxes[name].list_rows(f"slot.{slot}.clips", deadline_s=LIST_S)
    except (RefusedError, DeviceError, TimeoutError):
        return None
    return tuple(_row(row) for row in found)


def _row(row: Mapping[str, Any]) -> Row:
    name, start, length = (str(row.get(word, "")) for word in ("name", "start", "duration"))
    return Row(name, start, length, int(row.get("slot", 0) or 0))
