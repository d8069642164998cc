"""Fifty thousand bad frames over the live link of a rolling deck: is its take unharmed, and nothing asked but reads?

The deck is a simulator in a process of its own, the daemon is whole, and a wire between them says the bad frames as if
the deck had. What is well-formed and untrue is left out: it is believed, as any box is.
"""

import asyncio
import json
import random
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from stagectl.daemon import PARTS, Daemon, Settings
from stagectl.driverkit.kinds import find_kinds
from stagectl.driverkit.proxy import Proxy
from stagectl.shoot.house import Wish
from stagectl.site import load_site
from stagectl_simulators import client
from tests.fuzz.mutate import mutated
from tests.fuzz.runner import Finding, Result
from tests.fuzz.target import SlipError
from tests.fuzz.targets.doors import INES
from tests.fuzz.targets.wires import TARGETS
from tests.news import until
from tests.stories.studio import READS

TOGETHER: Final = 20  # frames in one go; the kit's link reads 2 KiB a turn
LOOK_EVERY: Final = 500  # frames between two looks at the truth
BACK_S: Final = 30.0  # until a link that a frame ended is adopted again
LIES: Final = (
    b"status: stopped",
    b"status: preview",
    b"status: play",
    b"status: jog",
    b"status: shuttle",
    b"status: cue",
)
DECK: Final = next(target for target in TARGETS if target.name == "text-deck-codec")
SPEC: Final = {
    "door": "127.0.0.1:0",
    "seed": 4,
    "boxes": [{"id": f"iso-{number}", "kind": "text-deck", "options": {"roll_delay_s": 0.2}} for number in (1, 2)],
}


@dataclass
class Stage:
    """Two decks of which one is spoken for, and the daemon that drives them."""

    daemon: Daemon
    proxy: Proxy
    door: str
    seen: int = 0  # of the deck's wire log
    asked: list[str] = field(default_factory=list)  # what it heard since the roll that is no read

    async def until_adopted(self) -> None:
        """Raises TimeoutError."""
        boxes = self.daemon.house.boxes.values()
        await until(self.daemon.house, lambda: all(box.adopted for box in boxes), BACK_S)

    async def roll(self) -> int:
        """Roll both; returns the take. Raises SlipError."""
        group = await self.daemon.house.submit(Wish(INES, "fuzz", "takes", "roll", {}, ""))
        await group.wait(10.0)
        if group.take is None or str(group.worst) != "verified":
            raise SlipError(f"the roll was not proved: {group.told}")
        await self.look(expected=True)
        return group.take

    async def look(self, *, expected: bool = False) -> None:
        """Hold the decks' truth against what must be. Raises SlipError."""
        for entry in await asyncio.to_thread(client.wire, self.door, "iso-1", self.seen):
            self.seen = max(self.seen, int(str(entry["n"])))
            if entry["way"] == "in" and not READS.match(str(entry["text"])) and not expected:
                self.asked.append(str(entry["text"]))
        if self.asked:
            raise SlipError(f"a bad frame made the daemon ask: {self.asked[:3]}")
        for deck in ("iso-1", "iso-2"):
            truth = await asyncio.to_thread(client.truth, self.door, deck)
            if "record" not in str(truth["transport"]):
                raise SlipError(f"{deck} is {truth['transport']}")


@asynccontextmanager
async def stage() -> AsyncIterator[Stage]:
    """Both decks adopted; leaving it ends everything."""
    command = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]
    pipes = {"stdin": asyncio.subprocess.PIPE, "stdout": asyncio.subprocess.PIPE}
    decks = await asyncio.create_subprocess_exec(*command, **pipes)
    assert decks.stdin is not None
    assert decks.stdout is not None
    try:
        decks.stdin.write(json.dumps(SPEC).encode() + b"\n")
        async with asyncio.timeout(BACK_S):
            ready = json.loads(await decks.stdout.readline())
        at = ready["boxes"]["iso-1"].rpartition(":")
        with tempfile.TemporaryDirectory() as folder:
            async with Proxy(at[0], int(at[2])) as proxy:
                spoken = f"{proxy.address[0]}:{proxy.address[1]}"
                path = Path(folder) / "site.yaml"
                rows = [("iso-1", spoken), ("iso-2", ready["boxes"]["iso-2"])]
                lines = [f"  {name}: {{box: text-deck, at: '{where}'}}\n" for name, where in rows]
                path.write_text("site: Bad frames\ndevices:\n" + "".join(lines))
                kinds = find_kinds()[0]
                settings = Settings(Path(folder) / "data", None, mqtt=False)
                daemon = await Daemon.start(load_site(path, kinds, PARTS), kinds, settings)
                try:
                    made = Stage(daemon, proxy, ready["door"])
                    await made.until_adopted()
                    yield made
                finally:
                    await daemon.stop()
    finally:
        decks.stdin.close()
        async with asyncio.timeout(10):
            await decks.wait()


def frames(number: int, seed: int) -> list[bytes]:
    """Bad frames made of a deck's good ones; the same seed makes the same."""
    chance = random.Random(f"live {seed}")
    base = [one for one in (*DECK.stored(), *DECK.examples) if one]
    made: list[bytes] = []
    while len(made) < number:
        frame = mutated(chance.choice(base), base, DECK.words, "lines", chance)
        if not any(lie in frame for lie in LIES):
            made.append(frame)
    return made


def campaign(runs: int, seed: int) -> Result:
    """Say `runs` bad frames while the deck rolls."""
    return asyncio.run(_campaign(runs, seed))


async def _campaign(runs: int, seed: int) -> Result:
    result = Result("live-frames", "bad frames over the link of a rolling deck")
    began = time.monotonic()
    try:
        async with stage() as made:
            take = await made.roll()
            all_frames = frames(runs, seed)
            for at in range(0, runs, TOGETHER):
                await made.until_adopted()
                for frame in all_frames[at : at + TOGETHER]:
                    result.runs += 1
                    result.outcomes["said" if await made.proxy.inject(frame) else "not heard"] += 1
                if at % LOOK_EVERY == 0:
                    await made.look()
            await made.until_adopted()
            await _settled(made, take)
            await made.look()
            result.outcomes["links ended"] = made.daemon.house.boxes["iso-1"].counts.losses
    except (SlipError, TimeoutError) as error:
        result.found.append(Finding(b"", error))
    result.took_s = time.monotonic() - began
    return result


async def _settled(made: Stage, number: int) -> None:
    """Within ten seconds of the last frame the take is seen as it is: open, with both decks in it. Raises SlipError."""
    takes: Any = made.daemon.house.takes
    try:
        await until(made.daemon.house, lambda: sorted(takes.takes[number].rolling) == ["iso-1", "iso-2"], 10)
    except TimeoutError as error:
        raise SlipError(f"the take is seen as {takes.takes[number].plain()}") from error
    if list(takes.takes) != [number] or takes.takes[number].closed:
        raise SlipError(f"bad frames made or closed takes: {list(takes.takes)}")
    if made.daemon.house.boxes["iso-2"].counts.losses:
        raise SlipError("the other deck's link was lost")
    if made.daemon.devices.quarantined:
        raise SlipError(f"a deck is left alone: {dict(made.daemon.devices.quarantined.items())}")
