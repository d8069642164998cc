"""In which order are settings made, so that no ear is hurt and no wrong picture is shown in between?

Sound comes down first and up last; what a picture comes from is there before who shows it. The order is that of common
practice in studios; the numbers of the stages are this module's own.
"""

from collections.abc import Container, Iterable
from enum import IntEnum
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.router import OUTPUT_SOURCE, Lock
from stagectl.model.conditions import number_of
from stagectl.model.points import Flags, Quality
from stagectl.model.verbs import Ask, Set


class Stage(IntEnum):
    """What goes out together."""

    DOWN = 0  # mutes and levels that fall
    BOXES = 1  # names, a recorder's settings, locks that are given up
    PICTURES = 2  # crosspoints; what leads to a destination before it
    LOCKS = 3  # locks that are taken
    UP = 4  # levels that rise
    OPEN = 5  # what was muted is heard again

    @property
    def say(self) -> str:
        """As a heading, without a colon."""
        return _SAY[self]


_SAY: Final = {
    Stage.DOWN: "sound down",
    Stage.BOXES: "boxes and names",
    Stage.PICTURES: "pictures",
    Stage.LOCKS: "locks",
    Stage.UP: "levels up",
    Stage.OPEN: "sound on",
}
MOST: Final = 64  # settings of one box that go out together: more, and the first is overdue before it is looked at
STEP: Final = 1000  # numbers between two steps of a stage, for what has to go out in rounds
SPAN: Final = 10 * STEP  # and between two stages: a way through tie-lines has four steps


def stage_of(board: Board, ask: Ask) -> Stage:
    """The stage of one setting of a box."""
    verb = ask.verb
    if not isinstance(verb, Set):
        return Stage.BOXES
    point, value = verb.point, verb.value
    if point.name.endswith(".muted"):
        return Stage.DOWN if value else Stage.OPEN
    if Flags.LOUD in point.flags:
        return Stage.DOWN if _falls(board, ask.target, verb) else Stage.UP
    if point.template == OUTPUT_SOURCE.name:
        return Stage.PICTURES
    return Stage.LOCKS if value is Lock.OURS else Stage.BOXES


def _falls(board: Board, device: str, verb: Set[Any]) -> bool:
    """Does it make a level lower than it is? Where that is not known, it may rise."""
    reading = board.reading(device, verb.point)
    now, wanted = number_of(reading.value), number_of(verb.value)
    if reading.quality is not Quality.GOOD or now is None or wanted is None:
        return bool(verb.value == "off")
    return bool(wanted < now)


def staged(asks: list[Ask], parts: Container[str], board: Board) -> list[Ask]:
    """What one wish came to, each of these asks with its stage; the steps that a way has of its own are kept within it.

    A part's own ask stands with the last of what brings it about, for only then it can be seen.
    """
    last = 0
    own: list[Ask] = []
    for ask in asks:
        if ask.target in parts:
            own.append(ask)
        else:
            ask.stage = stage_of(board, ask) * SPAN + ask.stage * STEP
            last = max(last, ask.stage)
    for ask in own:
        ask.stage = last or Stage.BOXES * SPAN
    return asks


def together(asks: Iterable[Ask], parts: Container[str]) -> list[Ask]:
    """Asks that `staged` has numbered, as one group: what comes later goes out only if all sound came down.

    A box that is asked for more than MOST at once is asked in rounds. Nothing is asked twice.
    """
    alone: dict[tuple[str, str], Ask] = {}
    for ask in asks:
        alone.setdefault(_pair(ask), ask)
    down = tuple(pair for pair, ask in alone.items() if ask.stage < SPAN and ask.target not in parts)
    counts: dict[tuple[str, int], int] = {}
    rounds: dict[int, int] = {}
    for ask in alone.values():
        number = ask.stage
        if number >= SPAN:
            ask.after = (*ask.after, *down) if ask.after else down
        if ask.target not in parts:
            count = counts.get((ask.target, number), 0)
            counts[ask.target, number] = count + 1
            rounds[number] = max(rounds.get(number, 0), count // MOST)
            ask.stage = number + count // MOST
    for ask in alone.values():
        if ask.target in parts:
            ask.stage += rounds.get(ask.stage, 0)
    return list(alone.values())


def _pair(ask: Ask) -> tuple[str, str]:
    return ask.target, next(iter(ask.verb.touches()), "")
