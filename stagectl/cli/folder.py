"""How is a data folder read from outside, without changing anything in it?"""

from pathlib import Path

from stagectl.control.journal_replay import Report, verify


class Folder:
    """The files of one folder, to be read."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def names(self) -> list[str]:
        return sorted(entry.name for entry in self._path.iterdir() if entry.is_file())

    def read(self, name: str) -> bytes:
        return (self._path / name).read_bytes()


def checked(folder: Folder) -> Report:
    """What a walk through the journal finds. A daemon may write while we read: a torn end is looked at again."""
    report = verify(folder)
    for _ in range(2):
        if report.whole or "torn" not in report.damage[-1].what:
            break
        report = verify(folder)
    return report
