"""What must a simulated box be able to do? The contract between the server and every kind of box.

A model is behaviour without sockets and without a clock. The server passes time in, as seconds since it started, and
calls one method at a time, never with an earlier time than before. Whatever the box says is returned, not written.
Randomness comes only from the `random.Random` handed to `build`, so one seed gives one behaviour.

A kind of box is a module with a class that satisfies `Model` and one function:

    def build(name: str, options: dict[str, object], rng: random.Random, house: HouseClock) -> Model

It raises `ValueError` with a sentence for an option it does not know (options.py reads them). kinds.py lists the
modules.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar, Final, Protocol

Sends = list[tuple[int, bytes]]
"""What the box says: (client number, bytes), in the order in which it says it. Numbers are never used twice."""

HISTORY_LIMIT: Final = 2000  # entries kept of what really happened; own choice, a day of takes


@dataclass(frozen=True, slots=True)
class Opened:
    """The box's answer to a new client: what it says at once, and whether it then closes the door on it."""

    sends: Sends
    refuse: bool = False  # True: send, then close; the client was never in, `close` is not called for it


def number(when_on: float) -> Any:
    """Declare a fault switch that takes a value of 0 (off) or more; a plain "on" means `when_on`.

    Written `roll_late: float = number(3.0)`.
    """
    return field(default=0.0, metadata={"on": when_on})


@dataclass(slots=True)
class FaultSet:
    """Named switches that may be turned at any time; all off is a healthy box. Subclass it as a slots dataclass.

    A switch is a `bool = False`, or a `float = number(when_on)`. Each carries its real-life story in a comment. The
    server turns a switch and calls `advance` at once, so a model that reacts to being switched does so there. A switch
    that is one event (a burst, a reset) turns itself off when it has happened.
    """

    def read(self) -> dict[str, bool | float]:
        """Every switch and where it stands, in the order of declaration."""
        return {each.name: getattr(self, each.name) for each in fields(self)}

    def turn(self, name: str, value: bool | float) -> None:
        """Turn one switch: True and False for any of them, a number of 0 or more only for one that is a number.

        Raises: ValueError: no such switch, or a value it cannot take; the sentence lists what there is.
        """
        switch = next((each for each in fields(self) if each.name == name), None)
        if switch is None:
            raise ValueError(f"There is no fault {name!r}. Known faults: {', '.join(self.read())}.")
        if isinstance(value, bool):
            setattr(self, name, (float(switch.metadata["on"]) if value else 0.0) if switch.metadata else value)
        elif not switch.metadata:
            raise ValueError(f"Fault {name!r} is a switch. Turn it with true or false.")
        elif not 0 <= value < float("inf"):
            raise ValueError(f"Fault {name!r} takes a number of 0 or more, not {value}.")
        else:
            setattr(self, name, float(value))


class History:
    """What really happened to a box, and by whose hand. Bounded; the oldest entries go first."""

    def __init__(self, limit: int = HISTORY_LIMIT) -> None:
        self._entries: deque[dict[str, object]] = deque(maxlen=limit)
        self._count = 0

    def note(self, now_s: float, what: str, cause: str, **details: object) -> None:
        """Write one event. `cause` is "wire:<client>", "panel" or "self"; `details` must be JSON values."""
        self._count += 1
        entry = {"n": self._count, "at_s": round(now_s, 6), "what": what, "cause": cause}
        self._entries.append(entry | details)

    def read(self) -> Sequence[dict[str, object]]:
        """The entries, oldest first, each with a number `n` that only grows."""
        return list(self._entries)


class Model(Protocol):
    """One simulated box. All times are seconds since the server's start; time never runs backwards."""

    kind: ClassVar[str]  # "text-deck", "block-router", "mixer-text"
    refusal: ClassVar[bytes]  # what this kind says to a client it cannot take before it closes; b"" if it says nothing

    @property
    def faults(self) -> FaultSet:
        """The switches of this kind, a subclass of FaultSet: the same object for the life of the box."""
        ...

    def open(self, client: int, peer: str, now_s: float) -> Opened:
        """Meet a new client; `peer` is its host's address as text, without the port. A greeting goes into `sends`."""
        ...

    def feed(self, client: int, data: bytes, now_s: float) -> Sends:
        """Hear bytes from a client. Any split of a stream gives the same result."""
        ...

    def close(self, client: int, now_s: float) -> None:
        """Forget a client that is gone, whoever closed it. Not called for one that was refused."""
        ...

    def advance(self, now_s: float) -> Sends:
        """Let time pass up to `now_s` and return what falls due. Harmless to call too often or too late."""
        ...

    def due_s(self) -> float | None:
        """When `advance` next has something to do; None: never, unless somebody acts."""
        ...

    def panel(self, act: str, args: dict[str, object], now_s: float) -> Sends:
        """Somebody's hand on the front panel.

        Raises: ValueError: an act or argument this box does not know, or cannot do now; one sentence that says so.
        """
        ...

    def reboot(self, now_s: float) -> None:
        """The power went and is back: what is volatile is gone. Its clients are closed (`close`) before."""
        ...

    def truth(self, now_s: float) -> dict[str, object]:
        """Ground truth as JSON values: the state, and `history`, the entries of a `History`."""
        ...

    def drop(self) -> list[int]:
        """Clients the box wants closed now (it said goodbye, its watchdog ran out); each named once.

        Asked after every other call; what that call returned is sent first. `close` follows for each.
        """
        ...
