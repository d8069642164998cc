"""What was so before we set it, and what of that can be put back?

Only what is still ours is put back: what somebody else changed since stays as they made it.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from stagectl.control.rises import Rise
from stagectl.model.board import Board
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.conditions import same
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Ask, Set


@dataclass(slots=True)
class Kept:
    """A setting as it was before, and as we set it. `known`: what it was before had just been read."""

    target: str
    spec: PointSpec[Any]
    before: Any
    known: bool
    ours: Any

    @property
    def say(self) -> str:
        return f"{self.target} {self.spec.name.replace('.', ' ')}"


class Keeper:
    """Remembers what is set, so that it can be put back. Settings only: a roll or cut is never undone."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self.kept: dict[tuple[str, str], Kept] = {}

    def keep(self, asks: Sequence[Ask], parts: Collection[str]) -> None:
        """Note the readings just before these asks go.

        A picture is put back by its destination, not crosspoint by crosspoint: a tie-line we took may carry the
        picture to somebody else by now. Other parts are put back by what they expand to.
        """
        routed = any(ask.target == "paths" for ask in asks)
        for ask in asks:
            verb = ask.verb
            if not isinstance(verb, Set):
                continue
            hop = routed and verb.point.template == OUTPUT_SOURCE.name
            if hop or (ask.target in parts and ask.target != "paths" and len(asks) > 1):
                continue
            pair = (ask.target, verb.point.name)
            if (known := self.kept.get(pair)) is not None:
                known.ours = verb.value
                continue
            reading = self._board.reading(ask.target, verb.point)
            self.kept[pair] = Kept(ask.target, verb.point, reading.value, reading.quality is Quality.GOOD, verb.value)

    def undo(self, rises: Iterable[Rise] = ()) -> tuple[list[Kept], list[str]]:
        """As `back`; then nothing is kept any more."""
        told = self.back(rises)
        self.kept = {}
        return told

    def back(self, rises: Iterable[Rise] = ()) -> tuple[list[Kept], list[str]]:
        """What is to be set back, last first, and in words what is left alone.

        A level that still rises to what we set, of `rises`, is ours on its whole way.
        """
        ours = {(one.device, one.point.name): one.to for one in rises}
        back: list[Kept] = []
        left: list[str] = []
        for one in reversed(self.kept.values()):
            reading = self._board.reading(one.target, one.spec)
            if reading.quality is not Quality.GOOD:
                left.append(f"{one.say} is not known now and is left alone")
            elif one.known and same(one.spec, reading.value, one.before):
                continue
            elif not same(one.spec, reading.value, one.ours) and ours.get((one.target, one.spec.name)) != one.ours:
                by = f" by {reading.by}" if reading.by not in ("", "box") else " since"
                left.append(f"{one.say} was changed{by} and is left alone")
            elif not one.known:
                left.append(f"{one.say} was not known before and stays")
            else:
                back.append(one)
        return back, left
