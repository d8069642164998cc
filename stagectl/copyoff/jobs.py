"""Where do copy jobs stand, so that a restart goes on where it was? In a small database, a row a job and a copy.

All calls block, from any thread: one connection, one lock. A change is on the medium when its call returns.
"""

import sqlite3
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from itertools import islice
from pathlib import Path
from threading import Lock
from typing import Final

from stagectl.copyoff.errors import DatabaseError, Reason
from stagectl.copyoff.intake import FETCHED, NOT_FETCHED, gone, take_in
from stagectl.copyoff.job import Copy, Job, State, Sums, Wanted
from stagectl.copyoff.jobtables import BY_RECORDER, COPY, SCHEMA, VERSION, jobs_of, stored, wanted_rows, words
from stagectl.copyoff.plan import Planned
from stagectl.copyoff.record import Published
from stagectl.copyoff.source import Look
from stagectl.model.errors import SiteError

PAGE: Final = 200  # jobs read or written at once; own choice
LOCK_S: Final = 5.0  # another process that holds the file longer than this is an error


class Jobs:
    """The job database.

    Args:
        path: the file, made if absent, for its owner alone.

    Raises:
        SiteError: it can't be opened, or is of a newer version.
    """

    def __init__(self, path: Path) -> None:
        self._lock = Lock()
        self._name = path.name
        try:
            path.touch(mode=0o600)
            self._db = sqlite3.connect(path, timeout=LOCK_S, check_same_thread=False, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            found = self._db.execute("PRAGMA user_version").fetchone()[0]
            if found <= VERSION:
                self._db.executescript(f"BEGIN; {SCHEMA} PRAGMA user_version = {VERSION}; COMMIT;")
        except (OSError, sqlite3.Error) as error:
            say = "Move it away: copies that stand are found again."
            raise SiteError(f"{path.name} in the data folder can't be used ({error}). {say}") from error
        if found > VERSION:
            self._db.close()
            raise SiteError(f"{path.name} in the data folder is of a newer version. Run that version, or move it away.")

    def close(self) -> None:
        """Safe to call twice."""
        with self._lock:
            self._db.close()

    def keep_to(self, targets: Sequence[str]) -> None:
        """Forget what was never published at a target that the site file does not name any more."""
        with self._change() as db:
            db.execute(
                f"DELETE FROM copies WHERE state != 'published' AND target NOT IN ({', '.join('?' * len(targets))})",
                targets,
            )

    def discover(
        self, recorder: str, called: str, found: Iterable[Planned], targets: Sequence[str], new_id: Callable[[], str]
    ) -> int:
        """Take in a whole list of a recorder's clips, as they come; returns how many there were.

        A clip not seen before, or copied and then recorded anew, gets a job; one that is not copied yet is brought
        up to date. What is not in the list any more is no longer present; what was not copied of it has failed: GONE.

        Raises:
            CopyError: as `found` does; what came until then is kept, and nothing counts as gone.
        """
        with self._change() as db:
            row = db.execute("SELECT number FROM listings WHERE recorder = ?", (recorder,)).fetchone()
            number = (row[0] if row else 0) + 1
        clips, total = iter(found), 0
        while some := list(islice(clips, PAGE)):
            with self._change() as db:
                for one in some:
                    take_in(db, one, targets, called=called, listing=number, new_id=new_id)
            total += len(some)
        with self._change() as db:
            db.execute("INSERT OR REPLACE INTO listings VALUES (?, ?)", (recorder, number))
            gone(db, recorder, called, number)
        return total

    def job(self, job: str) -> Job | None:
        """One job; None: there is none of that id."""
        with self._reading() as db:
            return next(jobs_of(db, "WHERE j.id = ?", (job,)), None)

    def page(self, wanted: Wanted, *, after: Job | None = None, most: int = PAGE) -> list[Job]:
        """Jobs of one recorder after another, each in the order of copying.

        Args:
            wanted: which.
            after: the last one of the page before; None: from the start.
            most: how many.
        """
        where, values = wanted_rows(wanted)
        place = (after.recorder, after.rank, after.id) if after else ("", "", "")
        rows = f"WHERE (j.recorder, j.rank, j.id) > (?, ?, ?) AND {where} ORDER BY j.recorder, j.rank, j.id LIMIT ?"
        with self._reading() as db:
            return list(jobs_of(db, rows, (*place, *values, most)))

    def to_fetch(self, recorder: str, wanted: Wanted, skip: Collection[str]) -> tuple[Job, Copy] | None:
        """The next clip to read off a recorder, and its copy to begin with; None: nothing left.

        A clip is read off once: further copies are made from the first. Where that one failed, the next is begun with.

        Args:
            recorder: device id.
            wanted: which.
            skip: jobs that wait for another try.
        """
        where, values = wanted_rows(wanted)
        due = f"WHERE j.stage = 'fetch' AND j.recorder = ? AND {where}"
        rows = f"{due} AND j.id NOT IN {words(skip)} ORDER BY j.rank LIMIT 1"
        with self._reading() as db:
            for job in jobs_of(db, rows, (recorder, *values)):
                return job, next(copy for copy in job.copies if copy.state in NOT_FETCHED)
        return None

    def to_finish(self, recorder: str, skip: Collection[str]) -> tuple[Job, Copy] | None:
        """The next copy of a recorder's clip that waits to be read back or named; None: nothing does."""
        rows = f"WHERE j.stage = 'finish' AND j.recorder = ? AND j.id NOT IN {words(skip)} ORDER BY j.rank LIMIT 1"
        with self._reading() as db:
            for job in jobs_of(db, rows, (recorder,)):
                return job, next(copy for copy in job.copies if copy.state in FETCHED)
        return None

    def to_double(
        self, target: str, others: Collection[str], wanted: Wanted, skip: Collection[str]
    ) -> tuple[Job, Copy, Copy] | None:
        """The next clip that `target` lacks while one of `others` has it: job, copy to make, copy there is."""
        where, values = wanted_rows(wanted)
        rows = (
            f"WHERE j.stage = 'double' AND {where} AND j.id NOT IN {words(skip)} "
            f"AND EXISTS (SELECT 1 FROM copies c WHERE c.job = j.id AND c.target = ? "
            f"AND c.state IN {words(NOT_FETCHED)}) "
            "AND EXISTS (SELECT 1 FROM copies c WHERE c.job = j.id AND c.state = 'published' "
            f"AND c.target IN ({', '.join('?' * len(others))})) ORDER BY j.rank LIMIT 1"
        )
        with self._reading() as db:
            for job in jobs_of(db, rows, (*values, target, *others)):
                there = (one for one in job.copies if one.state is State.PUBLISHED and one.target in others)
                return job, job.copy(target), next(there)
        return None

    def earlier(self, job: Job) -> Job | None:
        """The job before this one of the same file of the same recorder; None: it is the first."""
        rows = "WHERE j.recorder = ? AND j.source = ? AND j.id < ? ORDER BY j.id DESC LIMIT 1"
        with self._reading() as db:
            return next(jobs_of(db, rows, (job.recorder, job.source.path, job.id)), None)

    def was_the_same(self, job: Job, earlier: Job) -> None:
        """A job turned out to be an earlier one whose file only told another time: there is one again."""
        told = "size, mtime, told_by, asked_size, asked_mtime, asked_by, listing"
        with self._change() as db:
            db.execute(
                f"UPDATE jobs SET ({told}) = (SELECT {told} FROM jobs WHERE id = ?) WHERE id = ?", (job.id, earlier.id)
            )
            db.execute("DELETE FROM copies WHERE job = ?", (job.id,))
            db.execute("DELETE FROM jobs WHERE id = ?", (job.id,))

    def looked(self, job: str, look: Look) -> None:
        """Keep what the store said of a clip just before its copy."""
        with self._change() as db:
            db.execute(
                "UPDATE jobs SET asked_size = ?, asked_mtime = ?, asked_by = ? WHERE id = ?",
                (look.size, stored(look.mtime), look.told_by.value, job),
            )

    def put(self, job: str, target: str, state: State, **values: str | int | datetime | Reason | None) -> None:
        """Bring one copy to a state.

        Args:
            job: its id.
            target: whose copy.
            state: the new one.
            values: fields of `Copy` that change with it.
        """
        self.note(job, target, state=state, **values)

    def note(self, job: str, target: str, **values: str | int | datetime | Reason | State | None) -> None:
        """Change some fields of one copy, `Copy`'s by name, and leave its state where it is."""
        assert set(values) <= set(COPY)
        with self._change() as db:
            db.execute(
                f"UPDATE copies SET {', '.join(f'{name} = ?' for name in values)} WHERE job = ? AND target = ?",
                (*(stored(value) for value in values.values()), job, target),
            )

    def ask_again(self, wanted: Wanted) -> int:
        """Let failed copies be tried anew; returns how many.

        One that was whole and found its place taken still has its part: that need not be read off the recorder again.
        """
        where, values = wanted_rows(wanted)
        whole = "reason = 'occupied' AND digest != ''"
        with self._change() as db:
            return db.execute(
                f"UPDATE copies SET state = CASE WHEN {whole} THEN 'copied' ELSE 'discovered' END, "
                f"digest = CASE WHEN {whole} THEN digest ELSE '' END, tries = 0 WHERE state = 'failed' "
                f"AND job IN (SELECT j.id FROM jobs j WHERE {where})",
                values,
            ).rowcount

    def sums(self, wanted: Wanted) -> dict[str, Sums]:
        """What is done and what is not, by recorder."""
        where, values = wanted_rows(wanted)
        with self._reading() as db:
            rows = db.execute(BY_RECORDER.format(where=where), values).fetchall()
        return {row[0]: Sums(*(int(value or 0) for value in row[1:])) for row in rows}

    def doubles(self) -> Iterator[list[Job]]:
        """Jobs whose clips are the same bytes, a list for each such clip: copied twice, or recorded on two media."""
        with self._reading() as db:
            same = db.execute(
                "SELECT group_concat(id) FROM (SELECT DISTINCT j.id AS id, j.asked_size AS size, c.hash_kind AS kind, "
                "c.digest AS digest FROM jobs j JOIN copies c ON c.job = j.id WHERE c.state = 'published') "
                "GROUP BY size, kind, digest HAVING count(*) > 1 ORDER BY min(id)"
            ).fetchall()
        for (ids,) in same:
            with self._reading() as db:
                jobs = list(jobs_of(db, f"WHERE j.id IN {words(ids.split(','))} ORDER BY j.recorder, j.rank, j.id"))
            yield jobs

    def unlisted(self, target: str) -> Iterator[Published]:
        """Published copies at a target that no manifest names yet, by path; safe to mark some meanwhile."""
        after = ""
        while True:
            with self._reading() as db:
                rows = db.execute(
                    "SELECT job, path FROM copies WHERE target = ? AND state = 'published' AND manifest = '' "
                    "AND path > ? ORDER BY path LIMIT ?",
                    (target, after, PAGE),
                ).fetchall()
                jobs = [job for (one, _) in rows for job in jobs_of(db, "WHERE j.id = ?", (one,))]
            for job in jobs:
                yield published(job, job.copy(target))
            if len(rows) < PAGE:
                return
            after = rows[-1][1]

    def listed(self, target: str, jobs: Iterable[str], manifest: str) -> None:
        """Note in which manifest of a target the copies of these jobs are named."""
        with self._change() as db:
            db.executemany(
                "UPDATE copies SET manifest = ? WHERE job = ? AND target = ?", ((manifest, one, target) for one in jobs)
            )

    def begin_run(self, run: str, wanted: Wanted, at: datetime) -> None:
        """Note that a run began: one that is not ended is gone on with after a restart."""
        with self._change() as db:
            db.execute("INSERT INTO runs (id, wanted, started) VALUES (?, ?, ?)", (run, wanted.text(), stored(at)))

    def end_run(self, run: str, at: datetime, says: str) -> None:
        """Note that a run ended, and how, in a sentence."""
        with self._change() as db:
            db.execute("UPDATE runs SET ended = ?, says = ? WHERE id = ?", (stored(at), says, run))

    def last_run(self) -> tuple[str, Wanted, datetime, datetime | None, str] | None:
        """Id, what was wanted, start, end (None: it is to go on) and last word of the newest run; None: never one."""
        with self._reading() as db:
            row = db.execute("SELECT id, wanted, started, ended, says FROM runs ORDER BY id DESC LIMIT 1").fetchone()
        if row is None:
            return None
        ended = datetime.fromisoformat(row[3]) if row[3] else None
        return row[0], Wanted.read(row[1]), datetime.fromisoformat(row[2]), ended, row[4]

    @contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        with self._reading() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            try:
                yield self._db
            except sqlite3.Error as error:
                why = f"{self._name} in the data folder can't be used ({error}). Copying stops; look at that disk."
                raise DatabaseError(why) from error


def published(job: Job, copy: Copy) -> Published:
    """The record of a published copy."""
    assert copy.started is not None
    assert copy.verified is not None
    assert copy.published is not None
    return Published(
        job=job.id,
        target=copy.target,
        path=copy.path,
        size=job.size,
        hash_kind=copy.hash_kind,
        digest=copy.digest,
        mtime=job.mtime,
        started=copy.started,
        verified=copy.verified,
        published=copy.published,
        recorder=job.recorder,
        called=job.called,
        slot=job.source.slot,
        source=job.source.path,
        take=job.take,
        slate=job.slate,
        good=job.good,
    )
