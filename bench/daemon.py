"""How is the daemon run to be measured? As `stagectl serve` runs it, with a task that sees how late the loop is.

python -m bench.daemon SITE FOLDER [quick]      prints the port of its HTTP door

With "quick" a recorder that was asked to roll is read again after a second and not after twenty: two looks at a clip
lie 0.3 s apart instead of 10. Nothing else differs, and a hundred presses during a copy fit into minutes.
"""

import asyncio
import logging
import sys
from functools import partial
from pathlib import Path

import structlog

from bench.inside import Inside
from stagectl.copyoff import deckstate, wiring
from stagectl.copyoff.settings import Care
from stagectl.daemon import PARTS, Daemon, Settings
from stagectl.driverkit.kinds import find_kinds
from stagectl.site import load_site


async def main(site: Path, folder: Path) -> None:
    kinds, _ = find_kinds()
    daemon = await Daemon.start(load_site(site, kinds, PARTS), kinds, Settings(folder, ("127.0.0.1", 0), mqtt=False))
    assert daemon.http is not None
    inside = Inside(daemon.http.port, lambda: sum(box.adopted for box in daemon.house.boxes.values()))
    await inside.until_gone()
    await daemon.stop()


def quick() -> None:
    """Let a recorder be read again soon."""
    vars(deckstate)["HOLD_S"] = 1.0
    vars(wiring)["Care"] = partial(Care, look_apart_s=(0.3, 0.3))


if __name__ == "__main__":
    if sys.argv[3:] == ["quick"]:
        quick()
    # standard output is the bench's; what goes wrong must be seen all the same
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2])))
