"""What is asked of the solver of routes, and what does it answer? The graph of routers, not of ports.

Inside one router any input reaches any output, so a node is a router and an arc is a bundle of equal tie-lines. A level
(video, sound, data) is a graph of its own: tie-lines join like with like.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

Spot = tuple[str, str]
"""A router, and the format a picture has there; "": not known, which every tie-line takes."""

ANY: Final[frozenset[str]] = frozenset()


@dataclass(frozen=True, slots=True)
class Arc:
    """A bundle of tie-lines or processors that are alike.

    Attributes:
        start, end: routers; the same one for a processor between an output and an input of it.
        room: how many of them are free.
        cost: 1 for a cable; each frame of delay costs as much as one more.
        takes: formats that pass; empty: all.
        gives: the format behind it; "": as it came.
        only_for: destinations it is kept for; empty: all.
    """

    start: str
    end: str
    room: int
    cost: int = 1
    takes: frozenset[str] = ANY
    gives: str = ""
    only_for: frozenset[str] = ANY

    def behind(self, form: str, destination: str) -> str | None:
        """The format behind it of a picture on its way to a destination; None: it may not or can't pass."""
        if (self.only_for and destination not in self.only_for) or (self.takes and form and form not in self.takes):
            return None
        return self.gives or form


@dataclass(frozen=True, slots=True)
class Want:
    """One destination that shall get one source.

    Attributes:
        source: its name; wants of one source share tie-lines.
        start, end: routers of the source's input and of the destination's output.
        form: the source's format; "": not known.
        takes: formats that serve the destination; empty: all.
    """

    destination: str
    source: str
    start: str
    end: str
    form: str = ""
    takes: frozenset[str] = ANY

    def served_at(self, spot: Spot) -> bool:
        """Is the picture where it shall be, in a format that serves?"""
        return spot[0] == self.end and (not self.takes or not spot[1] or spot[1] in self.takes)


@dataclass(frozen=True, slots=True)
class Problem:
    """All that is asked together. `present`: where a source's picture arrives already, over tie-lines that run."""

    arcs: tuple[Arc, ...]
    wants: tuple[Want, ...]
    present: Mapping[str, tuple[Spot, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found.

    Attributes:
        ways: for each want the arcs it takes, from where its source's picture is already; None: none was left.
        order: served wants, such that each starts from its source, from `present` or from a way before it.
        starts: for each want the spot its way starts from; None for those that were not served.
        exact: no other answer serves more, or as many over less.
        method: "in turn", "short first", "negotiated" or "exact": which search found it.
    """

    ways: tuple[tuple[int, ...] | None, ...]
    order: tuple[int, ...]
    starts: tuple[Spot | None, ...]
    exact: bool
    method: str

    @property
    def served(self) -> int:
        """How many wants get their picture."""
        return len(self.order)

    def cost(self, problem: Problem) -> int:
        """Of all ways together."""
        return sum(problem.arcs[arc].cost for way in self.ways for arc in way or ())
