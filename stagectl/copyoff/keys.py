"""How is a login of a clip store or a place read? From a file for its owner alone, anew whenever it is needed."""

import os
import stat
from pathlib import Path
from typing import Final

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.model.secret import Secret

LONGEST: Final = 16_384  # bytes; own choice: the longest private keys in use have 6,500


def two_lines(path: Path, what: str) -> tuple[str, Secret]:
    """A name in the first line and its secret in the second.

    Args:
        path: of the file.
        what: what it is for, in the sentence: "the login of Rec 1".

    Raises:
        CopyError: REFUSED, it is not there, can be read by others, or holds no two lines.
    """
    name, _, secret = _kept(path, what).partition("\n")
    secret = secret.removesuffix("\n")
    if not name.strip() or not secret or "\n" in secret:
        why = f"{path} is not {what}. Write the name in its first line, the secret in its second."
        raise CopyError(Reason.REFUSED, why)
    return name.strip(), Secret(secret)


def private_key(path: Path, what: str) -> Secret:
    """All of a file, such as a private key. Raises CopyError: REFUSED, it is not there, or can be read by others."""
    return Secret(_kept(path, what))


def _kept(path: Path, what: str) -> str:
    try:
        with path.open("rb") as file:
            found = os.fstat(file.fileno())
            if found.st_uid not in (os.geteuid(), 0) or stat.S_IMODE(found.st_mode) & 0o077:
                why = f"{path}, {what}, can be read by others. Close it: chmod 600 {path}"
                raise CopyError(Reason.REFUSED, why)
            return file.read(LONGEST).decode("utf-8")
    except (OSError, ValueError) as error:
        why = (error.strerror or "it is no text").lower() if isinstance(error, OSError) else "it is no text"
        raise CopyError(Reason.REFUSED, f"{path}, {what}, can't be read: {why}. See the site file.") from error
