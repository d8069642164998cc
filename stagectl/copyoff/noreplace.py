"""How does a file get its name without ever taking another's? The kernel decides, in one step."""

import ctypes
import errno
import os
from pathlib import Path
from typing import Final

_HERE: Final = -100  # AT_FDCWD, of fcntl.h
_NOREPLACE: Final = 1  # RENAME_NOREPLACE, of linux/fs.h
_LACKING: Final = frozenset({errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP})  # kernel or file system can't


def rename_into_free(old: Path, new: Path) -> None:
    """Rename within one file system, unless `new` is taken.

    By renameat2; where that is missing, by a second name (link) and then taking the first away.

    Raises:
        FileExistsError: something stands at `new`; `old` is left as it was.
        OSError: anything else, also that the file system can do neither.
    """
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is not None:
        if rename(_HERE, os.fsencode(old), _HERE, os.fsencode(new), _NOREPLACE) == 0:
            return
        code = ctypes.get_errno()
        if code not in _LACKING:
            raise OSError(code, os.strerror(code), str(new))
    os.link(old, new, follow_symlinks=False)
    old.unlink()
