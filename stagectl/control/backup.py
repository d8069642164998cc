"""What of a data folder goes into a backup, so that the copy is whole though the daemon writes on?

Segments only grow: of each as much is taken as ends in whole lines. All other files of ours are replaced as a whole,
never written in place. What the next start makes anew is left out.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Final

from stagectl.control.journal_replay import Files, Report, verify

_SEGMENT: Final = re.compile(r"journal-[0-9]{8}\.log")
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
# made by each start; of copying off, a run lists and compares anew, and a database that is written on is not whole
_ANEW: Final = ("journal.reserve", "mosquitto.conf", "copies.db", "copies.db-wal", "copies.db-shm")
_HALF: Final = (".new", ".tmp")  # being written, to be renamed


def contents(files: Files) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each file that belongs into a backup; small ones first, then segments, oldest first.

    A file that is gone meanwhile was replaced by another one, or is not ours. Raises OSError: the folder can't be read.
    """
    names = [name for name in files.names() if belongs(name)]
    for name in sorted(names, key=lambda name: (_SEGMENT.fullmatch(name) is not None, name)):
        try:
            data = files.read(name)
        except FileNotFoundError:
            continue
        if _SEGMENT.fullmatch(name):
            data = data[: data.rfind(b"\n") + 1]
        if data or not _SEGMENT.fullmatch(name):
            yield name, data


def belongs(name: str) -> bool:
    """Is it a plain file name that a backup may hold?"""
    return _NAME.fullmatch(name) is not None and name not in _ANEW and not name.endswith(_HALF)


class Copied:
    """The files of a backup, held in memory: fulfils what `verify` reads."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = dict(files)

    def names(self) -> list[str]:
        return sorted(self._files)

    def read(self, name: str) -> bytes:
        return self._files[name]


def check(files: Mapping[str, bytes]) -> Report:
    """Verify the journal that a backup holds."""
    return verify(Copied(files))
