"""How do columns, times and durations look in a terminal?"""

import os
from collections.abc import Iterable, Sequence


def columns(lines: Iterable[Sequence[str]], right: Iterable[int] = ()) -> list[str]:
    """A table without rules: cells padded, two blanks between; `right`: columns that are set to the right."""
    table = [tuple(map(str, line)) for line in lines]
    if not table:
        return []
    wide = [max(len(row[column]) for row in table) for column in range(len(table[0]))]
    flush = frozenset(right)
    return [
        "  ".join(
            cell.rjust(wide[column]) if column in flush else cell.ljust(wide[column]) for column, cell in enumerate(row)
        ).rstrip()
        for row in table
    ]


def width() -> int:
    """Columns of this terminal, 60 to 120."""
    wide = os.environ.get("COLUMNS", "")
    if not wide.isdecimal():
        try:
            wide = str(os.get_terminal_size().columns)
        except OSError:
            wide = "80"
    return max(60, min(120, int(wide)))


def local(stamp: str | None, *, day: bool = False) -> str:
    """A UTC stamp as the time of day here, "15:17:02"; with `day`: "25 Nov 15:17:02"; empty for None."""
    if not stamp:
        return ""
    from datetime import datetime

    here = datetime.fromisoformat(stamp).astimezone()
    return f"{here:%d %b %H:%M:%S}".lstrip("0") if day else f"{here:%H:%M:%S}"


def between(begin: str, end: str | None) -> float | None:
    """Seconds between two stamps; None while there is no end."""
    if not end:
        return None
    from datetime import datetime

    return (datetime.fromisoformat(end) - datetime.fromisoformat(begin)).total_seconds()


def long(seconds: float | None) -> str:
    """A duration in a column: "00:12:40"; empty for None."""
    if seconds is None:
        return ""
    whole = max(0, int(seconds))
    return f"{whole // 3600:02d}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def frames(number: int) -> str:
    """Count frames in words: "1 frame", "3 frames"."""
    return f"{number} frame" if number == 1 else f"{number} frames"
