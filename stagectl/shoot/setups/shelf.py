"""Which set-ups are there? Reads their files, puts the parts together, and knows their kept versions.

Files stand in the site's folder of scenes, or in `setups` below it. A version is a copy of a file under a name of its
own, in `versions/NAME` beside it; `masterclass@before-lunch` means that one.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import structlog

from stagectl import yamlfile
from stagectl.filetree import FileError, FileErrors, Issues, Table, Text
from stagectl.model.errors import RefusedError
from stagectl.model.words import nearest
from stagectl.shoot.scenewords import Words
from stagectl.shoot.setups.file import read_sheet
from stagectl.shoot.setups.setup import Pair, Setup, Sheet, Wanted

FOLDER: Final = "setups"
VERSIONS: Final = "versions"
MAX_FILES: Final = 500  # in one folder; own choice
MAX_VERSIONS: Final = 200  # of one set-up that are listed, newest last
NAME: Final = re.compile(r"[a-z][a-z0-9-]{0,31}")
VERSION: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,47}")

log = structlog.get_logger()


class Shelf:
    """The set-ups of a site.

    Attributes:
        setups: by name; only those that are right, with all that they include.
        errors: what is wrong with the others, file by file.
        folder: where a new one is written.
    """

    def __init__(self) -> None:
        self.setups: dict[str, Setup] = {}
        self.errors: list[FileError] = []
        self.folder = Path()
        self._words: Words | None = None

    def load(self, folder: Path, words: Words) -> None:
        """Read every file anew. A broken one is left out and told in `errors`.

        Args:
            folder: the site's folder of scenes.
            words: whom they may speak of.
        """
        self.folder, self._words = folder / FOLDER, words
        sheets: dict[str, Sheet] = {}
        issues = Issues()
        for path in (*_files(folder), *_files(self.folder)):
            with issues.gather():
                sheet = self._read(path)
                if sheet is not None and sheets.setdefault(sheet.name, sheet) is not sheet:
                    raise FileError(str(path), f"{sheets[sheet.name].path} has this name too.", remedy="Rename one.")
        setups: dict[str, Setup] = {}
        for name, sheet in sheets.items():
            with issues.gather():
                setups[name] = put_together(sheet, sheets)
        self.setups, self.errors = setups, list(FileErrors(issues.errors).errors)
        for error in self.errors:
            log.warning("setup_left_out", error=str(error))

    def _read(self, path: Path) -> Sheet | None:
        """The set-up of a file; None: it is another kind of file. Raises FileError, FileErrors."""
        if "." in path.stem:
            return None
        first, *more = yamlfile.read_all(path)
        ours = isinstance(first, Table) and "set-up" in first
        if not ours and path.parent.name != FOLDER:
            return None
        if more:
            raise more[0].wrong("a second document starts here.", "Keep one in this file.")
        if not NAME.fullmatch(path.stem):
            raise FileError(
                str(path), "a set-up's file is named with small letters, digits and hyphens.", remedy="Rename it."
            )
        assert self._words is not None, "a file is read by load"
        return read_sheet(first, path.stem, path, self._words)

    def find(self, name: str) -> Setup:
        """A set-up by its name, by what people call it, or as NAME@VERSION. Raises RefusedError, code "setup"."""
        bare, _, version = name.strip().partition("@")
        found = self._named(bare)
        return self._version(found, version) if version else found

    def _named(self, bare: str) -> Setup:
        if bare in self.setups:
            return self.setups[bare]
        broken = [error for error in self.errors if Path(error.file).stem == bare]
        if broken:
            more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
            raise RefusedError(f"The set-up {bare} can't be read: {broken[0]}{more}", code="setup")
        low = bare.casefold()
        called = [one for one in self.setups.values() if one.called.casefold() == low]
        begin = called or [one for name, one in self.setups.items() if low and name.startswith(low)]
        if len(begin) == 1:
            return begin[0]
        if begin:
            raise RefusedError(
                f'"{bare}" may be {" or ".join(one.name for one in begin)}.', remedy="Name one of them.", code="setup"
            )
        raise RefusedError(f'There is no set-up "{bare[:40]}".', remedy=nearest(bare, self.setups), code="setup")

    def _version(self, setup: Setup, version: str) -> Setup:
        known = self.versions(setup)
        if version not in known:
            raise RefusedError(
                f'{setup.called} has no version "{version[:40]}".', remedy=nearest(version, known), code="setup"
            )
        path = version_path(setup.own.path, version)
        assert self._words is not None, "what has versions was loaded"
        try:
            sheet = read_sheet(yamlfile.read(path), f"{setup.name}@{version}", path, self._words)
            return put_together(sheet, {name: one.own for name, one in self.setups.items()})
        except (FileError, FileErrors) as error:
            raise RefusedError(f"That version can't be read: {error}", code="setup") from error

    def versions(self, setup: Setup) -> list[str]:
        """Names of the kept versions of a set-up, in the order of the alphabet."""
        folder = version_path(setup.own.path, "x").parent
        return [path.stem for path in _files(folder)][-MAX_VERSIONS:]


def version_path(path: Path, version: str) -> Path:
    """Where a version of the file at `path` is kept."""
    return path.parent / VERSIONS / path.stem / f"{version}.yaml"


def _files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.yaml"))[:MAX_FILES] if folder.is_dir() else []


def put_together(sheet: Sheet, sheets: Mapping[str, Sheet]) -> Setup:
    """A file with all that it includes: a later one goes before an earlier one, and what includes before all.

    Raises:
        FileError: it includes what is not there, or itself.
    """
    return Setup(sheet, _whole(sheet, sheets, (sheet.name,), {}))


def _whole(
    sheet: Sheet, sheets: Mapping[str, Sheet], above: tuple[str, ...], done: dict[str, dict[Pair, Wanted]]
) -> dict[Pair, Wanted]:
    """All that a file wants; `done`: files that were put together already."""
    wants: dict[Pair, Wanted] = {}
    for text in sheet.includes:
        part = _included(text, sheets)
        if part.name in above:
            raise text.wrong(f"{' includes '.join((*above, part.name))}.", "Take one of them out.")
        if part.name not in done:
            done[part.name] = _whole(part, sheets, (*above, part.name), done)
        wants.update(done[part.name])
    wants.update(sheet.wants)
    return wants


def _included(text: Text, sheets: Mapping[str, Sheet]) -> Sheet:
    if text.value not in sheets:
        raise text.wrong(f'there is no set-up "{text.value[:40]}".', nearest(text.value, sheets))
    return sheets[text.value]
