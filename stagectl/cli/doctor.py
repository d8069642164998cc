"""What is wrong with this installation, and what is to be done about it?"""

import asyncio
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stagectl.cli.addresses import Address
from stagectl.cli.codes import Exit

if TYPE_CHECKING:
    from stagectl.cli.doctorchecks import Finding


@click.command("doctor")
@click.argument("site", required=False, type=click.Path(path_type=Path))
@click.option("--data", type=click.Path(path_type=Path), help="Look at this data folder too.")
@click.option("--http", type=Address(), help="Where the web door opens; without, as the site file says.")
@click.option("--tls", nargs=2, type=click.Path(path_type=Path), help="Certificate and key, as for serve.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def doctor(
    ctx: click.Context,
    site: Path | None,
    data: Path | None,
    http: tuple[str, int] | None,
    tls: tuple[Path, Path] | None,
    *,
    as_json: bool,
) -> int:
    """What is wrong with this installation; exit 6 if anything is.

    With SITE also its file, its scenes, its broker, and if each box can be reached. Nothing is sent to any box and
    nothing is changed; in the data folder a small file is written and removed again, to time the disk.
    """
    findings = asyncio.run(_look(site, data, http, tls))
    wrong = [one for one in findings if one.well is False]
    say = f"{len(wrong)} of {len(findings)} things looked at are wrong." if wrong else "Nothing is wrong."
    if as_json or bool((ctx.find_root().obj or {}).get("json")):
        told = {"v": 1, "verb": "doctor", "say": say, "findings": [one.plain() for one in findings]}
        print(json.dumps(told, ensure_ascii=False))
        return Exit.NO if wrong else Exit.DONE
    for one in findings:
        mark = {True: " ", False: "!", None: "-"}[one.well]
        print(" ".join(filter(None, (mark, one.say, one.remedy if one.well is not True else ""))))
    print(say)
    return Exit.NO if wrong else Exit.DONE


async def _look(
    path: Path | None, folder: Path | None, http: tuple[str, int] | None, files: tuple[Path, Path] | None
) -> "list[Finding]":
    from stagectl.cli import doctorchecks as checks
    from stagectl.cli.running import AT, at_of, tls_of
    from stagectl.daemon import PARTS
    from stagectl.driverkit.kinds import find_kinds
    from stagectl.driverkit.real import RealClock
    from stagectl.inlets.http.opening import Tls
    from stagectl.model.errors import SiteError
    from stagectl.site import load_site

    clock = RealClock(asyncio.get_running_loop())
    tls = None if files is None else Tls(*files)
    found = [checks.python(), *checks.libraries(), *checks.drivers(), checks.clock(), checks.handles()]
    if folder is not None:
        found.extend(checks.data(folder, clock.now))
    if path is not None:
        found.extend(await asyncio.get_running_loop().run_in_executor(None, checks.site_file, path))
        try:
            site = load_site(path, find_kinds()[0], PARTS)
        except SiteError:
            return [*found, await checks.web(*(http or AT))]  # told already, line by line
        http = http or at_of(site)
        tls = tls_of(site, files)
        found.append(await checks.mqtt(site))
        found.extend(await checks.boxes(site))
    found.append(await checks.web(*(http or AT)))
    if tls is not None:
        found.append(checks.certificate(tls, clock.wall()))
    return found
