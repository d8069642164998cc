"""What is wrong with a site's files? Read as the daemon would read them; nothing is run."""

import asyncio
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from stagectl.cli.logs import set_up
from stagectl.control.journal import Journal
from stagectl.daemon import PARTS, wire
from stagectl.driverkit.driver import BoxKind
from stagectl.driverkit.kinds import find_kinds
from stagectl.driverkit.real import real_world
from stagectl.model.errors import SiteError
from stagectl.shoot.scenes import Scenes
from stagectl.site import Site, load_sim, load_site, sim_path


@dataclass(slots=True)
class Report:
    """`wrong` has a line for each thing that is wrong; `say` is the whole in a sentence."""

    say: str = ""
    wrong: list[str] = field(default_factory=list)


def check_all(path: Path) -> Report:
    """Read everything that belongs to a site file."""
    set_up("error", for_good=False)  # what is wrong is told once
    kinds, broken = find_kinds()
    report = Report()
    try:
        site = load_site(path, kinds, PARTS)
    except SiteError as wrong:
        report.wrong.extend(str(wrong).splitlines())
        report.wrong.extend(broken.values())  # a box of theirs is then an unknown word
        report.say = f"{path}: {_things(len(str(wrong).splitlines()))} wrong. Scenes were not read."
        return report
    file = sim_path(path)
    if file.is_file():
        try:
            load_sim(file, site)
        except SiteError as wrong:
            report.wrong.extend(str(wrong).splitlines())
    setups, scenes = asyncio.run(_house_files(site, kinds, report))
    counted = ", ".join(
        [_count(len(site.devices), "device"), *([_count(setups, "set-up")] if setups else []), _count(scenes, "scene")]
    )
    state = f"{_things(len(report.wrong))} wrong" if report.wrong else "nothing is wrong"
    report.say = f"{site.name}: {counted}; {state}."
    return report


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _things(number: int) -> str:
    return "1 thing is" if number == 1 else f"{number} things are"


async def _house_files(site: Site, kinds: Mapping[str, BoxKind], report: Report) -> tuple[int, int]:
    """How many set-ups and scenes are right; what is wrong with others goes to the report."""
    with tempfile.TemporaryDirectory(prefix="stagectl-check-") as folder:
        world = real_world(Path(folder))
        house, _ = wire(world, site, kinds, Journal(world.storage, world.clock))
        house.setups.load(site.scenes)
        scenes = Scenes(house, site.scenes)
        scenes.load()
        report.wrong.extend(str(error) for error in (*house.setups.shelf.errors, *scenes.errors))
        return len(house.setups.shelf.setups), len(scenes.scenes)
