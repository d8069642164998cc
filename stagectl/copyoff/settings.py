"""What is the engine told about a house: its decks, its targets, and how careful and how quick to be?"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from stagectl.copyoff.record import Published
from stagectl.copyoff.source import OpenStore
from stagectl.copyoff.target import Target

Seal = Callable[[Target, Iterable[Published]], str]
"""Writes a manifest of these copies, as they come, into a target; returns its path. Runs in a thread; none come: "".
What it names may be named a second time after a crash."""


@dataclass(frozen=True, slots=True)
class Deck:
    """A recorder whose clips are copied.

    Attributes:
        name: device id.
        called: what people call it.
        open: opens a session with its clip store.
        sessions: transfers at once; most recorders bear one.
        while_recording: its clips may be read while it records. Think twice: reads compete with the recording.
        tells_state: it says whether it records; without, two looks at a clip lie 30 s apart instead of 10.
    """

    name: str
    called: str
    open: OpenStore
    sessions: int = 1
    while_recording: bool = False
    tells_state: bool = True


@dataclass(frozen=True, slots=True)
class Care:
    """How careful and how quick.

    Attributes:
        bytes_per_s: of all reads off recorders together; None: no limit.
        double_read: read every clip off its recorder twice and compare: the only proof of the wire, in twice the time.
        tries: how often a copy begins anew by itself before it has failed.
        again_s: rest before the first of these tries; doubles with each.
        look_apart_s: between two looks at a clip of a recorder that tells its state, and of one that does not.
    """

    bytes_per_s: int | None = None
    double_read: bool = False
    tries: int = 5
    again_s: float = 2.0
    look_apart_s: tuple[float, float] = (10.0, 30.0)
