"""Which promises did a driver keep? One row for each claim, and a readable list of those that failed."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Self


class Outcome(StrEnum):
    """What became of one claim."""

    HELD = "held"
    FAILED = "failed"
    NOT_ASKED = "not asked"  # nothing was given, or the box has nothing, to try it on


@dataclass(frozen=True, slots=True)
class Row:
    """One claim: its name, what it says, what became of it, and what was seen."""

    name: str
    claim: str
    outcome: Outcome
    seen: str = ""


@dataclass(slots=True)
class Report:
    """All claims about one driver, in the order in which they were tried."""

    kind: str
    rows: list[Row] = field(default_factory=list)

    @property
    def failed(self) -> list[Row]:
        """The claims that do not hold."""
        return [row for row in self.rows if row.outcome is Outcome.FAILED]

    def demand(self) -> Self:
        """Return itself if every claim holds, as tests want it.

        Raises:
            ConformanceError: one line for each claim that failed.
        """
        if self.failed:
            raise ConformanceError(self)
        return self

    def __str__(self) -> str:
        width = max((len(row.name) for row in self.rows), default=0)
        lines = [f"{row.name:<{width}}  {row.outcome:<9}  {row.seen}".rstrip() for row in self.rows]
        return "\n".join([f"Driver {self.kind}:", *lines])


class ConformanceError(AssertionError):
    """A driver does not keep what drivers promise. `report` has every row."""

    def __init__(self, report: Report) -> None:
        lines = [f"  {row.name}: {row.seen}\n    (the claim: {row.claim})" for row in report.failed]
        count = f"{len(report.failed)} of {len(report.rows)}"
        super().__init__("\n".join([f"The driver {report.kind} fails {count} claims:", *lines]))
        self.report = report


class ClaimError(Exception):
    """A claim does not hold; one sentence that says what was seen instead."""


class NotAskedError(Exception):
    """A claim can't be tried here; one clause that says what is missing."""
