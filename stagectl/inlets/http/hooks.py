"""How does a sender act that can set nothing but an address? By a hook: a secret address that does one thing.

The address is its key, and addresses are written down in many places on their way: so a hook does nothing that ends
or hurts, its one act is fixed when it is made, and what comes in the body is not looked at.
"""

from dataclasses import replace
from typing import Final

from pydantic import ValidationError

from stagectl.inlets.http import acts, vocabulary
from stagectl.inlets.http.bearer import source_of
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.keys import kept
from stagectl.inlets.http.models import HookBody, InBody, MarkBody
from stagectl.inlets.http.problems import ProblemError, misshapen

ADDRESS: Final = "/api/v1/hooks/"


async def new_hook(call: Call) -> Answer:
    """A secret address that does one thing. It is told once."""
    body, house = call.body_as(HookBody), call.door.house
    does = {"verb": body.verb, "args": body.args}
    making = house.gate.hook(call.person, body.name, does, words=_words(call, body), days=float(body.days))
    token, secret = await kept(making)
    say = f"This is the address of {token.name}, shown once. Whoever has it can do that, and nothing else."
    return Answer(token.plain() | {"url": ADDRESS + secret.reveal(), "say": say})


async def hooked(call: Call) -> Answer:
    """Do what the hook does; its sender is told in the words inlets share."""
    gate = call.door.house.gate
    token = gate.hooked(call.path["key"])
    if token is None or token.does is None:
        gate.refuse("somebody", source_of(call.request), "POST a hook", "it is not known, or has ended", "hook")
        raise ProblemError(404, "hook", "There is no such hook, or it has ended.", remedy="Have a new one made.")
    person = replace(gate.person(token), source=source_of(call.request))
    body = InBody.model_validate(token.does)
    return await acts.asked(replace(call, person=person), body, f"hook:{token.name}")


def _words(call: Call, body: HookBody) -> list[str]:
    """The words that its act asks for. Raises ProblemError: the act can't be."""
    if body.verb != "mark":
        vocabulary.wish(call.door.house, call.person, "hook", (body.verb, body.args), "")
        return [body.verb]
    try:
        mark = MarkBody.model_validate(body.args)
    except ValidationError as error:
        raise misshapen("body.args", error) from error
    return acts.mark_words(mark)
