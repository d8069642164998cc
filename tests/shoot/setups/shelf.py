"""A house of pretended boxes with set-ups of its own, on virtual time."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.shoot.house import House, Wish
from stagectl.shoot.setups.scribe import Order, Written
from tests.driverkit.memory import VirtualClock
from tests.shoot.hall import house

INES = Person("ines", Role.OPERATOR)
TOMAS = Person("tomas", Role.ENGINEER)

EVENING = """\
set-up: Evening
wants:
  paths: {iso-1 shows: wide} # by ear
  every recorder:
    record codec: vc3-90
  mixer:
    strip 1 muted: yes
    strip 3 level: -20 dB
    strip 5 level: -6 dB
"""


class Here:
    """Fulfils `Offload` on the loop itself: virtual time does not wait for threads."""

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any:
        return do(*args)


def has(own: House, box: str, spec: Any, value: Any) -> None:
    """A hand at a box, or the box itself, brings a point to a value."""
    pretended: Any = own.boxes[box]
    pretended.has(spec, value)


def sent(own: House, box: str) -> list[Any]:
    """What would have left for a box."""
    pretended: Any = own.boxes[box]
    return list(pretended.sent)


def kept(folder: Path, **files: str) -> House:
    """A house with these files as its set-ups; an underscore in a name is a hyphen in the file's."""
    at = folder / "setups"
    at.mkdir(exist_ok=True)
    for name, text in files.items():
        (at / f"{name.replace('_', '-')}.yaml").write_text(text, encoding="utf-8")
    own = house(VirtualClock(asyncio.get_running_loop()))
    object.__setattr__(own.world, "offload", Here())
    own.setups.load(folder)
    return own


async def press(own: House, verb: str, person: Person = INES, **args: Any) -> Group:
    """Apply or undo, to the last verdict."""
    group = await own.submit(Wish(person, "test", "setups", verb, args))
    assert await group.wait(120)
    await asyncio.sleep(0.2)  # virtual: lazy watches settle
    return group


async def capture(own: House, name: str, **more: Any) -> Written:
    """Keep what the boxes show."""
    return await own.setups.scribe.capture(Order(name, **more), INES)


def bad(group: Group) -> dict[str, str]:
    """What did not end well: "mixer strip.1.muted" -> why."""
    return {
        f"{one.ask.target} {next(iter(one.ask.verb.touches()))}": one.verdict.why
        for one in group.commands
        if one.verdict is not None and str(one.verdict.ended) not in ("verified", "sent")
    }


def records(own: House, what: str) -> list[dict[str, Any]]:
    """What the journal says of set-ups, of one sort."""
    return [entry.data for entry in own.chronicle.recent if entry.kind == "setup" and entry.data["what"] == what]
