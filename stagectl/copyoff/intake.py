"""What becomes of one clip of a list: a new job, or news of one that is known?"""

import sqlite3
from collections.abc import Callable, Collection, Sequence
from itertools import count
from typing import Final

from stagectl.copyoff.job import Job, State
from stagectl.copyoff.jobtables import jobs_of, stored, words
from stagectl.copyoff.plan import Planned, apart, fold

NOT_FETCHED: Final = (State.DISCOVERED, State.STABLE, State.COPYING)
FETCHED: Final = (State.COPIED, State.VERIFIED)


def take_in(
    db: sqlite3.Connection,
    one: Planned,
    targets: Sequence[str],
    *,
    called: str,
    listing: int,
    new_id: Callable[[], str],
) -> None:
    """Bring the database up to date with one clip, within the caller's transaction."""
    newest = "WHERE j.recorder = ? AND j.source = ? ORDER BY j.id DESC LIMIT 1"
    known = next(jobs_of(db, newest, (one.recorder, one.found.path)), None)
    if known is None or (_fetched(known) and not known.source.look.same(one.found.look)):
        _insert(db, one, targets, new_id(), (called, listing))
    else:
        _update(db, one, targets, known, (called, listing))


def gone(db: sqlite3.Connection, recorder: str, called: str, listing: int) -> None:
    """Fail what is not in a recorder's newest list and was never read off it."""
    db.execute(
        f"UPDATE copies SET state = 'failed', reason = 'gone', why = ? WHERE state IN {words(NOT_FETCHED)} "
        "AND job IN (SELECT id FROM jobs WHERE recorder = ? AND listing < ?) "
        f"AND job NOT IN (SELECT job FROM copies WHERE state IN {words((*FETCHED, State.PUBLISHED))})",
        (f"{called} does not list it any more.", recorder, listing),
    )


def _fetched(job: Job) -> bool:
    return any(copy.state in (*FETCHED, State.PUBLISHED) for copy in job.copies)


def _insert(db: sqlite3.Connection, one: Planned, targets: Sequence[str], job: str, seen: tuple[str, int]) -> None:
    row = (job, one.recorder, one.found.path, one.found.slot, *_told(one), *seen)
    db.execute(
        "INSERT INTO jobs (id, recorder, source, slot, size, mtime, told_by, rank, day, take, slate, good, called, "
        f"listing) VALUES ({', '.join('?' * len(row))})",
        row,
    )
    path = _free_path(db, one.path, targets)
    for nth, target in enumerate(targets):
        _insert_copy(db, job, nth, target, path)


def _update(db: sqlite3.Connection, one: Planned, targets: Sequence[str], known: Job, seen: tuple[str, int]) -> None:
    db.execute(
        "UPDATE jobs SET size = ?, mtime = ?, told_by = ?, rank = ?, day = ?, take = ?, slate = ?, good = ?, "
        "called = ?, listing = ? WHERE id = ?",
        (*_told(one), *seen, known.id),
    )
    for target in targets:  # one that the site file has gained since
        if all(copy.target != target for copy in known.copies):
            path = _free_path(db, known.copies[0].path if known.copies else one.path, (target,))
            _insert_copy(db, known.id, len(targets), target, path)
    if not known.source.look.same(one.found.look):
        db.execute(
            "UPDATE jobs SET asked_size = NULL, asked_mtime = NULL, asked_by = 'nobody' WHERE id = ?", (known.id,)
        )
        db.execute(
            "UPDATE copies SET state = 'discovered', tries = 0 WHERE job = ? "
            f"AND state IN {words((*NOT_FETCHED, State.FAILED))}",
            (known.id,),
        )
    elif not known.present:
        db.execute(
            "UPDATE copies SET state = 'discovered' WHERE job = ? AND state = 'failed' AND reason = 'gone'",
            (known.id,),
        )


def _told(one: Planned) -> tuple[str | int | None, ...]:
    look = one.found.look
    return (
        *(look.size, stored(look.mtime), look.told_by.value),
        *(one.rank, one.day, one.take, one.slate, int(one.good)),
    )


def _insert_copy(db: sqlite3.Connection, job: str, nth: int, target: str, path: str) -> None:
    db.execute(
        "INSERT INTO copies (job, nth, target, path, fold, state) VALUES (?, ?, ?, ?, ?, 'discovered')",
        (job, nth, target, path, fold(path)),
    )


def _free_path(db: sqlite3.Connection, path: str, targets: Collection[str]) -> str:
    """The path, or one beside it where another job has taken it at one of the targets."""
    taken = f"SELECT 1 FROM copies WHERE fold = ? AND target IN ({', '.join('?' * len(targets))}) LIMIT 1"
    return next(
        one
        for number in count(1)
        if db.execute(taken, (fold(one := path if number == 1 else apart(path, number)), *targets)).fetchone() is None
    )
