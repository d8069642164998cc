"""Old bugs of the command path: proof, verdicts, right of way, authority, shutdown."""

import asyncio
from collections.abc import Sequence
from typing import Any

from stagectl.control import commands as path
from stagectl.control.commands import Commands
from stagectl.control.devices import Devices
from stagectl.control.judging import Judge
from stagectl.control.recovery import Recovery
from stagectl.model.points import Flags
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House
from stagectl.shoot.takes import CutTake, Takes
from tests.studio.museum.bug import Patch, bug


@bug("ok-is-proof", "a roll is verified when its bytes have left and the deck did not refuse")
def _() -> Sequence[Patch]:
    watch = Judge.watch_from

    def believe(self: Any, command: Any, at: float) -> None:
        watch(self, command, at)
        if command.box is not None and not command.looking:
            self._clock.later(
                at + 0.5, lambda: command.said_no or self.end(command, self.verdict(command, Ended.VERIFIED))
            )

    return [(Judge, "watch_from", believe)]


@bug("stop-on-shutdown", "the daemon ends what rolls when it is stopped", first=2)
def _() -> Sequence[Patch]:
    stop = Devices.stop

    async def tidy(self: Any, deadline_s: float = 2.0) -> None:
        for box in self.boxes.values():
            if box._link is not None and box.capability.kind == "recorder":
                box._link.write(b"stop\r\n")
        await stop(self, deadline_s)

    return [(Devices, "stop", tidy)]


@bug("wall-clock-deadline", "a command expires by the wall clock", "twins", first=2)
def _() -> Sequence[Patch]:
    watch, tick = Judge.watch_from, Judge._tick
    sent: dict[Any, float] = {}

    def note(self: Any, command: Any, at: float) -> None:
        watch(self, command, at)
        sent[command] = self._clock.wall().timestamp()

    def expire(self: Any) -> None:
        wall = self._clock.wall().timestamp()
        for command in self._open:
            if command in sent and wall - sent[command] > command.ask.verb.deadline_s():
                command.deadline_at = 0.0
        tick(self)

    return [(Judge, "watch_from", note), (Judge, "_tick", expire)]


@bug("verdict-changes", "what is seen after the verdict changes the verdict", "slow-link", first=83)
def _() -> Sequence[Patch]:
    seen = Judge.seen

    def late(self: Any, command: Any, truth: Any) -> None:
        if command.verdict is not None and truth.name == "YES" and not command.verdict.refused:
            command.verdict = self.verdict(command, Ended.VERIFIED)
        seen(self, command, truth)

    return [(Judge, "seen", late)]


@bug("viewer-may-roll", "the role of a viewer is not asked for")
def _() -> Sequence[Patch]:
    return [(path, "may", lambda *args, **kwargs: None)]


@bug("roll-waits-for-sync", "a roll leaves only when the disk has taken its journal line", "disk")
def _() -> Sequence[Patch]:
    launch = Commands._launch

    def after_sync(self: Any, ready: Any) -> None:
        first = [command for command in ready if Flags.FIRST in command.ask.verb.flags() and not command.relaunched]
        launch(self, [command for command in ready if command not in first])
        if first:

            async def wait() -> None:
                await self._log.synced(first[0].group.number)
                launch(self, first)

            asyncio.get_running_loop().create_task(wait())

    return [(Commands, "_launch", after_sync)]


@bug("ids-forgotten", "ids of an earlier life of the daemon mean nothing to it", "crash", first=12)
def _() -> Sequence[Patch]:
    return [
        (Recovery, "read", classmethod(lambda cls, records, now, **said: cls())),
        (House, "born_before", lambda self, identifier: None),
    ]


@bug("ids-not-compared", "the same id is carried out each time it comes")
def _() -> Sequence[Patch]:
    return [(Commands, "known", lambda self, identifier, content: None)]


@bug("crossed-devices", "an act for the second recorder goes to the first")
def _() -> Sequence[Patch]:
    expand = Takes.expand

    def crossed(self: Any, ask: Any) -> Any:
        asks = expand(self, ask)
        if isinstance(ask.verb, CutTake):
            for one in asks:
                if one.target == "iso-2":
                    one.target = "iso-1"
        return asks

    return [(Takes, "expand", crossed)]


@bug("not-written-down", "a command that is taken back later leaves no line in the journal")
def _() -> Sequence[Patch]:
    write = Commands._write_down

    def silent(self: Any, group: Any) -> None:
        if group.verb == "cut":
            self.remember(group)
            group.number = 1
        else:
            write(self, group)

    return [(Commands, "_write_down", silent)]


@bug("devices-as-a-set", "devices are started in the order of a set", "hash")
def _() -> Sequence[Patch]:
    start = Devices.start

    def unordered(self: Any) -> None:
        boxes, self.boxes = self.boxes, {name: self.boxes[name] for name in set(self.boxes)}
        start(self)
        self.boxes = boxes

    return [(Devices, "start", unordered)]


@bug(
    "joined-blindly",
    "who joins a roll shares its verdict, whatever happened since",
    "joined-a-roll-that-a-hand-ended.json",
)
def _() -> Sequence[Patch]:
    return [(Judge, "_share", lambda self, twins, verdict: self._end_twins(twins, verdict))]
