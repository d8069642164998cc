"""What must a place that takes copies be able to do? A folder, a server, a bucket: one contract.

A target is opened by the thread of one copy and used there alone; all calls block. Paths are relative to the target's
top, "/" between folders, without ".." and never absolute; folders are made when needed.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

PART_MARK = ".part-"  # `.<name>.part-<job>` beside where the file will stand


@dataclass(frozen=True, slots=True)
class Standing:
    """What stands at a path.

    Attributes:
        path: relative to the target's top.
        size: bytes.
        mtime: UTC; None: the target keeps none.
    """

    path: str
    size: int
    mtime: datetime | None = None


class Part(Protocol):
    """A file in the making, not yet under its own name.

    Attributes:
        size: bytes it holds; more than 0 at the start: an earlier run of the same job left them.
    """

    size: int

    def read(self, most: int) -> Iterator[bytes]:
        """Its first `most` bytes, in blocks: what a rolling hash is built from after a restart. Raises CopyError."""

    def cut(self, size: int) -> None:
        """Forget what lies behind `size`. A target that can't go on where it stopped takes 0 alone."""

    def write(self, data: memoryview) -> None:
        """Append all of `data`. Raises CopyError: FULL, TARGET."""

    def sync(self) -> None:
        """Return when all written bytes survive a power cut, and reading them back reads the medium, not memory.

        As far as the target can promise that. Raises CopyError: FULL, TARGET: begin anew.
        """

    def close(self) -> None:
        """Let go; the bytes stay for a later resume. Safe to call twice; never raises."""


class Target(Protocol):
    """An open target.

    Attributes:
        name: as the site file calls it.
        medium: what it stands on, so that two copies on one disk are not taken for two: "disk 8:1", "sftp host".
        parts_readable: a part can be read back before it is published. False (a bucket): it is published first, create
            only, then read back, and withdrawn if it differs.
    """

    name: str
    medium: str
    parts_readable: bool

    def free(self) -> int | None:
        """Bytes that can still be written; None: it can't tell. Raises CopyError: TARGET."""

    def at(self, path: str) -> Standing | None:
        """What stands there; None: nothing. Names are compared as the target compares them. Raises CopyError."""

    def open_part(self, path: str, job: str) -> Part:
        """Open the part file of a job, made if absent; on resume with what it holds. Raises CopyError: FULL, TARGET."""

    def read_part(self, path: str, job: str) -> Iterator[bytes]:
        """A part's bytes in blocks, from the medium where possible. Raises CopyError: TARGET."""

    def read_back(self, path: str) -> Iterator[bytes]:
        """A published file's bytes in blocks, from the medium where possible. Raises CopyError: GONE, TARGET."""

    def publish(self, path: str, job: str, mtime: datetime | None) -> None:
        """Give a closed part its own name, in one step that never overwrites, and make the name survive a power cut.

        Args:
            path: where it shall stand.
            job: whose part.
            mtime: set on the file where the target keeps times; None: left.

        Raises:
            CopyError: OCCUPIED, something stands there (the part stays); FULL or TARGET.
        """

    def discard(self, path: str, job: str) -> None:
        """Remove the part of a job, and nothing else; none there is fine. Raises CopyError: TARGET."""

    def withdraw(self, path: str, job: str) -> None:
        """Remove a file that this job published a moment ago and that read back wrong.

        Only for targets whose parts can't be read. Raises CopyError: TARGET.
        """

    def read_small(self, path: str) -> bytes | None:
        """A manifest or its kind, whole; None: not there. Raises CopyError: TARGET, also if over 64 MiB."""

    def write_small(self, path: str, data: bytes, *, replace: bool) -> None:
        """Write a manifest or its kind, whole or not at all, safe from a power cut when it returns.

        Args:
            path: where.
            data: all of it.
            replace: what stands there may go; False: it is an error.

        Raises:
            CopyError: OCCUPIED, something stands there and `replace` is False; FULL, TARGET.
        """

    def tree(self, under: str = "") -> Iterator[Standing]:
        """Files below a folder, sorted by path, part files left out; nothing if there is no such folder.

        As they come: 50,000 must not stand in memory. Raises CopyError: TARGET.
        """

    def close(self) -> None:
        """Safe to call twice; never raises."""


@dataclass(frozen=True, slots=True)
class Place:
    """A target as the site file declares it.

    Attributes:
        name: what the site file calls it.
        called: for people: "/mnt/rushes".
        open: connects, in the calling thread. Raises CopyError: TARGET.
        keep_free: bytes that stay free there.
    """

    name: str
    called: str
    open: Callable[[], Target]
    keep_free: int


def part_path(path: str, job: str) -> str:
    """Where the part of a job lies: in the same folder, so that the rename crosses no file system."""
    folder, slash, name = path.rpartition("/")
    return f"{folder}{slash}.{name}{PART_MARK}{job}"


def is_part(path: str) -> bool:
    """Is it the name of a part file?"""
    name = path.rpartition("/")[2]
    return name.startswith(".") and PART_MARK in name
