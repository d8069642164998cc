"""How do copies stand in a folder, local or mounted?"""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Final

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.noreplace import rename_into_free
from stagectl.copyoff.target import Standing, is_part, part_path

BLOCK: Final = 1 << 20  # bytes read at once
# bytes after which the kernel is asked to write them out. Own choice, measured on ext4 with four writers at 100 MB/s:
# with 32 MiB a sync of the journal on the same disk took 40 ms (p90), with 1 MiB 2 ms, and writing was as quick.
BEHIND: Final = 1 << 20
SMALL_MOST: Final = 64 << 20  # bytes of a file that is read whole
_NO_ROOM: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_OURS: Final = "small"  # whose part a manifest in the making is


class Folder:
    """A folder as a target; it must be there.

    Args:
        name: what the site file calls it.
        top: the folder.
        mounted: it is the top of a mounted file system: if it is not mounted, the copies would land beneath.

    Raises:
        CopyError: TARGET, it is not there, or not mounted.
    """

    parts_readable = True

    def __init__(self, name: str, top: Path, *, mounted: bool = False) -> None:
        self.name = name
        self._top = top
        with self._telling("can't be used"):
            device = top.stat().st_dev
            if not top.is_dir():
                raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
        if mounted and not os.path.ismount(top):
            raise CopyError(Reason.TARGET, f"{name}: nothing is mounted at {top}. Mount it, then run again.")
        self.medium = f"disk {os.major(device)}:{os.minor(device)}"

    def free(self) -> int:
        with self._telling("can't tell its room"):
            found = os.statvfs(self._top)
        return found.f_bavail * found.f_frsize

    def at(self, path: str) -> Standing | None:
        with self._telling(f"can't look at {path}"):
            try:
                return _standing(path, self._at(path).lstat())
            except (FileNotFoundError, NotADirectoryError):
                return None

    def open_part(self, path: str, job: str) -> "FolderPart":
        part = self._at(part_path(path, job))
        with self._telling(f"can't begin {path}"):
            self._make(part.parent)
            return FolderPart(self.name, part)

    def read_part(self, path: str, job: str) -> Iterator[bytes]:
        return self._blocks(part_path(path, job))

    def read_back(self, path: str) -> Iterator[bytes]:
        return self._blocks(path)

    def publish(self, path: str, job: str, mtime: datetime | None) -> None:
        part, whole = self._at(part_path(path, job)), self._at(path)
        with self._telling(f"can't name {path}"):
            if mtime is not None:
                with suppress(OSError):  # some mounts keep no times: a copy is not worse for it
                    os.utime(part, (mtime.timestamp(), mtime.timestamp()), follow_symlinks=False)
            _sync(part)
            try:
                rename_into_free(part, whole)
            except FileExistsError as error:
                say = "Nothing was overwritten. Move that one away, or copy to another folder."
                raise CopyError(Reason.OCCUPIED, f"{self.name}: another {path} stands there. {say}") from error
            _sync(whole.parent)

    def discard(self, path: str, job: str) -> None:
        with self._telling(f"can't remove the part of {path}"):
            self._at(part_path(path, job)).unlink(missing_ok=True)

    def withdraw(self, path: str, job: str) -> None:
        raise CopyError(Reason.TARGET, f"{self.name}: a published {path} is never removed from a folder.")

    def read_small(self, path: str) -> bytes | None:
        file = self._at(path)
        with self._telling(f"can't read {path}"):
            try:
                if file.lstat().st_size > SMALL_MOST:
                    raise OSError(errno.EFBIG, f"is over {SMALL_MOST >> 20} MiB")
                return file.read_bytes()
            except FileNotFoundError:
                return None

    def write_small(self, path: str, data: bytes, *, replace: bool) -> None:
        part, whole = self._at(part_path(path, _OURS)), self._at(path)
        with self._telling(f"can't write {path}"):
            self._make(whole.parent)
            part.unlink(missing_ok=True)
            made = FolderPart(self.name, part)
            try:
                made.write(memoryview(data))
                made.sync()
            finally:
                made.close()
            if replace:
                part.replace(whole)
            else:
                try:
                    rename_into_free(part, whole)
                except FileExistsError as error:
                    part.unlink(missing_ok=True)
                    raise CopyError(Reason.OCCUPIED, f"{self.name}: {path} is there already.") from error
            _sync(whole.parent)

    def tree(self, under: str = "") -> Iterator[Standing]:
        with self._telling(f"can't list {under or 'its top'}"):
            try:
                names = sorted(os.listdir(self._at(under) if under else self._top))  # noqa: PTH208 - names alone
            except FileNotFoundError:
                return
        for name in names:
            path = f"{under}/{name}" if under else name
            with self._telling(f"can't look at {path}"):
                found = self._at(path).lstat()
            if stat.S_ISDIR(found.st_mode):
                yield from self.tree(path)
            elif stat.S_ISREG(found.st_mode) and not is_part(path):
                yield _standing(path, found)

    def close(self) -> None:
        """Nothing is held open."""

    def _at(self, path: str) -> Path:
        pure = PurePosixPath(path)
        if pure.is_absolute() or ".." in pure.parts or not pure.parts:
            raise CopyError(Reason.TARGET, f"{self.name}: {path!r} is no path below it.")
        return self._top / pure

    def _make(self, folder: Path) -> None:
        """Make a folder and those above it, so that their names survive a power cut."""
        if folder == self._top or folder.is_dir():
            return
        self._make(folder.parent)
        folder.mkdir(exist_ok=True)
        _sync(folder.parent)

    def _blocks(self, path: str) -> Iterator[bytes]:
        with self._telling(f"can't read {path}"):
            handle = os.open(self._at(path), os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
            try:
                _from_medium(handle)
                os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_SEQUENTIAL)
                while block := os.read(handle, BLOCK):
                    yield block
                _from_medium(handle)  # it is not wanted again soon, other files in memory may be
            finally:
                os.close(handle)

    @contextmanager
    def _telling(self, what: str) -> Iterator[None]:
        with telling(self.name, what):
            yield


class FolderPart:
    """A file in the making. Raises OSError: it can't be opened."""

    def __init__(self, target: str, file: Path) -> None:
        self._target = target
        self._name = file.name
        self._handle = os.open(file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o644)
        self.size = os.lseek(self._handle, 0, os.SEEK_END)
        self._written_out = self.size

    def read(self, most: int) -> Iterator[bytes]:
        at = 0
        with telling(self._target, f"can't read {self._name}"):
            _from_medium(self._handle)
            while at < most:
                block = os.pread(self._handle, min(BLOCK, most - at), at)
                if not block:
                    raise OSError(errno.EIO, "it ends too early")
                at += len(block)
                yield block

    def cut(self, size: int) -> None:
        with telling(self._target, f"can't shorten {self._name}"):
            os.ftruncate(self._handle, size)
            os.lseek(self._handle, size, os.SEEK_SET)
        self.size = self._written_out = size

    def write(self, data: memoryview) -> None:
        with telling(self._target, f"can't write {self._name}"):
            while data:
                wrote = os.write(self._handle, data)
                self.size += wrote
                data = data[wrote:]
            if self.size - self._written_out >= BEHIND:
                # begins to write dirty pages out and lets go of clean ones: no heap of them waits for the last sync
                os.posix_fadvise(self._handle, 0, 0, os.POSIX_FADV_DONTNEED)
                self._written_out = self.size

    def sync(self) -> None:
        with telling(self._target, f"can't write {self._name} out"):
            os.fsync(self._handle)
            _from_medium(self._handle)

    def close(self) -> None:
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1


@contextmanager
def telling(target: str, what: str) -> Iterator[None]:
    """Turn the machine's errors into ours, with the target and what it could not do."""
    try:
        yield
    except OSError as error:
        full = error.errno in _NO_ROOM
        say = "Make room, or take another target." if full else "Look at the disk and at who may write there."
        reason = Reason.FULL if full else Reason.TARGET
        raise CopyError(reason, f"{target} {what}: {error.strerror or error}. {say}") from error


def _standing(path: str, found: os.stat_result) -> Standing:
    """What stands there; what is no plain file has a size that no clip has."""
    size = found.st_size if stat.S_ISREG(found.st_mode) else -1
    return Standing(path, size, datetime.fromtimestamp(found.st_mtime, UTC))


def _from_medium(handle: int) -> None:
    """Let go of what memory holds of a file, so that the next read asks the medium. What is dirty stays."""
    os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)


def _sync(path: Path) -> None:
    """Make a file's data and times, or a folder's names, survive a power cut."""
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno != errno.EINVAL or not path.is_dir():  # some mounts can't sync a folder
            raise
    finally:
        os.close(handle)
