"""Is another daemon at work in this data folder? One at a time: two would both drive the same boxes.

The kernel holds the lock for as long as the process lives, however it ends, so that a start after a kill never waits.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

NAME: Final = "in-use"
PID_BYTES: Final = 20


class InUseError(Exception):
    """Another process works there; `pid` as it wrote it, empty if it is not known."""

    def __init__(self, pid: str) -> None:
        super().__init__(pid)
        self.pid = pid


@contextmanager
def in_use(folder: Path) -> Iterator[None]:
    """The folder is ours while the block runs; it is made if absent.

    A disk that refuses the lock's file is no reason to stay away from the boxes: then there is no lock. What else is
    wrong with the folder is told by who opens it next.

    Raises:
        InUseError: another daemon has it.
    """
    handle = -1
    with suppress(OSError):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(folder / NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    if handle < 0:
        yield
        return
    try:
        _take(handle)
        yield
    finally:
        os.close(handle)


def _take(handle: int) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise InUseError(os.pread(handle, PID_BYTES, 0).decode("ascii", "replace").strip()) from error
    except OSError:
        return  # a file system without locks
    with suppress(OSError):
        os.ftruncate(handle, 0)
        os.pwrite(handle, f"{os.getpid()}\n".encode(), 0)
