"""Where does the terminal keep its token? In a file for its owner's eyes alone; never in an argument or a list."""

import os
import stat
from pathlib import Path

from stagectl.cli.client import RefusalError


def place() -> Path:
    """STAGECTL_TOKEN_FILE, or a file among the person's own settings."""
    if given := os.environ.get("STAGECTL_TOKEN_FILE"):
        return Path(given)
    settings = os.environ.get("XDG_CONFIG_HOME") or os.path.expanduser("~/.config")  # noqa: PTH111 - a roll loads less
    return Path(settings) / "stagectl" / "token"


def kept() -> str:
    """The token; empty: there is no file, and none was named.

    Raises:
        RefusalError: others can read the file, or the one that was named is not there.
    """
    path = place()
    try:
        with path.open(encoding="ascii") as file:
            found = os.fstat(file.fileno())
            if found.st_uid != os.geteuid() or stat.S_IMODE(found.st_mode) & 0o077:
                raise RefusalError(f"{path} can be read by others.", f"Close it: chmod 600 {path}", "token", 401)
            return file.read(256).strip()
    except FileNotFoundError as error:
        if os.environ.get("STAGECTL_TOKEN_FILE"):
            raise RefusalError(f"There is no token in {path}.", "Log in: stagectl login", "token", 401) from error
        return ""
    except (OSError, ValueError) as error:
        raise RefusalError(f"The token in {path} can't be read.", "Log in: stagectl login", "token", 401) from error


def keep(token: str) -> Path:
    """Put a token there in place of the one before. Raises OSError."""
    path = place()
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(f"{token}\n")
    fresh.replace(path)
    return path


def forget() -> None:
    """Take it away. Raises OSError."""
    place().unlink(missing_ok=True)
