"""How do people come in, and whom do they let in? Logins, tokens and guests over HTTP."""

from typing import Any, Final

from stagectl.control.access import Role
from stagectl.control.chronicle import stamp
from stagectl.control.tokens import Token
from stagectl.inlets.http import qr
from stagectl.inlets.http.bearer import reached_at, source_of
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import GuestBody, LoginBody, TokenBody
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.model.secret import Secret

ACTS: Final = (
    "route",
    "level",
    "stay",
    "mute",
    "slate",
    "mark",
    "good",
    "note",
    "correct",
    "scene",
    "answer",
    "retry",
    "alarm",
    "call",
    "copy",
)
GUESTS: Final = ("roll", "good", "note", "call", "slate")  # a guest never ends anything and sets nothing


async def login(call: Call) -> Answer:
    """A token for the password of an account, for 12 hours. It is told once."""
    body = call.body_as(LoginBody)
    password = Secret(body.password.get_secret_value())
    return await _issued(call.door.house.gate.login(body.name, password, source_of(call.request)))


async def logout(call: Call) -> Answer:
    """End the token this came with."""
    if call.token is not None:
        await kept(call.door.house.gate.revoke(call.person, call.token))
    return Answer({"say": f"{call.person.name} has left."})


async def me(call: Call) -> Answer:
    """Who this is, what it may do, and until when."""
    person, house = call.person, call.door.house
    shows = person.shows
    return Answer(
        {
            "name": person.name,
            "role": person.role.value,
            "kind": call.token.kind if call.token is not None else "desk",
            "sees": person.sees,
            "verbs": None if shows is None or shows.verbs is None else sorted(shows.verbs),
            "devices": None if shows is None or shows.devices is None else sorted(shows.devices),
            "until": stamp(call.token.until) if call.token is not None else None,
            "accounts": house.gate.guarded,
            "desk": house.desk.plain() if person.sees else None,
        }
    )


async def tokens(call: Call) -> Answer:
    """The tokens that are out, without what opens anything."""
    return Answer({"tokens": [one.plain() for one in call.door.house.gate.tokens.all()]})


async def new_token(call: Call) -> Answer:
    """A token for a program: it may do the verbs listed on the devices listed, and nothing else."""
    body, house = call.body_as(TokenBody), call.door.house
    known = {verb.spec.name for target in (*house.boxes, *house.parts) for verb in _verbs(call, target)}
    _listed(body.verbs, sorted(known | set(ACTS)), "body.verbs")
    devices: dict[str, None] = {}
    for word in body.devices:
        try:
            devices.update(dict.fromkeys(house.resolve(word)))
        except RefusedError as error:
            raise refused(error, field="body.devices") from error
    gate = house.gate
    return await _issued(
        gate.machine(
            call.person, body.name, Role(body.role), verbs=body.verbs, devices=list(devices), days=float(body.days)
        )
    )


async def new_guest(call: Call) -> Answer:
    """A token for a presenter or a client: these acts for some hours, and no look at the house."""
    body, house = call.body_as(GuestBody), call.door.house
    _listed(body.acts, GUESTS, "body.acts")
    made = await _issued(house.gate.guest(call.person, body.name, verbs=body.acts, hours=float(body.hours)))
    link = f"{reached_at(call.request, call.door)}/guest#{made.content['token']}"
    made.content |= {"link": link, "qr": await house.world.offload.run("qr", qr.rows, link)}
    return made


async def revoke(call: Call) -> Answer:
    """End a token on every door, at once."""
    gate = call.door.house.gate
    token = gate.tokens.by_id(call.path["id"])
    if token is None:
        raise ProblemError(404, "token-id", "There is no token of this id.", remedy="See /api/v1/tokens.")
    await kept(gate.revoke(call.person, token))
    return Answer({"say": f"The token of {token.name} has ended."})


def _verbs(call: Call, target: str) -> Any:
    capability = call.door.house.capability(target)
    return capability.verbs if capability is not None else ()


def _listed(words: list[str], known: Any, field: str) -> None:
    for word in words:
        if word not in known:
            say = f'"{word[:40]}" can\'t be granted here.'
            raise ProblemError(422, "argument", say, remedy=f"There is {', '.join(known)}.", fields=[(field, say)])


async def _issued(making: Any) -> Answer:
    token, secret = await kept(making)
    assert isinstance(token, Token)
    say = f"This is the token of {token.name}, shown once."
    return Answer(token.plain() | {"token": secret.reveal(), "say": say})


async def kept(doing: Any) -> Any:
    """What comes of making or ending a token. Raises ProblemError: it was refused, or can't be written."""
    try:
        return await doing
    except RefusedError as error:
        raise refused(error) from error
    except OSError as error:
        raise ProblemError(
            507,
            "disk",
            "The file of tokens can't be written.",
            remedy="Free the disk of the data folder, then ask again.",
        ) from error
