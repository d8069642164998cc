"""Who has an account? Made and taken away in the data folder itself, by who may write there; no daemon is asked.

A daemon that runs on the folder sees a change within a second.
"""

import asyncio
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stagectl.cli.codes import Exit

if TYPE_CHECKING:
    from stagectl.control.people import Account
    from stagectl.driverkit.real import RealStorage

ROLES = ("viewer", "operator", "engineer")


class FolderError(click.ClickException):
    """It can't be done there: one sentence or two, exit 2."""

    exit_code = int(Exit.UNCLEAR)


def _data_option(do: Callable[..., int]) -> Callable[..., int]:
    return click.option(
        "--data",
        type=click.Path(path_type=Path),
        envvar="STAGECTL_DATA",
        required=True,
        help="Folder of the daemon, as for serve; or STAGECTL_DATA.",
    )(do)


@click.group("people")
def people() -> None:
    """The accounts of a house: add, list, remove."""


@people.command("add")
@click.argument("name")
@click.option("--role", type=click.Choice(ROLES), required=True, help="What the person may do.")
@click.option("--replace", is_flag=True, help="Give an account another role and password; its logins end.")
@_data_option
def add(name: str, role: str, replace: bool, data: Path) -> int:
    """Make an account; its password is asked for, never given here.

    The first account closes the house: from then on everybody needs a token, and no longer only a seat at this machine.
    """
    from stagectl.control import passwords
    from stagectl.control.access import Role
    from stagectl.control.people import Account, named
    from stagectl.driverkit.real import RealIds
    from stagectl.model.secret import Secret

    storage, accounts = _read(data)
    try:
        _free(named(name), {} if replace else accounts)
        _keep_an_engineer({**accounts, name: Account(name, Role(role), "")})
        password = Secret(click.prompt("Password", hide_input=True, confirmation_prompt="Again", err=True))
        passwords.check(password, name)
    except Exception as error:
        raise _said(error) from error
    kept = passwords.hashed(password, RealIds().secret().encode())
    _write(storage, {**accounts, name: Account(name, Role(role), kept)})
    print(f"{name} has an account as {role}.")
    if not accounts:
        print("The house is closed now: everybody needs a token. To get one: stagectl login")
    return Exit.DONE


@people.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@_data_option
def list_(as_json: bool, data: Path) -> int:
    """Name the accounts and their roles."""
    accounts = _read(data)[1]
    roles = {name: account.role.value for name, account in sorted(accounts.items())}
    if as_json:
        print(json.dumps({"v": 1, "verb": "people list", "people": roles}))
        return Exit.DONE
    for name, role in roles.items():
        print(f"{name:<16}  {role}")
    if not roles:
        print("There is no account: whoever sits at this machine may act.")
    return Exit.DONE


@people.command("remove")
@click.argument("name")
@_data_option
def remove(name: str, data: Path) -> int:
    """Take an account away; its logins end within a second."""
    storage, accounts = _read(data)
    if name not in accounts:
        raise FolderError(f'There is no account "{name[:40]}". There is {", ".join(sorted(accounts)) or "none"}.')
    left = {one: account for one, account in accounts.items() if one != name}
    _keep_an_engineer(left)
    _write(storage, left)
    print(f"{name} has no account any more.")
    return Exit.DONE


def _free(name: str, accounts: "Mapping[str, Account]") -> None:
    if name in accounts:
        raise FolderError(f"{name} has an account. To give it another password or role: --replace")


def _keep_an_engineer(accounts: "Mapping[str, Account]") -> None:
    if not any(account.role.value == "engineer" for account in accounts.values()):
        raise FolderError(
            "One account must be an engineer's, or nobody could let programs in. To open the house to this machine "
            "again: end the daemon, take people.json and tokens.json out of the folder."
        )


def _read(data: Path) -> "tuple[RealStorage, Mapping[str, Account]]":
    from stagectl.control.people import read
    from stagectl.driverkit.real import RealStorage

    try:
        storage = RealStorage(data)
        return storage, read(storage) or {}
    except Exception as error:
        raise _said(error) from error


def _write(storage: "RealStorage", accounts: "Mapping[str, Account]") -> None:
    from stagectl.control.people import write

    try:
        asyncio.run(write(storage, accounts))
    except OSError as error:
        raise _said(error) from error


def _said(error: Exception) -> Exception:
    """What people read of it; a slip of ours stays one."""
    from stagectl.model.errors import RefusedError, SiteError

    match error:
        case RefusedError():
            return FolderError(f"{error} {error.remedy}".strip())
        case SiteError():
            return FolderError(str(error))
        case OSError():
            what: Any = error.strerror or error
            return FolderError(f"The folder can't be used: {str(what).lower()}. See --data.")
    return error
