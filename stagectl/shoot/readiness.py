"""Which parts say whether the house is ready? Clock, record time and line-up, wired to what they look at."""

from collections.abc import Mapping
from datetime import timedelta
from types import MappingProxyType
from typing import Final

from stagectl.control.chronicle import Chronicle
from stagectl.driverkit.box import Box
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.world import World
from stagectl.shoot.clock.part import CLOCK, Clocks
from stagectl.shoot.lineup.checks import checks_of
from stagectl.shoot.lineup.part import LINEUP, Lineup
from stagectl.shoot.media.part import MEDIA, Media
from stagectl.shoot.parts import Part
from stagectl.shoot.takes import Takes
from stagectl.site import Site

DAY: Final = timedelta(hours=18)  # a take that began longer ago is of another day; own choice: shoots pass midnight

READINESS: Final[Mapping[str, Capability]] = MappingProxyType({"clock": CLOCK, "media": MEDIA, "lineup": LINEUP})


def readiness(
    world: World, board: Board, site: Site, boxes: Mapping[str, Box], *, chronicle: Chronicle, takes: Takes
) -> dict[str, Part]:
    """The three parts, by name."""
    clock, wanted = world.clock, site.lineup
    called = {name: entry.called for name, entry in site.devices.items()}
    recorders = {name: called.get(name, name) for name, box in boxes.items() if box.capability.kind == "recorder"}

    def recorded() -> list[str]:
        since = clock.wall() - DAY
        return [take.name for take in takes.takes.values() if take.closed is not None and take.opened >= since]

    clocks = Clocks(
        board,
        wanted,
        recorders,
        world.chance.stream("clock"),
        lambda device, points, done: boxes[device].look_now(points, done),
        cameras=site.cameras,
    )
    media = Media(board, wanted, recorders, recorded)
    takes.on_change.append(media.plan_moved)
    lineup = Lineup(
        board,
        checks_of(site, {name: box.capability for name, box in boxes.items()}),
        boxes,
        clocks,
        chronicle,
        called=called,
        recorders=recorders,
        kept_s=wanted.kept_s,
    )
    return {part.name: part for part in (clocks, media, lineup)}
