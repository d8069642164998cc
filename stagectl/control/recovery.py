"""What of the daemon that died? Its ids are remembered, and its open commands are judged by the first full look.

Nothing is ever sent again: a roll whose verdict was never written is looked for in the points, and is else
"not known if it happened".
"""

import asyncio
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, ClassVar, Final, Protocol

import structlog

from stagectl.control.commands import Commands
from stagectl.control.groups import Command, Group
from stagectl.control.journal_lines import SENSELESS
from stagectl.control.wishes import build
from stagectl.model.capabilities.recorder import TRANSPORT, Transport
from stagectl.model.conditions import NO, YES, Condition, judge
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ask, Ended, Verb, VerbSpec, Verdict
from stagectl.model.world import Clock

SEEN_S: Final = 10.0  # how long the first full looks may take
POLL_S: Final = 0.1
KEEP: Final = 2000  # ids of earlier processes

log = structlog.get_logger()


class Line(Protocol):
    """A journal record, as far as needed."""

    @property
    def kind(self) -> str: ...

    @property
    def who(self) -> str: ...

    @property
    def n(self) -> int: ...

    @property
    def data(self) -> dict[str, Any]: ...


@dataclass(frozen=True, slots=True)
class Past(Verb):
    """An act of an earlier process, by its name."""

    spec: ClassVar[VerbSpec] = VerbSpec("past", 0, "done")
    name: str

    def effect(self) -> Condition:
        return TRANSPORT.known()

    def say(self) -> str:
        return self.name


@dataclass(slots=True)
class Recovery:
    """Groups of earlier processes, and which of them have no verdict."""

    groups: dict[str, Group] = field(default_factory=dict)
    open: dict[str, Group] = field(default_factory=dict)

    @classmethod
    def read(cls, records: Iterable[Line], now: float, *, safe: bool = True) -> "Recovery":
        """Fold `command` and `verdict` records; later ones about the same id win. `safe`: they survive a power cut.

        A record that makes no sense, though its sums are right, is left out and logged: an id that was born before this
        start and is not known is carried out by no door.
        """
        found = cls()
        for record in records:
            data = record.data
            try:
                if record.kind == "command" and data.get("id"):
                    found._command(record, now, safe=safe)
                elif record.kind == "verdict" and data.get("id") in found.groups:
                    found._verdict(data, now)
            except SENSELESS as error:
                log.warning("command_record_left_out", n=record.n, why=repr(error))
        while len(found.groups) > KEEP:
            oldest = next(iter(found.groups))
            found.groups.pop(oldest)
            found.open.pop(oldest, None)
        return found

    def _command(self, record: Line, now: float, *, safe: bool) -> None:
        data = record.data
        known = self.groups.get(str(data["id"]))
        if known is not None and known.number >= record.n:
            return  # the same record once more: it opens nothing again
        take = data.get("take")
        if take is not None and not isinstance(take, int):
            raise ValueError(f"{take!r} is no number of a take")
        group = Group(
            str(data["id"]),
            record.who,
            str(data.get("inlet", "")),
            str(data.get("verb", "")),
            str(data.get("say", "")),
            str(data.get("content", "")),
            now,
            number=record.n,
            durable=safe,
            take=take,
            args=dict(data.get("args") or {}),
        )
        verb = Past(group.say)
        group.commands = [
            Command(Ask(group.id, group.who, group.inlet, str(target), verb, take=group.take), group=group)
            for target in data.get("targets", ())
        ]
        self.groups.pop(group.id, None)  # the newest stand last
        self.groups[group.id] = group
        self.open[group.id] = group

    def _verdict(self, data: Mapping[str, Any], now: float) -> None:
        group = self.groups[data["id"]]
        for command in group.commands:
            command.verdict = _read(data.get("boxes"), command.ask.target)
        self.open.pop(group.id, None)
        group.finish(now)

    async def judge(self, commands: Commands, clock: Clock, log: Any) -> None:
        """Give each open command its verdict once its box was looked at whole, or after ten seconds."""
        until = clock.now() + SEEN_S
        waiting = dict(self.open)
        while waiting:
            late = clock.now() >= until
            for group in list(waiting.values()):
                if late or all(self._adopted(commands, command) for command in group.commands):
                    self._end(commands, group, clock, log)
                    del waiting[group.id]
            if waiting:
                await asyncio.sleep(POLL_S)
        self.open.clear()

    @staticmethod
    def _adopted(commands: Commands, command: Command) -> bool:
        box = commands.boxes.get(command.ask.target)
        return box is None or box.adopted

    def _end(self, commands: Commands, group: Group, clock: Clock, log: Any) -> None:
        for command in group.commands:
            if command.verdict is None:
                command.verdict = self._look(commands, group, command)
        log.write(
            "verdict",
            group.who,
            id=group.id,
            take=group.take,
            recovered=True,
            boxes=group.told,
        )
        group.finish(clock.now())

    @staticmethod
    def _look(commands: Commands, group: Group, command: Command) -> Verdict:
        target = command.ask.target
        box = commands.boxes.get(target)
        effect: Condition | None = None
        if box is None or not box.adopted:
            effect = None  # not seen, or another box answers in its place
        elif group.verb == "roll":
            effect = TRANSPORT.is_(Transport.RECORDING)
        elif group.verb == "cut":
            effect = TRANSPORT.is_not(Transport.RECORDING)
        else:
            try:
                effect = build(target, box.capability, group.verb, group.args).effect()
            except RefusedError:
                effect = None
        truth = judge(commands.board, effect, target) if effect is not None else None
        if truth is YES:
            return Verdict(Ended.VERIFIED, "seen after stagectl started again")
        if truth is NO:
            return Verdict(Ended.FAILED, "seen otherwise after stagectl started again", code="seen-otherwise")
        return Verdict(Ended.UNCONFIRMED, "stagectl ended before its verdict", code="not-known")


def _read(boxes: Any, target: str) -> Verdict:
    """One box's verdict as it was written; what can't be read (another version wrote it) is not known."""
    try:
        ended, why, after_s = boxes[target]
        if not isfinite(after_s):
            raise ValueError(f"{after_s} is no time")
        return Verdict(Ended(ended), str(why), after_s=float(after_s))
    except SENSELESS:
        return Verdict(Ended.UNCONFIRMED, "its verdict can't be read", code="not-known")
