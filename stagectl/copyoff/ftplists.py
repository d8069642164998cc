"""What does a line of an FTP folder list say? Of a machine-readable list (MLSD), or of one for people (LIST)."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from stagectl.copyoff.source import Look, ToldBy

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
# kind and rights, links, owner, perhaps a group, size, month, day, year or time, one space, name
_UNIX: Final = re.compile(
    r"([-dlbcps])[-rwxsStTl]{9}\S?\s+\d+\s+\S+(?:\s+\S+)?\s+(\d+)\s+([A-Za-z]{3})\s+(\d{1,2})\s+"
    r"(?:(\d{4})|(\d{1,2}):(\d{2})) (.+)"
)
# month-day-year, time, folder mark or size, name
_DOS: Final = re.compile(r"(\d{2})-(\d{2})-(\d{2}|\d{4})\s+(\d{1,2}):(\d{2})\s?([AaPp][Mm])?\s+(<DIR>|\d+)\s+(.+)")


@dataclass(frozen=True, slots=True)
class Entry:
    """One name in a folder. `look` is None for a folder."""

    name: str
    look: Look | None


def facts_entry(line: str) -> Entry | None:
    """Read a line of MLSD; None: the folder itself, its parent, a link, or no such line.

    Source: RFC 3659 section 7; times are UTC (section 2.3).
    """
    facts, space, name = line.partition(" ")
    if not space or not name:
        return None
    told = {key.lower(): value for key, _, value in (fact.partition("=") for fact in facts.split(";") if fact)}
    kind = told.get("type", "").lower()
    if kind == "dir":
        return Entry(name, None)
    size = told.get("size", "")
    if kind != "file" or not re.fullmatch("[0-9]{1,18}", size):
        return None
    mtime = moment(told.get("modify", ""))
    return Entry(name, Look(int(size), mtime, ToldBy.FACTS if mtime else ToldBy.NOBODY))


def list_entry(line: str, now: datetime) -> Entry | None:
    """Read a line of LIST in one of its two usual shapes; None: neither file nor folder, or another shape.

    Args:
        line: without its end.
        now: wall time, UTC: lists of the last months leave the year out.

    Source: RFC 959 says nothing of the shape; common practice of servers, from memory.
    """
    if found := _UNIX.fullmatch(line):
        kind, size, month, day, year, hour, minute, name = found.groups()
        if kind not in "d-" or month.lower() not in _MONTHS:
            return None
        told = _time(now, int(year) if year else None, _MONTHS.index(month.lower()) + 1, int(day), (hour, minute))
        return _entry(name, None if kind == "d" else int(size), told)
    if found := _DOS.fullmatch(line):
        month, day, year, hour, minute, half, size, name = found.groups()
        full = int(year) + (2000 if len(year) == 2 else 0)
        clock = str(int(hour) % 12 + (12 if half.lower() == "pm" else 0)) if half else hour
        told = _time(now, full, int(month), int(day), (clock, minute))
        return _entry(name, None if size == "<DIR>" else int(size), told)
    return None


def moment(text: str) -> datetime | None:
    """Read a time as MDTM and MLSD write it, "20261125050854" or with a fraction; None: it is none.

    Source: RFC 3659 section 2.3, UTC.
    """
    if not re.fullmatch(r"[0-9]{14}(\.[0-9]+)?", text):
        return None
    try:
        return datetime.strptime(text[:14], "%Y%m%d%H%M%S").replace(tzinfo=UTC)
    except ValueError:
        return None


def _entry(name: str, size: int | None, mtime: datetime | None) -> Entry | None:
    if name in {".", ".."}:
        return None
    return Entry(name, None if size is None else Look(size, mtime, ToldBy.LIST if mtime else ToldBy.NOBODY))


def _time(
    now: datetime, year: int | None, month: int, day: int, clock: tuple[str | None, str | None]
) -> datetime | None:
    """Taken for UTC; without a year, the last one in which that date was not ahead."""
    for one in (year,) if year else (now.year + 1, now.year, now.year - 1):
        try:
            told = datetime(one, month, day, int(clock[0] or 0), int(clock[1] or 0), tzinfo=UTC)
        except ValueError:
            continue
        if year or told <= now + timedelta(days=1):
            return told
    return None
