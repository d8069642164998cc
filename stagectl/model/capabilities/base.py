"""What makes a kind of box: its points, its verbs, and what casts doubt on it."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

from stagectl.model.conditions import Condition
from stagectl.model.points import Flags, PointSpec, Unit
from stagectl.model.verbs import Verb


class Health(StrEnum):
    """One word for every device, after the five plain states of NAMUR NE 107 (from memory)."""

    WELL = "well"
    FAILED = "failed"  # link or box dead
    LOCAL = "local"  # under control of its own front
    DOUBTFUL = "doubtful"  # answers, but not believable
    NEEDS_CARE = "needs-care"  # medium or hours low, slot in error


LINK_UP: Final[PointSpec[bool]] = PointSpec("link.up", bool)
LINK_SILENT: Final[PointSpec[float]] = PointSpec("link.silent", float, Unit.S, flags=Flags.FAST)
MODEL: Final[PointSpec[str]] = PointSpec("identity.model", str)
SERIAL: Final[PointSpec[str]] = PointSpec("identity.serial", str)
VERSION: Final[PointSpec[str]] = PointSpec("identity.version", str)
HEALTH: Final[PointSpec[Health]] = PointSpec("health", Health)
HEALTH_WHY: Final[PointSpec[str]] = PointSpec("health.why", str)  # one clause; empty when well
EVERY_BOX: Final = (LINK_UP, LINK_SILENT, MODEL, SERIAL, VERSION, HEALTH, HEALTH_WHY)


@dataclass(frozen=True, slots=True)
class Doubt:
    """While `when` holds, the device's health is `health` for the reason `says`; `name` is what its alarm is called."""

    when: Condition
    health: Health
    says: str
    remedy: str
    name: str = ""


@dataclass(frozen=True)
class Capability:
    """A kind of box as the rest of the house sees it."""

    kind: str
    version: int
    points: tuple[PointSpec[Any], ...]
    verbs: tuple[type[Verb], ...]
    doubts: tuple[Doubt, ...] = ()
    _named: dict[str, PointSpec[Any]] = field(default_factory=dict, init=False, repr=False)  # those without an index
    _patterns: list[tuple[re.Pattern[str], PointSpec[Any]]] = field(default_factory=list, init=False, repr=False)

    def __post_init__(self) -> None:
        specs: tuple[PointSpec[Any], ...] = (*EVERY_BOX, *self.points)
        for spec in specs:
            if "{" not in spec.name:
                self._named[spec.name] = spec
                continue
            pattern = re.sub(r"\\\{[a-z]+\\\}", r"([^.{}]+)", re.escape(spec.name))
            self._patterns.append((re.compile(pattern + r"\Z"), spec))

    def point(self, name: str) -> PointSpec[Any] | None:
        """The spec of a concrete name such as "output.3.source"; None if this kind has no such point."""
        if (named := self._named.get(name)) is not None:
            return named
        for pattern, spec in self._patterns:
            if found := pattern.match(name):
                return spec.at(*found.groups())
        return None

    def verb(self, name: str) -> type[Verb] | None:
        """The verb of that name, or None; "set" is not listed, every kind has it."""
        for verb in self.verbs:
            if verb.spec.name == name:
                return verb
        return None

    def names(self) -> Iterable[str]:
        """All point names, indexes open."""
        specs: tuple[PointSpec[Any], ...] = (*EVERY_BOX, *self.points)
        return (spec.name for spec in specs)
