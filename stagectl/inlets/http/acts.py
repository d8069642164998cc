"""What does each route do that acts? It makes a wish; the house carries it out."""

from dataclasses import replace
from typing import Any

from stagectl.inlets.http import views, vocabulary
from stagectl.inlets.http.acting import answered, judged, permitted, said, submit, unnamed
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import CommandBody, CutBody, InBody, MarkBody, RollBody, SlateBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.inlets.http.scene_acts import run_view, start_run, words
from stagectl.model.errors import RefusedError
from stagectl.shoot import wording
from stagectl.shoot.house import Wish
from stagectl.shoot.take import MarkKind


async def roll(call: Call) -> Answer:
    body = call.body_as(RollBody)
    args: dict[str, Any] = {"name": body.name, "on": list(body.on)}
    return await answered(call, Wish(call.person, "http", "takes", "roll", _given(args), call.key))


async def cut(call: Call) -> Answer:
    body = call.body_as(CutBody)
    if body.take is None:
        raise unnamed(call.door, call.person, field="body.take")
    args: dict[str, Any] = {"take": body.take, "on": list(body.on)}
    return await answered(call, Wish(call.person, "http", "takes", "cut", _given(args), call.key, body.confirm))


async def command(call: Call) -> Answer:
    body = call.body_as(CommandBody)
    wish = Wish(call.person, "http", body.target, body.verb, dict(body.args), call.key, body.confirm)
    return await answered(call, wish)


async def mark(call: Call) -> Answer:
    body = call.body_as(MarkBody)
    return Answer(_marked(call, call.path["n"], body))


def _marked(call: Call, number: int, body: MarkBody) -> dict[str, Any]:
    house = call.door.house
    for word in mark_words(body):
        permitted(call.door, call.person, word, "mark")
    if number not in house.takes.takes:
        raise ProblemError(404, "take", f"There is no take {number}.", remedy="See /api/v1/takes.")
    try:
        take = house.takes.mark(number, call.person.name, good=body.good, kind=body.kind, note=body.note or "")
    except RefusedError as error:
        raise refused(error) from error
    placed = take.marks[-1] if body.kind is not None or body.note is not None else None
    say = wording.taken(
        take=number,
        good=body.good,
        kind=placed.kind.value if placed is not None else "",
        label=placed.label if placed is not None else "",
    )
    return views.take_view(house, call.door.teller, take) | {"say": say}


def mark_words(body: MarkBody) -> list[str]:
    """The words that a mark asks for: who may rate may mark a good place, who may note a problem.

    Raises:
        ProblemError: it asks for nothing.
    """
    if body.kind is MarkKind.NOTE and body.note is None:
        raise ProblemError(
            422, "argument", "A note needs its text.", remedy="Give note.", fields=[("body.note", "it is missing.")]
        )
    good = body.good is not None or body.kind is MarkKind.GOOD
    note = body.note is not None or body.kind is MarkKind.PROBLEM
    if not good and not note:
        raise ProblemError(
            422,
            "argument",
            "A mark needs good, a kind or a note.",
            remedy="Give one.",
            fields=[("body.good", "it is missing.")],
        )
    return [word for word, asked in (("good", good), ("note", note)) if asked]


async def slate(call: Call) -> Answer:
    name = call.body_as(SlateBody).name
    args = {"point": "next.name", "value": name}
    group = await submit(call.door, Wish(call.person, "http", "takes", "set", args, call.key))
    await judged(call.door, group)
    takes = call.door.house.takes
    return Answer(
        {
            "say": wording.slate(take=takes.next_number, name=takes.slate),
            "take": takes.next_number,
            "name": takes.slate,
            "command": group.id,
        }
    )


async def retry(call: Call) -> Answer:
    """Take a device out of quarantine."""
    permitted(call.door, call.person, "retry")
    house, name = call.door.house, call.path["id"]
    if name not in house.boxes:
        raise ProblemError(404, "target", f'There is no device "{name}".', remedy="See /api/v1/devices.")
    if name in house.devices.quarantined:
        house.chronicle.write("link", call.person.name, device=name, what="retry", why="taken out of quarantine")
        house.devices.retry(name)
    return Answer(views.device(house, name))


async def inlet(call: Call) -> Answer:
    """An outside controller asks; it is told in the words inlets share."""
    return await asked(call, call.body_as(InBody), f"in:{call.path['inlet']}")


async def asked(call: Call, body: InBody, peer: str) -> Answer:
    """Carry out what an inlet asks. `peer`: inlet and name; it has a rate of its own.

    Raises:
        ProblemError: 429: it asks too often. A roll is never refused for that, since it is there once at most.
    """
    door = call.door
    wait_s = door.rates.take(peer)
    if wait_s and (body.verb, body.edge == "release") != ("roll", False):
        raise ProblemError(
            429,
            "rate",
            f"{peer.partition(':')[2]} asks more often than 5 times a second.",
            remedy="Ask again in a second.",
            headers={"Retry-After": str(int(wait_s) + 1)},
        )
    key = _one_key(call, body)
    if body.edge == "release":
        return Answer({"is": "done", "say": "A release starts nothing."})
    if body.verb == "mark":
        return Answer({"is": "done"} | _mark_by_inlet(call, body.args))
    if body.verb == "scene":
        name = vocabulary.needed("scene", body.args, "name")
        given = words({key: value for key, value in body.args.items() if key != "name"})
        run = run_view(door, start_run(door, call.person, name, given, key))
        return Answer({"is": "heard"} | run, 202, {"Location": f"/api/v1/scenes/runs/{run['id']}"})
    if body.verb == "cut" and "take" not in body.args:
        raise unnamed(door, call.person, field="body.args.take")
    wish = vocabulary.wish(door.house, call.person, peer, (body.verb, body.args), key)
    group = await submit(door, replace(wish, confirm=body.confirm))
    whole = group.ended if call.query.get("wait") is None else await judged(call.door, group)
    await door.house.commands.durable(group)
    return Answer(said(door, group), 200 if whole else 202, {"Location": f"/api/v1/commands/{group.id}"})


def _mark_by_inlet(call: Call, args: dict[str, Any]) -> dict[str, Any]:
    vocabulary.check("mark", args)
    takes = call.door.house.takes
    newest = takes.open.number if takes.open is not None else next(reversed(takes.takes), 0)
    try:
        body = MarkBody.model_validate({name: args[name] for name in ("good", "kind", "note") if name in args})
        number = int(args.get("take", newest))
    except (TypeError, ValueError) as error:
        raise ProblemError(
            422,
            "argument",
            "mark takes a take number, good as true or false, a kind (good, problem or note) and a note as text.",
        ) from error
    return _marked(call, number, body)


def _one_key(call: Call, body: InBody) -> str:
    if body.id and call.key and body.id != call.key:
        raise ProblemError(
            422,
            "id",
            "The id in the body and the Idempotency-Key differ.",
            remedy="Send one.",
            fields=[("body.id", "")],
        )
    return body.id or call.key


def _given(args: dict[str, Any]) -> dict[str, Any]:
    """Without what was left out, so that the same wish is the same wish through every door."""
    return {name: value for name, value in args.items() if value not in ("", [])}
