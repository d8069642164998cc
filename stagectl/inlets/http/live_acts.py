"""What can be asked over the live socket? What every inlet can: it is heard, and then told how it ended."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from stagectl.control.access import Person
from stagectl.control.groups import Group
from stagectl.inlets import strict_json
from stagectl.inlets.http import vocabulary
from stagectl.inlets.http.acting import judged, said, submit, unnamed
from stagectl.inlets.http.calls import Door
from stagectl.inlets.http.models import Arguments, Confirm, Id
from stagectl.inlets.http.problems import ProblemError, misshapen

WAITING: Final = 32  # wishes of one socket whose verdict is not in
KNOWN_EVERYWHERE: Final = 16  # characters from which an id is one wish on every door


class Act(BaseModel):
    """One message that asks."""

    model_config = ConfigDict(extra="forbid", strict=True, defer_build=True)
    do: str = Field(pattern="^(roll|cut|route|level|play|stop)$")
    args: Arguments = {}
    id: Id
    edge: str = Field("pulse", pattern="^(press|release|pulse)$")
    confirm: Confirm = ""


class Sight(BaseModel):
    """One message that turns to other points."""

    model_config = ConfigDict(extra="forbid", strict=True, defer_build=True)
    see: list[str] = Field(max_length=256)


class Asker:
    """The acts of one socket."""

    def __init__(
        self,
        door: Door,
        person: Person,
        answer: Callable[[dict[str, Any]], None],
        see: Callable[[list[str]], None],
    ) -> None:
        self._door = door
        self._person = person
        self._answer = answer
        self._see = see
        self._peer = door.house.world.ids.new()
        self._waiting: dict[asyncio.Task[None], None] = {}

    async def hear(self, text: str) -> None:
        """Carry out one message, up to "heard"; how it ended follows by itself. A ping is answered at once."""
        name: Any = None
        try:
            value = strict_json.read(text.encode("utf-8", "replace"))
            told = value if isinstance(value, dict) else {}
            name = told.get("id")
            if told.keys() == {"ping"}:
                self._answer({"pong": told["ping"]} | self._door.view.moment())
                return
            if told.keys() == {"see"}:
                self._see(Sight.model_validate(value).see)
                return
            await self._act(Act.model_validate(value))
        except strict_json.StrictError as error:
            self._refuse(name, ProblemError(400, "json", str(error)))
        except ValidationError as error:
            self._refuse(name, misshapen("message", error))
        except ProblemError as problem:
            self._refuse(name, problem)

    def stop(self) -> None:
        """The socket is gone: waiting ends, what was asked goes on."""
        for task in self._waiting:
            task.cancel()

    async def _act(self, act: Act) -> None:
        if act.edge == "release":
            self._answer({"re": act.id, "is": "done", "say": "A release starts nothing."})
            return
        if self._door.rates.take(f"live:{self._peer}"):
            raise ProblemError(429, "rate", "This socket asks more often than 5 times a second.")
        if len(self._waiting) >= WAITING:
            raise ProblemError(429, "rate", f"{WAITING} wishes of this socket are still on their way.")
        if act.do == "cut" and "take" not in act.args:
            raise unnamed(self._door, self._person)
        key = act.id if len(act.id) >= KNOWN_EVERYWHERE else f"{self._peer}-{act.id}"
        wish = vocabulary.wish(self._door.house, self._person, "live", (act.do, act.args), key)
        group = await submit(self._door, replace(wish, confirm=act.confirm))
        await self._door.house.commands.durable(group)
        self._answer({"re": act.id} | said(self._door, group) | {"is": "heard"})
        task = asyncio.create_task(self._end(act.id, group), name=f"live {group.id}")
        self._waiting[task] = None
        task.add_done_callback(lambda done: self._waiting.pop(done, None))

    async def _end(self, name: str, group: Group) -> None:
        await judged(self._door, group)
        self._answer({"re": name} | said(self._door, group))

    def _refuse(self, name: Any, problem: ProblemError) -> None:
        told = {"is": "refused", "code": problem.code, "say": problem.say, "remedy": problem.remedy}
        if problem.word:
            told["confirm"] = problem.word
        self._answer({"re": name if isinstance(name, str) else None} | told)
