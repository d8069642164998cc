"""Is nobody told that a deck does not roll, which rolled when it was last seen, though by a daemon that is gone?

Source: own construction; the truth is the simulated decks'.
"""

import asyncio
from pathlib import Path

from stagectl.daemon import Daemon, Settings
from stagectl.model.verbs import Ended
from tests.driverkit.memory import until
from tests.studio.test_daemon import KINDS, Hall, hall
from tests.studio.world import build


def test_after_a_restart_a_roll_of_a_deck_out_of_reach_that_rolled_is_not_known() -> None:
    with build(1) as virtual:

        async def story() -> None:
            studio = await Hall(virtual).open()
            assert (await studio.press("roll")).worst is Ended.VERIFIED
            await asyncio.sleep(3)
            virtual.kill(studio.process)
            virtual.net.power_off(studio.decks[1].process.host)
            studio.process = virtual.process("daemon")
            settings = Settings(Path("/nowhere"), mqtt=False)
            starting = Daemon.start(hall(), KINDS, settings, virtual.world(studio.process))
            studio.daemon = await virtual.spawn(studio.process, starting)
            boxes = studio.daemon.devices.boxes
            await until(lambda: sum(box.adopted for box in boxes.values()) == 4, 10)
            group = await studio.press("roll", on="iso-2")
            (verdict,) = group.verdicts
            assert (verdict.ended, verdict.code, verdict.refused) == (Ended.UNCONFIRMED, "no-link", True)
            assert studio.daemon.house.teller.box(group.commands[0]).startswith(
                "iso-2: not known if it rolls. It is not reached, and rolled when last seen. "
            )

        virtual.run(story())
