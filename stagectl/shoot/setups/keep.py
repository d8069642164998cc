"""How is a captured set-up written? Into the lines of its file, safely; the text before is kept as a version."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from stagectl import yamledit
from stagectl.filetree import FileError, FileErrors
from stagectl.model.errors import RefusedError
from stagectl.shoot.setups.capture import Change
from stagectl.shoot.setups.shelf import VERSION, version_path

LAST: Final = "last"  # the version that a capture keeps by itself: the text before it


def written(text: str, path: Path, changes: Sequence[Change]) -> str:
    """The text of a file with these changes. Raises RefusedError, code "unchanged": it can't be changed by itself."""
    values = {change.place: change.now for change in changes if change.place is not None}
    rows = [(("wants", change.who, change.what), change.now) for change in changes if change.place is None]
    try:
        return yamledit.edited(text, str(path), values, rows)
    except (FileError, FileErrors) as error:
        raise RefusedError(str(error), code="unchanged") from error


def fresh(called: str, about: str, changes: Sequence[Change]) -> str:
    """The text of a new set-up."""
    lines = [f"set-up: {yamledit.scalar(called)}", f"about: {yamledit.scalar(about)}", "wants:"]
    for who in dict.fromkeys(change.who for change in changes):
        lines.append(f"  {who}:")
        lines += [
            f"    {yamledit.scalar(change.what)}: {yamledit.scalar(change.now)}"
            for change in changes
            if change.who == who
        ]
    return "".join(f"{line}\n" for line in lines)


def version_named(word: str) -> str:
    """The name of a version. Raises RefusedError, code "argument"."""
    name = "-".join(word.casefold().split())
    if name and (not VERSION.fullmatch(name) or name == LAST):
        raise RefusedError(
            f'A version is not called "{word[:48]}".', remedy="Write letters, digits and hyphens.", code="argument"
        )
    return name


def put(path: Path, text: str, before: str, version: str) -> None:
    """Write a file, whole or not at all, and its versions first. Blocks; raises OSError."""
    if before:
        _write(version_path(path, LAST), before)
    if version:
        _write(version_path(path, version), text)
    _write(path, text)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh_one = path.with_name(f".{path.name}.new")
    with fresh_one.open("w", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh_one.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
