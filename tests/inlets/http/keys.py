"""A house with accounts in front of its door, and one caller of each kind."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from stagectl.control import passwords, people
from stagectl.control.access import FRESH_S, Person, Role
from stagectl.control.people import Account
from stagectl.control.tokens import Token
from stagectl.model.secret import Secret
from tests.inlets.http.conftest import Front

PASSWORD = "four canvas otters yawn"
ROLES = {"mara": Role.VIEWER, "ines": Role.OPERATOR, "tomas": Role.ENGINEER, "petra": Role.ENGINEER}


class Quick:
    """Checks a password at once: scrypt has its own test."""

    def __init__(self, rest: Any) -> None:
        self._rest = rest

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any:
        if do is passwords.matches:
            return args[1] == f"kept:{args[0].reveal()}"
        return await self._rest.run(name, do, *args)


@dataclass
class Keys:
    """Tokens by who holds them."""

    text: Mapping[str, str]
    token: Mapping[str, Token]

    def of(self, who: str) -> dict[str, str]:
        """The headers of a caller; "nobody" has none."""
        return {"Authorization": f"Bearer {self.text[who]}"} if who in self.text else {}


async def close(front: Front) -> Keys:
    """Give the house accounts; everybody is logged in, a machine and a guest have their tokens."""
    house = front.toys.house
    gate = house.gate
    gate._world = replace(house.world, offload=Quick(house.world.offload))
    await people.write(
        house.world.storage, {name: Account(name, role, f"kept:{PASSWORD}") for name, role in ROLES.items()}
    )
    gate.look()
    made = {name: await gate.login(name, Secret(PASSWORD), "test") for name in ROLES}
    made["petra"][0].proved_at -= FRESH_S  # she logged in this morning
    tomas = Person("tomas", Role.ENGINEER)
    made["pedal"] = await gate.machine(tomas, "pedal", Role.OPERATOR, verbs=["roll", "good"], devices=["iso-1"], days=1)
    made["screen"] = await gate.machine(tomas, "screen", Role.VIEWER, verbs=[], devices=[], days=1)
    made["guest"] = await gate.guest(tomas, "guest", verbs=["roll", "good", "call"], hours=4)
    return Keys(
        {who: secret.reveal() for who, (_, secret) in made.items()}, {who: token for who, (token, _) in made.items()}
    )
