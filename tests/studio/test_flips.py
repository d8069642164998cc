"""Does a wire that turns bits make no recording that was never made, and lose none?

TCP's own sum keeps such bytes from most wires; a serial line, or a box between, does not. Source: own construction; the
truth is the simulated decks'.
"""

import asyncio
from typing import Any

import pytest

from stagectl.model.verbs import Ended
from stagectl.shoot.take import Take
from tests.driverkit.memory import until
from tests.studio.test_daemon import Hall
from tests.studio.world import VirtualBox, build

FLIPS: dict[str, float] = {"iso-1": 0.0005, "iso-2": 0.002, "iso-3": 0.01}  # how likely a byte has a bit turned
ROLLS_S = 300


def flip(box: VirtualBox, chance: Any, share: float) -> None:
    """What the box says comes with bits turned, from now on."""
    send = box._send

    def flipped(client: Any, data: bytes) -> None:
        send(
            client,
            bytes(byte ^ (1 << chance.randrange(8)) if chance.random() < share else byte for byte in data),
        )

    box._send = flipped  # type: ignore[method-assign]


def heal(box: VirtualBox) -> None:
    del box._send


def lanes(take: Take) -> dict[str, list[tuple[str, str]]]:
    return {name: [(lane.clip, lane.note) for lane in own] for name, own in take.lanes.items()}


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_bits_that_turn_on_the_wire_make_no_recording(seed: int) -> None:
    with build(seed) as virtual:

        async def story() -> None:
            studio = await Hall(virtual).open()
            assert (await studio.press("roll")).worst is Ended.VERIFIED
            take = studio.daemon.house.takes.open
            assert take is not None
            await until(lambda: all(lane.start_exact for lane in take.all_lanes()), 10)
            known = lanes(take)
            for name, share in FLIPS.items():
                flip(next(box for box in studio.decks if box.name == name), virtual.chance.stream(name), share)
            for _ in range(ROLLS_S):
                await asyncio.sleep(1)
                assert {name: len(own) for name, own in lanes(take).items()} == dict.fromkeys(known, 1), lanes(take)
            for box in studio.decks[:3]:
                heal(box)
            await until(lambda: len(take.rolling) == 5, 30)
            await asyncio.sleep(10)
            cut = await studio.press("cut", take="1")
            assert (cut.worst, cut.count) == (Ended.VERIFIED, "5 of 5")
            await asyncio.sleep(5)
            assert {name: [clip for clip, _ in own] for name, own in lanes(take).items()} == {
                name: [clip for clip, _ in own] for name, own in known.items()
            }

        virtual.run(story())
