"""How does a request become a wish, and its group an answer? One way for every route that acts, and for the socket."""

from typing import Any, Final

from stagectl.control.access import Person, allowed
from stagectl.control.groups import Group
from stagectl.inlets.http import views
from stagectl.inlets.http.calls import Answer, Call, Door
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from stagectl.shoot.house import Wish

PATIENCE_S: Final = 2.0  # beyond the verbs' own deadlines
WORDS: Final = {
    Ended.VERIFIED: "done",
    Ended.SENT: "sent",
    Ended.UNCONFIRMED: "unsure",
    Ended.FAILED: "failed",
}
_WELL: Final = (Ended.VERIFIED, Ended.SENT)
_WHOLE: Final = frozenset(
    {"role", "fresh", "token", "held", "conflict", "id-reused", "take"}
)  # all of a group refused so: nothing was understood


async def submit(door: Door, wish: Wish) -> Group:
    """Hand a wish to the house.

    Raises:
        ProblemError: it was refused whole; no byte was sent.
    """
    try:
        group = await door.house.submit(wish)
    except RefusedError as error:
        raise refused(error) from error
    verdicts = group.verdicts
    codes = {verdict.code for verdict in verdicts}
    if group.ended and verdicts and len(codes) == 1 and codes <= _WHOLE and all(one.refused for one in verdicts):
        first = verdicts[0]
        raise refused(RefusedError(first.why, remedy=first.remedy, code=first.code))
    return group


def unnamed(door: Door, person: Person, *, field: str = "") -> ProblemError:
    """What a cut is told that names no take. Who may not cut at all is told that, and not what runs."""
    try:
        allowed(person, ("cut",))
    except RefusedError as error:
        return refused(error)
    return refused(door.teller.unnamed_cut(), field=field)


async def judged(door: Door, group: Group) -> bool:
    """Wait for the verdicts as long as their deadlines and rises need, with patience. False: not all are in."""
    return await group.wait(door.house.commands.takes_s(group) + PATIENCE_S)


async def answered(call: Call, wish: Wish) -> Answer:
    """Carry a wish out: 202 with where to look, or 200 with the verdicts if the caller waits for them."""
    group = await submit(call.door, wish)
    whole = group.ended if call.query.get("wait") is None else await judged(call.door, group)
    await call.door.house.commands.durable(group)
    told = views.group(call.door.house, call.door.teller, group)
    where = {"Location": f"/api/v1/commands/{group.id}"}
    return Answer(told, 200 if whole else 202, where)


def said(door: Door, group: Group) -> dict[str, Any]:
    """A group in the words inlets share: heard, done, partly, failed, unsure, sent."""
    told: dict[str, Any] = {"command": group.id, "say": door.teller.group(group), "is": "heard"}
    if group.take is not None:
        told["take"] = group.take
    worst = group.worst
    if worst is None:
        return told
    well = sum(verdict.ended in _WELL for verdict in group.verdicts)
    told["is"] = "partly" if well and worst in (Ended.FAILED, Ended.UNCONFIRMED) else WORDS[worst]
    told["count"] = group.count
    told["durable"] = group.durable
    missing = [command for command in group.commands if command.verdict and command.verdict.ended not in _WELL]
    told["missing"] = [{"device": one.ask.target, "say": door.teller.box(one)} for one in missing]
    return told


def permitted(door: Door, person: Person, *words: str) -> None:
    """Marks, notes and the like pass the same function as verbs do.

    Raises:
        ProblemError: role, token or desk are in the way.
    """
    try:
        door.house.permit(person, *words)
    except RefusedError as error:
        raise refused(error) from error
