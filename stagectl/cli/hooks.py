"""How does a sender get in that can set nothing but an address? With a hook: `stagectl hook new`."""

from typing import Any

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb


@click.group("hook")
def hook() -> None:
    """A secret address that does one thing: make one. For engineers."""


def _pairs(_ctx: click.Context, _param: click.Parameter, given: tuple[str, ...]) -> dict[str, Any]:
    from stagectl.inlets.http.form import FormError, argument

    told: dict[str, Any] = {}
    for pair in given:
        name, equals, text = pair.partition("=")
        if not (name and equals) or name in told:
            raise click.BadParameter(f'"{pair}" is no NAME=VALUE, or stands twice.')
        try:
            told[name] = argument(name, text)
        except FormError as error:
            raise click.BadParameter(str(error)) from error
    return told


@client_verb("hook new", acts=True)
@click.argument("name")
@click.argument("verb", type=click.Choice(["roll", "mark", "route"]))
@click.argument("args", nargs=-1, callback=_pairs, metavar="[ARG=VALUE]...")
@click.option("--days", type=click.IntRange(1, 90), default=90, show_default=True, help="Until it ends by itself.")
def hook_new(face: Face, name: str, verb: str, args: dict[str, Any], days: int) -> int:
    """Print an address to which a POST does this one thing.

    As in: hook new doorbell roll name=Rehearsal, hook new goodkey mark good=true, hook new hands route src=hands
    dst=director. Whoever has the address can do that: keep it as you would a key.
    """
    answer = face.client.post("hooks", body={"name": name, "verb": verb, "args": args, "days": days})
    link = face.client.url.rstrip("/") + answer["url"]
    told = f"Shown once, until {answer['until']}. To end it: stagectl token revoke {name}"
    face.answer({**answer, "url": link}, [link, told])
    return Exit.DONE


hook.add_command(hook_new, "new")
