"""How do jobs lie in the database? Tables, columns, and rows to and from what they mean."""

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import datetime
from enum import Enum
from typing import Any, Final

from stagectl.copyoff.errors import Reason
from stagectl.copyoff.job import COPIES_SAFE, Copy, Job, State, Wanted
from stagectl.copyoff.source import Found, Look, ToldBy

VERSION: Final = 1

# What is to be done with a job next follows from its copies. It is kept beside them, so that finding the next of 50,000
# jobs is one step down an index and not a walk past all that are done.
_STAGE: Final = """
CREATE TRIGGER IF NOT EXISTS copies_{event} AFTER {when} ON copies BEGIN
    UPDATE jobs SET stage = (
        SELECT CASE
            WHEN sum(state IN ('copied', 'verified')) > 0 THEN 'finish'
            WHEN sum(state IN ('discovered', 'stable', 'copying')) > 0
                THEN CASE WHEN sum(state = 'published') > 0 THEN 'double' ELSE 'fetch' END
            ELSE 'done'
        END FROM copies WHERE job = {row}.job
    ) WHERE id = {row}.job;
END;
"""
_EVENTS: Final = (("come", "INSERT", "NEW"), ("move", "UPDATE OF state", "NEW"), ("go", "DELETE", "OLD"))

SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS jobs (
    id TEXT PRIMARY KEY, recorder TEXT NOT NULL, called TEXT NOT NULL, source TEXT NOT NULL, slot INTEGER NOT NULL,
    size INTEGER NOT NULL, mtime TEXT, told_by TEXT NOT NULL,
    asked_size INTEGER, asked_mtime TEXT, asked_by TEXT NOT NULL DEFAULT 'nobody',
    rank TEXT NOT NULL, day TEXT NOT NULL, take INTEGER, slate TEXT NOT NULL, good INTEGER NOT NULL,
    listing INTEGER NOT NULL, stage TEXT NOT NULL DEFAULT 'done'
) STRICT;
CREATE INDEX IF NOT EXISTS jobs_by_source ON jobs (recorder, source, id);
CREATE INDEX IF NOT EXISTS jobs_due ON jobs (stage, recorder, rank);
CREATE INDEX IF NOT EXISTS jobs_to_double ON jobs (rank) WHERE stage = 'double';
CREATE INDEX IF NOT EXISTS jobs_by_rank ON jobs (recorder, rank, id);
CREATE TABLE IF NOT EXISTS copies (
    job TEXT NOT NULL REFERENCES jobs (id), nth INTEGER NOT NULL, target TEXT NOT NULL,
    path TEXT NOT NULL, fold TEXT NOT NULL, state TEXT NOT NULL, reason TEXT, why TEXT NOT NULL DEFAULT '',
    tries INTEGER NOT NULL DEFAULT 0, hash_kind TEXT NOT NULL DEFAULT '', digest TEXT NOT NULL DEFAULT '',
    kept INTEGER NOT NULL DEFAULT 0, kept_digest TEXT NOT NULL DEFAULT '',
    medium TEXT NOT NULL DEFAULT '', doubt TEXT NOT NULL DEFAULT '',
    started TEXT, verified TEXT, published TEXT, manifest TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (job, target), UNIQUE (target, fold)
) STRICT, WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS copies_by_state ON copies (state, target, job);
CREATE INDEX IF NOT EXISTS copies_unlisted ON copies (target, path) WHERE state = 'published' AND manifest = '';
{triggers}
CREATE TABLE IF NOT EXISTS listings (recorder TEXT PRIMARY KEY, number INTEGER NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS runs (
    id TEXT PRIMARY KEY, wanted TEXT NOT NULL, started TEXT NOT NULL, ended TEXT, says TEXT NOT NULL DEFAULT ''
) STRICT;
""".format(triggers="".join(_STAGE.format(event=event, when=when, row=row) for event, when, row in _EVENTS))

JOB: Final = (
    "j.id, j.recorder, j.called, j.source, j.slot, j.size, j.mtime, j.told_by, "
    "j.asked_size, j.asked_mtime, j.asked_by, j.rank, j.day, j.take, j.slate, j.good, "
    "j.listing = coalesce((SELECT number FROM listings l WHERE l.recorder = j.recorder), j.listing)"
)
COPY: Final = (
    *("target", "path", "state", "reason", "why", "tries", "hash_kind", "digest", "kept", "kept_digest"),
    *("medium", "doubt", "started", "verified", "published", "manifest"),
)

# one row a job (how many of its copies are in which state), then one a recorder; in the order of the fields of `Sums`
BY_RECORDER: Final = f"""
SELECT recorder, count(*), sum(size), sum(open > 0), sum(CASE WHEN open > 0 THEN size ELSE 0 END),
    sum(CASE WHEN fetched = 0 AND open > 0 THEN size ELSE 0 END), sum(failed > 0), sum(open = 0 AND failed = 0),
    sum(media >= {COPIES_SAFE})
FROM (
    SELECT j.recorder AS recorder, coalesce(j.asked_size, j.size) AS size,
        sum(c.state NOT IN ('published', 'failed')) AS open, sum(c.state = 'failed') AS failed,
        sum(c.state IN ('copied', 'verified', 'published')) AS fetched,
        count(DISTINCT CASE WHEN c.state = 'published' THEN c.medium END) AS media
    FROM jobs j JOIN copies c ON c.job = j.id WHERE {{where}} GROUP BY j.id
) GROUP BY recorder ORDER BY recorder
"""


def job_of(row: Sequence[Any], copies: Iterable[Copy]) -> Job:
    """A job from the columns `JOB`."""
    job, recorder, called, source, slot, size, mtime, told_by, *rest = row
    asked_size, asked_mtime, asked_by, rank, day, take, slate, good, present = rest
    asked = None if asked_size is None else Look(asked_size, _time(asked_mtime), ToldBy(asked_by))
    return Job(
        id=job,
        recorder=recorder,
        called=called,
        source=Found(source, slot, Look(size, _time(mtime), ToldBy(told_by))),
        asked=asked,
        rank=rank,
        day=day,
        take=take,
        slate=slate,
        good=bool(good),
        present=bool(present),
        copies=tuple(copies),
    )


def copy_of(row: Sequence[Any]) -> Copy:
    """A copy from the columns `COPY`."""
    told: dict[str, Any] = dict(zip(COPY, row, strict=True))
    told |= {name: _time(told[name]) for name in ("started", "verified", "published")}
    reason = told.pop("reason")
    return Copy(state=State(told.pop("state")), reason=Reason(reason) if reason else None, **told)


def jobs_of(db: sqlite3.Connection, rows: str, values: Sequence[Any] = ()) -> Iterator[Job]:
    """Jobs, whole, of what follows `FROM jobs j`."""
    for row in db.execute(f"SELECT {JOB} FROM jobs j {rows}", values).fetchall():
        copies = db.execute(f"SELECT {', '.join(COPY)} FROM copies WHERE job = ? ORDER BY nth", (row[0],))
        yield job_of(row, map(copy_of, copies.fetchall()))


def stored(value: str | int | datetime | Enum | None) -> str | int | None:
    """A value as a column holds it; times as RFC 3339 with what they are exact to."""
    if isinstance(value, datetime):
        return value.isoformat()
    return value.value if isinstance(value, Enum) else value


def words(some: Iterable[str]) -> str:
    """An SQL list of our own words and ids; nothing from outside gets in."""
    plain = [str(word) for word in some]
    assert all(word.replace("-", "").replace("_", "").isalnum() for word in plain), plain
    return "(" + ", ".join(f"'{word}'" for word in plain) + ")"


def wanted_rows(wanted: Wanted) -> tuple[str, list[str | int]]:
    """The jobs that are meant, as a clause over `jobs j` and its values."""
    parts: list[str] = ["1"]
    values: list[str | int] = []
    columns: tuple[tuple[str, Collection[str | int]], ...] = (
        ("recorder", wanted.recorders),
        ("day", wanted.days),
        ("take", wanted.takes),
    )
    for column, some in columns:
        if some:
            parts.append(f"j.{column} IN ({', '.join('?' * len(some))})")
            values += some
    return " AND ".join(parts), values


def _time(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
