"""Is the record time of a recorder the smaller of what is known, and is the day's plan judged by it?

Outside: seconds of two media computed by hand: 40 GB and 240 GB with 2 GB kept back each, at 24 113 690 bytes a second.
"""

import asyncio
from collections.abc import Sequence
from typing import Any

import pytest

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import (
    CHANNELS,
    CODEC,
    INPUT_FORMAT,
    SLOT_ACTIVE,
    SLOT_FREE,
    SLOT_LEFT,
    SLOT_NAME,
    SLOT_STATE,
    TRANSPORT,
    SlotState,
    Transport,
)
from stagectl.model.points import Quality
from stagectl.shoot.media.deck import Basis, Writes
from stagectl.shoot.media.part import BASIS, ENOUGH, LEAST, LEFT, PLANNED, WRITES, Media
from stagectl.site import LineupEntry, PlannedTake
from tests.driverkit.memory import VirtualClock, virtual

PER_S = 24_113_690


class Room:
    """One recorder with two media, pretended."""

    def __init__(self, wanted: LineupEntry | None = None, recorded: Sequence[str] = ()) -> None:
        self.board = Board(VirtualClock(asyncio.get_running_loop()))
        self.writer = self.board.writer("iso-1")
        self.recorded = list(recorded)
        self.media = Media(
            self.board, wanted or LineupEntry(reserve_bytes=2 * 10**9), {"iso-1": "Rec 1"}, lambda: self.recorded
        )
        self.has(CODEC, "VC3-HQ")
        self.has(INPUT_FORMAT, "1080p25")
        self.has(CHANNELS, 8)
        self.has(TRANSPORT, Transport.PREVIEW)
        self.has(SLOT_ACTIVE, 1)
        self.medium(1, 40e9)
        self.medium(2, 240e9)

    def has(self, spec: Any, value: Any) -> None:
        now = self.board.clock.now()
        self.writer.declare(spec)
        self.writer.asked_at, self.writer.read_at = now - 0.001, now
        self.writer.put(spec.name, value)

    def medium(self, slot: int, free: float | None, left: float | None = None) -> None:
        self.has(SLOT_STATE.at(slot), SlotState.READY)
        self.has(SLOT_NAME.at(slot), f"TIDE-{slot}")
        if free is not None:
            self.has(SLOT_FREE.at(slot), int(free))
        if left is not None:
            self.has(SLOT_LEFT.at(slot), int(left))

    async def falls(self, per_s: float, seconds: int, free: float) -> float:
        """Record for some time, told every 5 s."""
        for _ in range(seconds // 5):
            await asyncio.sleep(5)
            free -= per_s * 5
            self.has(SLOT_FREE.at(1), int(free))
        await asyncio.sleep(1)
        return free

    def point(self, spec: Any) -> Any:
        named = spec.at("iso-1") if "{" in spec.name else spec
        reading = self.board.get("media", named)
        return reading.value if reading.quality is Quality.GOOD else None


@virtual
async def test_two_media_last_as_long_as_both_less_what_is_kept_back() -> None:
    room = Room()
    await asyncio.sleep(1)
    assert room.point(LEFT) == pytest.approx(11_445.8, abs=1)
    assert room.media.left("iso-1").slots[0].left_s == pytest.approx(1575.9, abs=0.1)
    assert (room.point(BASIS), room.point(LEAST)) == (Basis.CODEC, room.point(LEFT))


@virtual
async def test_a_plan_passes_only_with_some_to_spare() -> None:
    eight = Room(LineupEntry(reserve_bytes=0, plan=(PlannedTake("Suite", 6 * 3600.0),)))
    eight.medium(1, 8 * 3600 * PER_S)
    eight.has(SLOT_STATE.at(2), SlotState.EMPTY)
    await asyncio.sleep(1)
    assert (eight.point(PLANNED), eight.point(ENOUGH)) == (21_600, True)
    eight.medium(1, 6.5 * 3600 * PER_S)
    await asyncio.sleep(1)
    assert eight.point(ENOUGH) is False


@virtual
async def test_what_was_recorded_is_planned_no_more() -> None:
    plan = (PlannedTake("Suite", 600.0, 2), PlannedTake("Encore", 60.0))
    room = Room(LineupEntry(plan=plan), recorded=["suite", "Rehearsal"])
    await asyncio.sleep(1)
    assert room.point(PLANNED) == 660
    room.recorded.append("Encore")
    room.media.plan_moved()
    await asyncio.sleep(1)
    assert room.point(PLANNED) == 600


@virtual
async def test_while_it_records_the_measured_fall_counts_if_it_is_the_faster() -> None:
    room = Room(LineupEntry(reserve_bytes=0))
    room.has(SLOT_STATE.at(2), SlotState.EMPTY)
    room.has(TRANSPORT, Transport.RECORDING)
    free = await room.falls(PER_S * 1.1, 120, 40e9)
    assert room.point(BASIS) is Basis.MEASURED
    assert room.point(LEFT) == pytest.approx(free / (PER_S * 1.1), abs=3)
    assert room.point(WRITES) is Writes.WELL


@virtual
async def test_a_codec_that_is_easy_on_the_medium_still_counts_with_its_rate() -> None:
    room = Room(LineupEntry(reserve_bytes=0))
    room.has(SLOT_STATE.at(2), SlotState.EMPTY)
    room.has(CODEC, "LongGOP-50")
    room.has(TRANSPORT, Transport.RECORDING)
    await room.falls(3e6, 120, 40e9)
    assert (room.point(BASIS), room.point(WRITES)) == (Basis.CODEC, Writes.WELL)


@pytest.mark.parametrize("share", [0.5, 2.0])
def test_a_constant_codec_that_falls_otherwise_records_something_else(share: float) -> None:
    @virtual
    async def story() -> None:
        room = Room()
        room.has(TRANSPORT, Transport.RECORDING)
        await room.falls(PER_S * share, 120, 40e9)
        assert room.point(WRITES) is Writes.OTHERWISE

    story()


@virtual
async def test_a_recorder_that_rolls_and_writes_nothing_is_told() -> None:
    room = Room()
    room.has(TRANSPORT, Transport.RECORDING)
    await room.falls(0, 90, 40e9)
    assert room.point(WRITES) is Writes.NOTHING


@virtual
async def test_a_codec_nobody_knows_leaves_the_boxs_own_figure_and_says_so() -> None:
    room = Room()
    room.has(CODEC, "somebody's")
    room.medium(1, None, 500)
    room.medium(2, None, 700)
    await asyncio.sleep(1)
    assert (room.point(LEFT), room.point(BASIS)) == (1200, Basis.DEVICE)


@virtual
async def test_what_is_old_or_never_told_is_not_known() -> None:
    room = Room()
    await asyncio.sleep(1)
    assert room.point(LEFT) is not None
    room.writer.lost()
    await asyncio.sleep(1)
    assert (room.point(LEFT), room.point(ENOUGH), room.point(LEAST)) == (None, None, None)
    assert room.media.left("iso-1").why == "its media are not read now"


@virtual
async def test_a_recorder_without_a_medium_has_nothing_left() -> None:
    room = Room(LineupEntry(plan=(PlannedTake("Suite", 60.0),)))
    room.has(SLOT_STATE.at(1), SlotState.EMPTY)
    room.has(SLOT_STATE.at(2), SlotState.ERROR)
    await asyncio.sleep(1)
    assert (room.point(LEFT), room.point(ENOUGH)) == (0, False)
    assert room.media.left("iso-1").why == "it has no medium that can be written"


@virtual
async def test_a_medium_that_is_changed_begins_its_fall_anew() -> None:
    room = Room()
    room.has(TRANSPORT, Transport.RECORDING)
    await room.falls(PER_S, 120, 40e9)
    assert room.media.left("iso-1").measured_per_s is not None
    room.has(SLOT_NAME.at(1), "TIDE-9")
    room.has(SLOT_FREE.at(1), int(480e9))
    await asyncio.sleep(1)
    assert room.media.left("iso-1").measured_per_s is None
