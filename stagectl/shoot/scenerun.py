"""What is a run of a scene? Its own copy of the scene, a result per step, and its verdict."""

import asyncio
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from stagectl.control.access import Person
from stagectl.control.chronicle import stamp
from stagectl.control.groups import Group
from stagectl.model.verbs import Ended
from stagectl.shoot.scene import Scene


class Stand(StrEnum):
    """How a step stands."""

    NOT_ATTEMPTED = "not attempted"
    UNDER_WAY = "under way"
    PASSED = "passed"
    FAILED = "failed"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a step did not pass. `ended` is FAILED, or UNCONFIRMED where it is not known."""

    number: str
    ended: Ended
    why: str
    remedy: str = ""


@dataclass(slots=True)
class StepResult:
    """One step of a run.

    Attributes:
        why: one clause; of a failed or skipped step, or what a put back left alone.
        after_s: from its begin to its end; None: not ended.
        groups: the command groups it asked for.
        question, of: what it asks whom while it waits for a person.
    """

    number: str
    say: str
    stand: Stand = Stand.NOT_ATTEMPTED
    why: str = ""
    remedy: str = ""
    began: float | None = None
    after_s: float | None = None
    groups: list[Group] = field(default_factory=list)
    question: str = ""
    of: str = ""

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "step": self.number,
            "say": self.say,
            "stand": str(self.stand),
            "why": self.why,
            "remedy": self.remedy,
            "after_s": None if self.after_s is None else round(self.after_s, 3),
            "commands": [
                {"id": one.id, "say": one.say, "ended": str(one.worst) if one.worst else None, "count": one.count}
                for one in self.groups
            ],
            "question": self.question,
            "of": self.of,
        }


@dataclass(slots=True, eq=False)
class Run:
    """One run of a scene, with its own copy of it.

    Attributes:
        ended: its verdict, final once set; None: it runs.
        why, remedy: of the first failure.
        result: steps by number, in the file's order.
        back: what was put back or left alone after a failure, in words.
        stopped_by: who asked it to stop.
    """

    id: str
    scene: Scene
    person: Person
    begun: datetime
    content: str
    results: dict[str, StepResult]
    ended: Ended | None = None
    why: str = ""
    remedy: str = ""
    back: list[str] = field(default_factory=list)
    stopped_by: str = ""
    sent: dict[str, None] = field(default_factory=dict)
    _done: asyncio.Event = field(default_factory=asyncio.Event)
    _stop: asyncio.Event = field(default_factory=asyncio.Event)
    _answers: dict[str, tuple[str, asyncio.Future[bool]]] = field(default_factory=dict)

    async def wait(self, deadline_s: float) -> bool:
        """Wait for its end. False: not within `deadline_s`; the run goes on."""
        return await within(self._done, deadline_s)

    def finish(self) -> None:
        """The verdict stands."""
        self._done.set()

    def stop(self, who: str) -> None:
        """End after the present step; waits end at once, what was sent gets its verdict. Ends no take."""
        self.stopped_by = self.stopped_by or who
        self._stop.set()

    @property
    def stopping(self) -> asyncio.Event:
        return self._stop

    @property
    def questions(self) -> dict[str, tuple[str, asyncio.Future[bool]]]:
        """Open questions: step -> (whom it asks, where the answer goes)."""
        return self._answers

    @property
    def count(self) -> str:
        """How many steps passed, of those that were to be done: "4 of 5"."""
        real = [one for one in self.results.values() if one.stand is not Stand.SKIPPED]
        return f"{sum(one.stand is Stand.PASSED for one in real)} of {len(real)}"

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "run": self.id,
            "scene": self.scene.name,
            "called": self.scene.called,
            "who": self.person.name,
            "begun": stamp(self.begun),
            "args": dict(self.scene.given),
            "ended": str(self.ended) if self.ended else None,
            "count": self.count,
            "why": self.why,
            "remedy": self.remedy,
            "steps": [one.plain() for one in self.results.values()],
            "back": list(self.back),
            "stopped_by": self.stopped_by,
        }


async def within(event: asyncio.Event, seconds: float, stop: asyncio.Event | None = None) -> bool:
    """Wait for an event, at most `seconds`, or until `stop`. Returns whether the event is set."""
    if event.is_set() or (stop is not None and stop.is_set()):
        return event.is_set()
    waiting = [asyncio.ensure_future(one.wait()) for one in (event, stop) if one is not None]
    try:
        await asyncio.wait(waiting, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for one in waiting:
            one.cancel()
    return event.is_set()
