"""How are boxes played, and their faults turned, from a terminal?"""

import asyncio
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from stagectl.cli.addresses import Address, written
from stagectl.cli.codes import Exit
from stagectl.cli.hall import DOOR
from stagectl.cli.tables import columns

if TYPE_CHECKING:
    from stagectl.site import Site

DOOR_URL: Final = f"http://{DOOR[0]}:{DOOR[1]}"
WORDS: Final[Mapping[str, bool]] = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}


class Simulate(click.Group):
    """`simulate SITE` plays a site; `simulate fault ...` and its kind speak to simulators that run."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """What is no verb of ours begins the call of `simulate SITE`."""
        if args and args[0] not in self.commands and args[0] not in ctx.help_option_names:
            args = ["site", *args]
        return super().parse_args(ctx, args)

    def collect_usage_pieces(self, ctx: click.Context) -> list[str]:
        return ["SITE [--door HOST:PORT] | COMMAND [ARGS]..."]


@click.group("simulate", cls=Simulate, context_settings={"help_option_names": ["-h", "--help"]})
def simulate() -> None:
    """Play every box of a site, and turn their faults.

    `stagectl simulate SITE` plays them. The commands below speak to simulators that run; STAGECTL_SIM_URL tells where
    their door is, if not at http://127.0.0.1:8421.
    """


@simulate.command("site", hidden=True)
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--door", type=Address(), default=f"{DOOR[0]}:{DOOR[1]}", show_default=True, help="Where faults are turned."
)
def play(site: Path, door: tuple[str, int]) -> int:
    """Play every box of a site file, and print where each one listens."""
    from stagectl.cli.running import WrongError, read_site

    whole, _ = read_site(site)
    try:
        return asyncio.run(_play(whole, door))
    except ValueError as wrong:
        raise WrongError(str(wrong)) from wrong


async def _play(site: "Site", door: tuple[str, int]) -> int:
    from stagectl.cli.hall import as_line, spec, tell_moved
    from stagectl.cli.running import End
    from stagectl_simulators.__main__ import read_spec

    end = End()
    told = spec(site, door, _tell)
    async with read_spec(as_line(told)) as simulation:
        addresses = {name: f"{host}:{port}" for name, (host, port) in simulation.addresses.items()}
        tell_moved(site, told, addresses, simulation.door_url, _tell)
        for lack in simulation.lacks:
            _tell(lack)
        stores = {name: f"clips at {written(*at)}" for name, at in simulation.stores.items()}
        for line in columns(
            (name, site.devices[name].called, site.devices[name].box, address, stores.get(name, ""))
            for name, address in addresses.items()
        ):
            print(line)
        print(f"Fault door: {simulation.door_url}")
        if simulation.door_url != DOOR_URL:
            print(f"export STAGECTL_SIM_URL={simulation.door_url}")
        print("Ctrl-C ends them.", flush=True)
        await end.wait()
    return end.code


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _asked(ask: Callable[[str], Any]) -> Any:
    """What `ask` gets from the door, called with its URL. Ends with 5 if there is no door, with 2 if it refuses."""
    from stagectl_simulators.client import DoorError

    url = os.environ.get("STAGECTL_SIM_URL") or DOOR_URL
    try:
        return ask(url)
    except DoorError as error:
        away = error.__cause__ is not None
        print(f"{error}{' Or set STAGECTL_SIM_URL to where they are.' if away else ''}", file=sys.stderr)
        raise click.exceptions.Exit(int(Exit.UNREACHED if away else Exit.UNCLEAR)) from error


def _value(text: str) -> bool | int | float | str:
    """A word of the command line as the door takes it."""
    if text.casefold() in WORDS:
        return WORDS[text.casefold()]
    for reads in (int, float):
        try:
            return reads(text)
        except ValueError:
            continue
    return text


def _facts(table: Mapping[str, object]) -> list[str]:
    return columns((name, value if isinstance(value, str) else json.dumps(value)) for name, value in table.items())


def _show(table: Mapping[str, object]) -> int:
    for line in _facts(table):
        print(line)
    return Exit.DONE


@simulate.command("boxes")
def boxes() -> int:
    """The boxes that are played, with the faults that are on."""
    from stagectl_simulators import client

    found = _asked(client.list_boxes)
    for line in columns(
        (
            one["id"],
            one["kind"],
            one["address"],
            f"clips at {one['store']}" if one["store"] else "",
            ", ".join(f"{name} {value}" for name, value in one["faults_on"].items()),
        )
        for one in found
    ):
        print(line)
    return Exit.DONE


@simulate.command("fault", context_settings={"ignore_unknown_options": True})
@click.argument("box")
@click.argument("name")
@click.argument("on", metavar="on|off|NUMBER")
def fault(box: str, name: str, on: str) -> int:
    """Turn a fault of a box that is played on or off, or give it its number."""
    from stagectl_simulators import client

    value = _value(on)
    if isinstance(value, str):
        raise click.UsageError(f'"{on}" is no setting of a fault. Write on, off or a number.')
    switches = _asked(lambda url: client.set_fault(url, box, name, value))
    told = switches.get(name, value)
    print(f"{box}: {name} is {('on' if told else 'off') if isinstance(told, bool) else told}.")
    return Exit.DONE


@simulate.command("faults")
@click.argument("box")
def faults(box: str) -> int:
    """The fault switches of a box that is played."""
    from stagectl_simulators import client

    return _show(_asked(lambda url: client.faults(url, box)))


@simulate.command("panel", context_settings={"ignore_unknown_options": True})
@click.argument("box")
@click.argument("act")
@click.argument("given", nargs=-1, metavar="[K=V..]")
def panel(box: str, act: str, given: tuple[str, ...]) -> int:
    """Play somebody's hand at the front of a box, and tell what came of it: stagectl simulate panel iso-2 stop."""
    from stagectl_simulators import client

    args: dict[str, Any] = {}
    for pair in given:
        name, is_one, value = pair.partition("=")
        if not is_one or not name.isidentifier() or name in ("url", "box", "act"):
            raise click.UsageError(f'"{pair}" is no argument of an act. Write it like output=3.')
        args[name] = _value(value)
    told = _asked(lambda url: client.panel(url, box, act, **args))
    last = next((one for one in reversed(told.pop("history", [])) if one["cause"] == "panel"), None)
    if last is None:
        return _show(told)
    print(f"{box}: {last['what']}.")
    return Exit.DONE


@simulate.command("truth")
@click.argument("box")
def truth(box: str) -> int:
    """What is so in a box that is played, whatever it says."""
    from stagectl_simulators import client

    return _show(_asked(lambda url: client.truth(url, box)))


@simulate.command("wire")
@click.argument("box")
@click.option("--since", type=click.IntRange(0), default=0, help="Entries after this number.")
def wire(box: str, since: int) -> int:
    """What went over the wire of a box that is played."""
    from stagectl_simulators import client

    for entry in _asked(lambda url: client.wire(url, box, since)):
        print(f"{entry['n']}  {entry['at_s']:.3f}  {entry['client']}  {entry['way']}  {entry['text']}")
    return Exit.DONE
