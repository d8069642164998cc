"""How is a data folder copied into one file, while the daemon runs, and how does it come back?"""

import contextlib
import io
import json
import os
import tarfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from stagectl.cli.codes import Exit

LARGEST: Final = 1 << 30  # bytes of one file that is read back; a segment has 16 MiB
_DATA: Final = click.argument("data", type=click.Path(path_type=Path))
_FILE: Final = click.argument("file", type=click.Path(path_type=Path))
_JSON: Final = click.option("--json", "as_json", is_flag=True, help="One JSON object.")


@click.command("backup")
@_DATA
@_FILE
@_JSON
def backup(data: Path, file: Path, as_json: bool) -> int:
    """Copy a data folder into a file, and check the copy.

    The daemon may run. FILE is made new, for its owner's eyes only: it holds what the folder holds, accounts and
    tokens too.
    """
    from stagectl.cli.folder import Folder
    from stagectl.control.backup import check, contents

    if not data.is_dir():
        return _no(f"There is no folder {data}.", "Name the one that `serve` has as --data.")
    try:
        files = dict(contents(Folder(data)))
        if not any(name.startswith("journal-") for name in files):
            return _no(f"{data} holds no journal.", "Name the folder that `serve` has as --data.")
        _write(file, files)
        back = _read(file)
    except FileExistsError:
        return _no(f"{file} is there already.", "Name another file, so that no backup is lost.")
    except OSError as error:
        return _no(f"The backup can't be written: {(error.strerror or str(error)).lower()}.", "Choose another place.")
    if back != files:
        return _no(f"{file} does not read back as it was written.", "Look at its disk, and make another.", Exit.FAILED)
    return _told(as_json, file, check(back), f"{_count(len(files))} of {data} copied to {file} and read back")


@click.command("restore")
@_FILE
@_DATA
@_JSON
def restore(file: Path, data: Path, as_json: bool) -> int:
    """Bring a backup back into a new folder, and check it.

    DATA is empty, or not there yet. End the daemon of that folder first. A start on it then goes on where the backup
    ends; it stops nothing that rolls.
    """
    from stagectl.cli.folder import Folder, checked

    if data.exists() and (not data.is_dir() or any(data.iterdir())):
        return _no(f"{data} is not empty.", "Name a new folder, so that nothing is written over.")
    try:
        files = _read(file)
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        data.chmod(0o700)
        for name, content in files.items():
            _put(data / name, content)
        _sync(data)
    except (OSError, tarfile.TarError, ValueError, EOFError) as error:
        what = error.strerror.lower() if isinstance(error, OSError) and error.strerror else str(error)
        return _no(f"{file} can't be brought back: {what}.", "Take another backup.")
    return _told(as_json, data, checked(Folder(data)), f"{_count(len(files))} of {file} brought back to {data}")


def _write(file: Path, files: Mapping[str, bytes]) -> None:
    """A file that is whole or not there."""
    half = file.with_name(f"{file.name}.new")
    if file.exists():
        raise FileExistsError(file)
    handle = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            with tarfile.open(fileobj=out, mode="w:gz") as tar:
                for name, content in files.items():
                    entry = tarfile.TarInfo(name)
                    entry.size, entry.mode = len(content), 0o600
                    tar.addfile(entry, io.BytesIO(content))
            out.flush()
            os.fsync(out.fileno())
        os.link(half, file)  # fails if somebody else made it meanwhile
    finally:
        with contextlib.suppress(OSError):
            half.unlink()
    _sync(file.parent)


def _read(file: Path) -> dict[str, bytes]:
    """The files of a backup. Raises OSError, tarfile.TarError, ValueError."""
    from stagectl.control.backup import belongs

    found: dict[str, bytes] = {}
    with tarfile.open(file, "r:gz") as tar:
        for entry in tar:
            content = tar.extractfile(entry) if entry.isreg() and entry.size <= LARGEST else None
            if content is None or not belongs(entry.name):
                raise ValueError(f'it holds "{entry.name[:60]}", which is no file of ours')
            found[entry.name] = content.read()
    return found


def _put(path: Path, content: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _told(as_json: bool, at: Path, report: Any, done: str) -> int:
    whole = report.whole and not report.newer
    state = "its journal is whole" if whole else "its journal is damaged"
    say = f"{done}; {state}: {report.records} records."
    remedy = "" if whole else "It is kept as it is. See: stagectl journal verify DATA"
    if as_json:
        told = {"v": 1, "at": str(at), "say": say, "remedy": remedy, "records": report.records, "whole": whole}
        print(json.dumps(told, ensure_ascii=False))
    else:
        print(" ".join(filter(None, (say, remedy))))
        for damage in report.damage:
            print(f"! {damage}")
    return Exit.DONE if whole else Exit.NO


def _count(number: int) -> str:
    return "1 file" if number == 1 else f"{number} files"


def _no(say: str, remedy: str, code: Exit = Exit.UNCLEAR) -> int:
    click.echo(f"{say} {remedy}", err=True)
    return code
