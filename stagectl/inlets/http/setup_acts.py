"""What can be asked of set-ups? What differs, to apply one, to undo that, and to keep what the boxes show."""

from pathlib import Path
from typing import Any

from stagectl.inlets.http.acting import answered
from stagectl.inlets.http.calls import Answer, Call, Door
from stagectl.inlets.http.models import ApplyBody, CaptureBody
from stagectl.inlets.http.problems import refused
from stagectl.model.errors import RefusedError
from stagectl.shoot.house import Wish
from stagectl.shoot.setups.part import Setups
from stagectl.shoot.setups.plan import Row
from stagectl.shoot.setups.scribe import Order
from stagectl.shoot.setups.setup import Setup


async def setups(call: Call) -> Answer:
    """Every set-up with how much of it differs, the one that is held, and what changed away from it."""
    part = call.door.house.setups
    found = [_setup(part, one) for one in part.shelf.setups.values()]
    broken = [
        {"name": Path(error.file).stem, "called": "", "about": "", "includes": [], "values": 0}
        | {"differ": 0, "unknown": 0, "versions": [], "problem": str(error)}
        for error in part.shelf.errors
    ]
    drifts = [
        {
            "device": one.wanted.device,
            "point": one.wanted.spec.name,
            "wanted": one.wanted.spec.say(one.wanted.value),
            "was": one.wanted.spec.say(one.was),
            "now": one.wanted.spec.say(_now(call.door, one.wanted.device, one.wanted.spec.name)),
            "by": one.by,
            "say": part.tell.drift(one),
        }
        for one in part.drifts
    ]
    held = part.held.name if part.held is not None else ""
    return Answer({"say": part.say(), "held": held, "drifts": drifts, "setups": [*found, *broken]})


def _now(door: Door, device: str, name: str) -> Any:
    reading = door.house.board.find(device, name)
    return reading.value if reading is not None else None


def _setup(part: Setups, one: Setup) -> dict[str, Any]:
    differ, unknown = part.compared(one)
    return {
        "name": one.name,
        "called": one.called,
        "about": one.own.about,
        "includes": [text.value for text in one.own.includes],
        "values": len(one.wants),
        "differ": differ,
        "unknown": unknown,
        "versions": part.shelf.versions(one),
        "problem": "",
    }


async def diff(call: Call) -> Answer:
    """What differs, in sentences, in the order in which it would be put right for this person."""
    part = call.door.house.setups
    try:
        made = part.plan(call.path["n"], only=call.query["only"] or "", person=call.person)
    except RefusedError as error:
        raise refused(error) from error
    rows = [_row(part, row) for row in made.rows]
    return Answer({"setup": made.setup.name, "called": made.setup.called, "say": part.tell.plan(made), "rows": rows})


def _row(part: Setups, row: Row) -> dict[str, Any]:
    wanted, spec = row.wanted, row.wanted.spec
    return {
        "device": wanted.device,
        "point": spec.name,
        "say": part.tell.row(row),
        "truth": str(row.truth),
        "seen": "" if row.value is None else spec.say(row.value),
        "quality": str(row.quality),
        "wanted": spec.say(wanted.value),
        "from": wanted.setup,
        "stage": row.phase.say if row.phase is not None else "",
        "by_hand": row.by_hand,
        "refused": row.refused,
        "remedy": row.remedy,
    }


async def apply(call: Call) -> Answer:
    """Put right what differs; a short form of the verb."""
    args = {"setup": call.path["n"], "only": ", ".join(call.body_as(ApplyBody).only)}
    return await answered(call, Wish(call.person, "http", Setups.name, "apply", args, call.key))


async def undo(call: Call) -> Answer:
    """Put back what the last apply changed; a short form of the verb."""
    return await answered(call, Wish(call.person, "http", Setups.name, "undo", {}, call.key))


async def undoing(call: Call) -> Answer:
    """What an undo would put back, and what it would leave alone."""
    part = call.door.house.setups
    try:
        called, back, left = part.back()
    except RefusedError as error:
        raise refused(error) from error
    said = [f"{one.say} becomes {one.spec.say(one.before)} again." for one in back]
    return Answer({"say": part.tell.undoing(called, back, left), "back": said, "left": [f"{one}." for one in left]})


async def capture(call: Call) -> Answer:
    """Write what the boxes show into a set-up's file."""
    body = call.body_as(CaptureBody)
    order = Order(call.path["n"], ", ".join(body.of), body.add, body.version, body.called, body.dry)
    try:
        call.door.house.permit(call.person, "capture")
        done = await call.door.house.setups.scribe.capture(order, call.person)
    except RefusedError as error:
        raise refused(error) from error
    changes = [
        {"who": one.who, "what": one.what, "was": one.was, "now": one.now, "say": one.say()}
        for one in done.told.changes
    ]
    return Answer({"say": done.say, "file": str(done.path), "changes": changes, "unknown": done.told.unknown})
