"""What do the generations of a history say of each file, and which files stand there? A table that grows on disk.

Fifty thousand clips with their hashes must not stand in memory: sqlite keeps them in a file without a name, that is
gone with the ledger. It belongs to one thread.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Self

from stagectl.copyoff.mhlxml import FileEntry, Hash

_TABLES = """
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
CREATE TABLE said (path TEXT NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, action TEXT NOT NULL);
CREATE INDEX said_of ON said (path);
CREATE TABLE stands (path TEXT PRIMARY KEY, size INTEGER NOT NULL) WITHOUT ROWID;
"""


class Ledger:
    """Files as histories tell them, and as they stand; paths from the target's top."""

    def __init__(self) -> None:
        self._db = sqlite3.connect("", isolation_level=None)
        self._db.executescript(_TABLES)
        self._db.execute("BEGIN")  # and never an end: nothing has to outlive us, and a transaction each costs the disk

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._db.close()

    def say(self, folder: str, entry: FileEntry) -> None:
        """Note what a generation of the history of `folder` says of a file; generations come in their order."""
        path = joined(folder, entry.path)
        if entry.previous:
            self._db.execute("UPDATE said SET path = ? WHERE path = ?", (path, joined(folder, entry.previous)))
        self._db.executemany(
            "INSERT INTO said VALUES (?, ?, ?, ?)",
            [(path, one.kind, one.text, one.action) for one in entry.hashes],
        )

    def stand(self, files: Iterable[tuple[str, int]]) -> None:
        """Note files that stand there: path and bytes."""
        self._db.executemany("INSERT OR REPLACE INTO stands VALUES (?, ?)", files)

    def of(self, path: str) -> list[Hash]:
        """What was said of a file, oldest generation first; failed hashes too."""
        rows = self._db.execute("SELECT kind, text, action FROM said WHERE path = ? ORDER BY rowid", (path,))
        return [Hash(*row) for row in rows]

    def standing(self) -> Iterator[str]:
        """Files that stand there, sorted by path."""
        for (path,) in self._db.execute("SELECT path FROM stands ORDER BY path"):
            yield str(path)

    def weight(self) -> tuple[int, int]:
        """How many of the files that stand there are told of, and their bytes."""
        row = self._db.execute(
            "SELECT count(*), coalesce(sum(size), 0) FROM stands WHERE path IN (SELECT path FROM said)"
        ).fetchone()
        return int(row[0]), int(row[1])

    def missing(self) -> Iterator[str]:
        """Files that are told of, and don't stand there; sorted."""
        rows = self._db.execute(
            "SELECT DISTINCT path FROM said WHERE path NOT IN (SELECT path FROM stands) ORDER BY path"
        )
        for (path,) in rows:
            yield str(path)

    def ending(self, tail: str) -> list[str]:
        """Paths of files that stand there and end so; for few files, such as chains."""
        rows = self._db.execute("SELECT path FROM stands WHERE substr(path, -length(?1)) = ?1 ORDER BY path", (tail,))
        return [str(path) for (path,) in rows]

    def within(self, folder: str) -> list[str]:
        """Names of the files that stand right in a folder; for folders of few files, such as `ascmhl`."""
        rows = self._db.execute(
            "SELECT substr(path, length(?1) + 2) FROM stands WHERE path > ?1 || '/' AND path < ?1 || '0' ORDER BY path",
            (folder,),
        )
        return [str(name) for (name,) in rows if "/" not in name]


def joined(folder: str, path: str) -> str:
    """A path below a folder; "" is the top."""
    return f"{folder}/{path}" if folder else path
