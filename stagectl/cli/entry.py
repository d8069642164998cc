"""Which verbs let people and programs in, and say who holds the desk? Login, logout, token, guest, hold."""

import contextlib
import shutil
import sys
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import click

from stagectl.cli import keyfile, squares
from stagectl.cli.client import LostError, RefusalError, UnreachedError
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.tables import columns


def _words(_ctx: click.Context, _param: click.Parameter, value: str) -> list[str]:
    return [word.strip() for word in value.split(",") if word.strip()]


@client_verb("login", acts=True)
@click.argument("name")
def login(face: Face, name: str) -> int:
    """Come in with a password, for 12 hours.

    The token is kept in a file of yours: STAGECTL_TOKEN_FILE, or stagectl/token among your settings.
    """
    password = click.prompt("Password", hide_input=True, err=True)
    answer = face.client.post("login", body={"name": name, "password": password})
    _end_the_one_before(face)
    path = keyfile.keep(answer.pop("token"))
    face.answer(answer, [f"You are {answer['name']}, {answer['role']}, until {answer['until']}. Kept in {path}."])
    return Exit.DONE


def _end_the_one_before(face: Face) -> None:
    """The token that is kept here so far opens nothing any more; one that is over or elsewhere is let be."""
    with contextlib.suppress(RefusalError, LostError, UnreachedError):
        if token := keyfile.kept():
            replace(face.client, token=token).post("logout")


@client_verb("logout", acts=True)
def logout(face: Face) -> int:
    """End your token and take it off this machine."""
    try:
        answer = face.client.post("logout")
    finally:
        keyfile.forget()
    face.answer(answer, [answer["say"]])
    return Exit.DONE


@click.group("token")
def token() -> None:
    """Tokens for programs: make, list, revoke. For engineers."""


@client_verb("token new", acts=True)
@click.argument("name")
@click.option("--role", type=click.Choice(["viewer", "operator"]), required=True, help="Never an engineer.")
@click.option("--verbs", default="", callback=_words, metavar="LIST", help="What it may: roll,good,level.")
@click.option("--devices", default="", callback=_words, metavar="LIST", help="On what: iso-1,mixer; groups too.")
@click.option("--days", type=click.IntRange(1, 90), default=90, show_default=True, help="Until it ends by itself.")
def token_new(face: Face, name: str, *, role: str, verbs: list[str], devices: list[str], days: int) -> int:
    """Make a token for a program. It is shown once."""
    body = {"name": name, "role": role, "verbs": verbs, "devices": devices, "days": days}
    answer = face.client.post("tokens", body=body)
    face.answer(answer, [answer["token"], f"Shown once. It is {name}'s until {answer['until']}."])
    return Exit.DONE


@client_verb("token list")
def token_list(face: Face) -> int:
    """The tokens that are out."""
    answer = face.client.get("tokens")
    face.answer(answer, columns(_row(one) for one in answer["tokens"]) or ["No token is out."])
    return Exit.DONE


def _row(one: Mapping[str, Any]) -> tuple[str, ...]:
    verbs = "all of the role" if one["verbs"] is None else ",".join(one["verbs"]) or "reads"
    return (one["id"], one["name"], one["kind"], one["role"], f"until {one['until']}", verbs)


@client_verb("token revoke", acts=True)
@click.argument("identifier", metavar="ID")
def token_revoke(face: Face, identifier: str) -> int:
    """End a token on every door, at once. ID or name, as the list shows."""
    found = [one["id"] for one in face.client.get("tokens")["tokens"] if identifier in (one["id"], one["name"])]
    if len(found) != 1:
        what = f'No token is called "{identifier}".' if not found else f'{len(found)} tokens are called "{identifier}".'
        return face.no(Exit.UNCLEAR, what, "Give its id: stagectl token list", "target")
    answer = face.client.post("tokens", found[0], "revoke")
    face.answer(answer, [answer["say"]])
    return Exit.DONE


@click.group("guest")
def guest() -> None:
    """A link for a presenter or a client: make one."""


@client_verb("guest new", acts=True)
@click.option(
    "--acts", default="roll,good,call", callback=_words, metavar="LIST", show_default=True, help="These alone."
)
@click.option("--hours", type=click.IntRange(1, 24), default=4, show_default=True, help="Until it ends by itself.")
@click.option("--name", default="guest", show_default=True, help="What the journal calls the guest.")
def guest_new(face: Face, acts: list[str], hours: int, name: str) -> int:
    """Print a link, at a terminal also as a code for a phone: a few acts for some hours, and nothing else."""
    answer = face.client.post("guests", body={"name": name, "acts": acts, "hours": hours})
    del answer["token"]  # it stands in the link
    told = (
        f"Shown once. It grants {', '.join(answer['verbs'])} until {answer['until']}; "
        f"to end it: stagectl token revoke {answer['id']}"
    )
    face.answer(answer, [*_code(face, answer["qr"]), answer["link"], told])
    return Exit.DONE


def _code(face: Face, rows: list[str]) -> list[str]:
    """The code for a phone, where it can be seen and fits."""
    wide = squares.columns(rows)
    if face.plain or not sys.stdout.isatty():
        return []
    if shutil.get_terminal_size().columns < wide:
        return [f"Make the window {wide} columns wide, and the link is shown as a code for a phone."]
    return squares.drawn(rows)


@client_verb("hold", acts=True)
@click.argument(
    "act", required=False, default="take", type=click.Choice(["take", "ask", "give", "keep", "leave", "who"])
)
@click.argument("name", required=False, default="")
def hold(face: Face, act: str, name: str) -> int:
    """Hold the desk, ask for it, or pass it on.

    As in: stagectl hold, hold ask, hold give NAME, hold keep, hold leave, hold who. While somebody holds it the others
    read, roll, mark and end their own take. Who asked and got no answer for 30 s may take it.
    """
    if act == "who":
        answer = face.client.get("desk")
    elif act == "give" and not name:
        return face.no(Exit.UNCLEAR, "To whom is it given?", "Say the name: stagectl hold give NAME", "argument")
    else:
        answer = face.client.post("desk", body={"act": "give" if act == "leave" else act, "to": name})
    face.answer(answer, [answer["say"]])
    return Exit.DONE


for _name, _verb in (("new", token_new), ("list", token_list), ("revoke", token_revoke)):
    token.add_command(_verb, _name)
guest.add_command(guest_new, "new")
