"""What does a hand on the mixer's own surface change? Strips, buses and memories counted from one."""

from collections.abc import Callable

from stagectl_simulators.mixer_text_desk import Desk, Place
from stagectl_simulators.mixer_text_profile import (
    BUS_LEVEL,
    MINUS_INFINITY,
    STRIP_LEVEL,
    STRIP_NAME,
    STRIP_ON,
    Value,
    stepped,
)
from stagectl_simulators.panel_arguments import PanelArguments


def panel_change(desk: Desk, act: str, args: dict[str, object]) -> tuple[Place, Value] | int:
    """Return the place and value an act sets, or the number of the memory it recalls.

    Raises: ValueError: an act or argument the surface does not have.
    """
    read = PanelArguments(act, args)

    def strip(path: str) -> Place:
        return desk.place(path, read.place("strip", desk.size.strips))

    acts: dict[str, Callable[[], tuple[Place, Value] | int]] = {
        "fader": lambda: (strip(STRIP_LEVEL), _level(read)),
        "mute": lambda: (strip(STRIP_ON), 0),
        "unmute": lambda: (strip(STRIP_ON), 1),
        # The surface has no key for the double quote: the wire could not carry it.
        "name": lambda: (strip(STRIP_NAME), read.text("text").replace('"', "'")[: desk.size.name_limit]),
        "bus_fader": lambda: (desk.place(BUS_LEVEL, read.place("bus", desk.size.buses)), _level(read)),
        "recall": lambda: read.place("memory", desk.size.memories) + 1,
    }
    if act not in acts:
        raise ValueError(f"A text mixer has no act {act!r}. Known acts: {', '.join(acts)}.")
    change = acts[act]()
    read.done()
    return change


def _level(read: PanelArguments) -> int:
    level_db = read.level("db")
    return MINUS_INFINITY if level_db is None else stepped(round(level_db * 100))
