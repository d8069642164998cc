"""What is a measured ratio held to, and how is it shown?"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

HEADS: Final = ("what", "measured", "first bar", "held", "goal", "reached")


@dataclass(frozen=True, slots=True)
class Row:
    """One ratio.

    Attributes:
        what: said in one clause.
        measured: in `unit`; lower is better.
        bar: must hold; None: shown for itself.
        goal: aimed at.
        unit: "x" (times the floor), "%" (more than without), "KB", "MB".
        detail: absolute figures of this machine and this run.
    """

    what: str
    measured: float
    bar: float | None = None
    goal: float | None = None
    unit: str = "x"
    detail: dict[str, Any] = field(default_factory=dict)

    @property
    def held(self) -> bool | None:
        """Within the first bar; None: there is none."""
        return None if self.bar is None else self.measured <= self.bar

    @property
    def reached(self) -> bool | None:
        """Within the goal."""
        return None if self.goal is None else self.measured <= self.goal

    def plain(self) -> dict[str, Any]:
        return asdict(self) | {"held": self.held, "reached": self.reached}


def table(rows: Sequence[Row]) -> str:
    """Columns for people."""
    lines = [
        (
            row.what,
            _said(row.measured, row.unit),
            _said(row.bar, row.unit),
            _yes(row.held),
            _said(row.goal, row.unit),
            _yes(row.reached),
        )
        for row in rows
    ]
    widths = [max(len(line[column]) for line in (HEADS, *lines)) for column in range(len(HEADS))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in (HEADS, *lines)
    )


def details(rows: Sequence[Row]) -> str:
    """The absolute figures behind the rows."""
    return "\n".join(
        f"  {row.what}: " + ", ".join(f"{name} {_short(value)}" for name, value in row.detail.items())
        for row in rows
        if row.detail
    )


def _said(value: float | None, unit: str) -> str:
    if value is None:
        return "-"
    if unit == "%":
        return f"{value:+.0f} %"
    return f"{value:.2f} x" if unit == "x" else f"{value:.0f} {unit}"


def _yes(answer: bool | None) -> str:
    return "-" if answer is None else "yes" if answer else "NO"


def _short(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)
