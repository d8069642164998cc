"""What is a set-up? A table of points and the values they are wanted to have.

Plain frozen data; `file` reads one file, `shelf` puts the parts together.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from stagectl.filetree import Table, Text
from stagectl.model.points import PointSpec

Pair = tuple[str, str]
"""A device or part, and one of its points."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One point and the value it is wanted to have.

    Attributes:
        group: it came from a row for every member of a group; a row of the device itself goes before it.
        place: where the value stands.
        setup: the set-up whose file says it.
    """

    device: str
    spec: PointSpec[Any]
    value: Any
    group: str
    place: Text
    setup: str

    @property
    def pair(self) -> Pair:
        return self.device, self.spec.name

    @property
    def say(self) -> str:
        """Whose and which point, as files and sentences have it."""
        return f"{self.device} {self.spec.name.replace('.', ' ')}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One file.

    Attributes:
        includes: names of set-ups whose wants hold too where this one says nothing else.
        wants: of this file alone, in its order.
        hold: what is watched after it was applied; None: all it wants.
    """

    name: str
    called: str
    about: str
    includes: tuple[Text, ...]
    wants: Mapping[Pair, Wanted]
    hold: frozenset[Pair] | None
    path: Path
    root: Table = field(repr=False)


@dataclass(frozen=True, slots=True)
class Setup:
    """A set-up with the wants of all it includes; `own` is its own file."""

    own: Sheet
    wants: Mapping[Pair, Wanted]

    @property
    def name(self) -> str:
        """The file's name without its ending; what doors call it."""
        return self.own.name

    @property
    def called(self) -> str:
        """What people call it."""
        return self.own.called

    def watched(self, only: Collection[Pair] = ()) -> list[Wanted]:
        """What is watched once it was applied; `only`: just these were."""
        hold = self.own.hold
        return [
            one for pair, one in self.wants.items() if (hold is None or pair in hold) and (not only or pair in only)
        ]
