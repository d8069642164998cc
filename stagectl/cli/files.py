"""Which verbs look at files and installed drivers, without a daemon? Check, schema, drivers."""

import json
import sys
from pathlib import Path

import click

from stagectl.cli.codes import Exit
from stagectl.cli.tables import columns


@click.command("check")
@click.argument("site", type=click.Path(path_type=Path))
def check(site: Path) -> int:
    """Say by line what is wrong with a site's files."""
    from stagectl.cli.checking import check_all

    report = check_all(site)
    for line in report.wrong:
        print(line, file=sys.stderr)
    print(report.say)
    return Exit.UNCLEAR if report.wrong else Exit.DONE


@click.command("schema")
@click.argument("what", type=click.Choice(["site", "scene", "setup"]), default="site")
def schema(what: str) -> int:
    """The JSON Schema of a kind of file, for editors."""
    if what == "site":
        from stagectl.site import site_schema as made
    elif what == "scene":
        from stagectl.shoot.sceneschema import scene_schema as made
    else:
        from stagectl.shoot.setups.schema import setup_schema as made
    print(json.dumps(made(), indent=2, ensure_ascii=False))
    return Exit.DONE


@click.command("drivers")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def drivers(as_json: bool) -> int:
    """The boxes that can be driven here. Drivers that can't be used are told with why."""
    from stagectl.driverkit.kinds import find_kinds

    kinds, broken = find_kinds()
    if as_json:
        told = {name: {"kind": kind.capability.kind, "port": kind.port} for name, kind in kinds.items()}
        print(json.dumps({"v": 1, "verb": "drivers", "drivers": told, "broken": broken}, ensure_ascii=False))
        return Exit.DONE
    for line in columns((name, kind.capability.kind, f"port {kind.port}") for name, kind in kinds.items()):
        print(line)
    for why in broken.values():
        print(f"! {why}")
    return Exit.DONE
