"""Who has an account here? One file in the data folder, written by the terminal, read by the daemon.

There is no account as installed. The file is for its owner's eyes alone: who may write into the data folder is who may
make accounts, so no door of the daemon ever takes a new password.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from stagectl.control import privatefile
from stagectl.control.access import Role
from stagectl.model.errors import RefusedError, SiteError
from stagectl.model.world import Storage

FILE: Final = "people.json"
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")


@dataclass(frozen=True, slots=True)
class Account:
    """One person. `kept` is what `passwords.hashed` gave; it is no secret to show, and still never shown."""

    name: str
    role: Role
    kept: str

    def __repr__(self) -> str:
        return f"Account({self.name!r}, {self.role.value})"


def named(name: str) -> str:
    """The name if one may be called so. Raises RefusedError."""
    if not _NAME.fullmatch(name):
        raise RefusedError(
            f'"{name[:40]}" is no name for an account.',
            remedy="Take small letters, digits and hyphens, 32 at most.",
            code="name",
        )
    return name


def read(storage: Storage) -> Mapping[str, Account] | None:
    """All accounts by name; None: there is no file, so nobody needs a token.

    Raises:
        SiteError: the file is open to others, or not what we wrote.
    """
    data = privatefile.read(storage, FILE)
    return None if data is None else parsed(data)


def parsed(data: bytes) -> Mapping[str, Account]:
    """The accounts of a file's bytes. Raises SiteError."""
    found = privatefile.parsed(FILE, data)
    try:
        return {
            named(name): Account(name, Role(entry["role"]), str(entry["password"]))
            for name, entry in found["people"].items()
        }
    except (AttributeError, TypeError, KeyError, ValueError, RefusedError) as error:
        raise SiteError(
            f"{FILE} in the data folder is not what stagectl wrote. Put back a copy from before."
        ) from error


async def write(storage: Storage, accounts: Mapping[str, Account]) -> None:
    """Keep these accounts and no others. Raises OSError."""
    people = {one.name: {"role": one.role.value, "password": one.kept} for one in accounts.values()}
    await privatefile.write(storage, FILE, {"v": 1, "people": people})
