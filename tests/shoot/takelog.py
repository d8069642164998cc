"""The take log over a board that a test writes to, as the recorders' links would."""

import asyncio
import copy
from collections.abc import Mapping
from typing import Any

from stagectl.control.chronicle import Chronicle
from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import (
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    INPUT_FORMAT,
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Transport,
)
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Verb
from stagectl.shoot.take import Take
from stagectl.shoot.takenumbers import Numbering
from stagectl.shoot.takes import (
    RollAll,
    Takes,
)
from tests.driverkit.memory import VirtualClock
from tests.shoot.hall import PaperJournal

RECORDERS = {"iso-1": "Rec 1", "iso-2": "Rec 2", "iso-3": "Rec 3"}
POINTS = (TRANSPORT, TIMECODE, INPUT_FORMAT, SLOT_ACTIVE, CLIP_NAME, CLIP_START, CLIP_LENGTH)


class Log:
    """The take log over a board that a test writes to, as the recorders' links would."""

    def __init__(
        self,
        recorders: Mapping[str, str] = RECORDERS,
        *,
        format: str = "1080p25",  # noqa: A002
        numbering: Numbering = Numbering.DAY,
    ) -> None:
        self.clock = VirtualClock(asyncio.get_running_loop())
        self.board = Board(self.clock)
        self.by = "ines"
        self.board.author = lambda reading: self.by
        self.paper = PaperJournal()
        self.writers = {name: self.board.writer(name) for name in recorders}
        self.looked: list[tuple[str, tuple[str, ...]]] = []
        self.takes = Takes(
            self.board,
            self.clock,
            Chronicle(self.paper, self.clock),
            recorders,
            lambda device, names: self.looked.append((device, names)),
            lambda word: {"iso": list(recorders), "hall": ["hall"]}.get(word, [word]),
            numbering,
        )
        for name in recorders:
            self.writers[name].declare(*POINTS)
            if format:
                self.says(name, INPUT_FORMAT, format)

    def says(self, device: str, spec: PointSpec[Any], value: Any, *, asked_ago_s: float = 0.0) -> None:
        now = self.clock.now()
        writer = self.writers[device]
        writer.gather()
        writer.put(spec.name, value)
        writer.commit(now - asked_ago_s, now)

    def rests(self, *devices: str) -> None:
        for device in devices or tuple(self.writers):
            self.says(device, TRANSPORT, Transport.STOPPED)

    def rolls(self, *devices: str, label: str = "10:00:00:00", by: str = "ines") -> None:
        """The recorders say that they record, and a label a moment later."""
        self.by = by
        for device in devices:
            self.says(device, TRANSPORT, Transport.RECORDING)
            self.says(device, TIMECODE, label)

    def stops(self, *devices: str, by: str = "ines") -> None:
        self.by = by
        for device in devices:
            self.says(device, TRANSPORT, Transport.STOPPED)

    def lists(self, device: str, clip: str, start: str, length: str = "00:00:10:00") -> None:
        """Its own clip list ends so: one answer tells all of it."""
        now, writer = self.clock.now(), self.writers[device]
        writer.gather()
        for spec, value in ((CLIP_NAME, clip), (CLIP_START, start), (CLIP_LENGTH, length)):
            writer.put(spec.name, value)
        writer.commit(now, now)

    def loses(self, *devices: str) -> None:
        for device in devices:
            self.writers[device].lost()

    def presses(self, *devices: str, name: str = "", who: str = "ines") -> None:
        """Somebody presses roll."""
        ask = Ask("id", who, "test", "takes", RollAll(name))
        self.takes.expect(self.takes.roll_asks(ask, devices or tuple(self.writers), name), name)

    def runs(self) -> bool:
        """Does a take run? A call, so that no type checker takes an earlier answer for this one."""
        return self.takes.open is not None

    @property
    def last(self) -> Take:
        return next(reversed(self.takes.takes.values()))

    def told(self, number: int, device: str) -> list[tuple[str, str, bool]]:
        """(clip, note, ended) of each lane."""
        return [
            (lane.clip, lane.note, lane.ended is not None) for lane in self.takes.takes[number].lanes.get(device, [])
        ]

    def point(self, spec: PointSpec[Any]) -> Any:
        return self.board.get("takes", spec).value

    @property
    def records(self) -> list[dict[str, Any]]:
        return [copy.deepcopy(data) for kind, _, data in self.paper.records if kind == "take"]

    def again(self, records: list[dict[str, Any]] | None = None) -> "Log":
        """The daemon starts anew on the same journal; nothing was read yet."""
        log = Log(numbering=self.takes.numbering)
        log.takes.restore(self.records if records is None else records)
        return log


async def moment(seconds: float = 1.0) -> None:
    await asyncio.sleep(seconds)


def ask(verb: Verb, target: str = "takes") -> Ask:
    return Ask("id", "ines", "test", target, verb)
