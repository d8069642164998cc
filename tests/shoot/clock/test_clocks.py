"""Is each recorder's timecode told as it is: in step, apart, free, standing, jumped, or counted otherwise?

Recorders are pretended; their labels come from the house clock of the simulators, which is no code of the product.
"""

import asyncio
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import INPUT_FORMAT, TIMECODE, TIMECODE_SOURCE, TRANSPORT, Transport
from stagectl.model.points import Quality
from stagectl.shoot.clock.part import AGREED, ANSWERS, OFFSET, STATE, WHY, Clocks, ClockState
from stagectl.site import LineupEntry
from stagectl_simulators.house_clock import frames_in, label_of, rate_named
from tests.driverkit.memory import VirtualClock, virtual

NAMES = ("iso-1", "iso-2", "iso-3", "iso-4")


@dataclass
class Deck:
    """A pretended recorder: what it labels the present moment, and how slow its link is."""

    name: str
    board: Board
    rate: str = "25"
    ppm: float = 0.0
    offset: int = 0
    stands: bool = False
    jumped: int = 0
    chance: random.Random = field(default_factory=lambda: random.Random(4))

    def __post_init__(self) -> None:
        self.writer = self.board.writer(self.name)
        self.writer.declare(TIMECODE, TRANSPORT, INPUT_FORMAT, TIMECODE_SOURCE)
        self.say(TRANSPORT.name, Transport.PREVIEW)
        self.say(INPUT_FORMAT.name, {"25": "1080p25", "50": "1080p50"}.get(self.rate, "1080p2997"))
        self.say(TIMECODE_SOURCE.name, "external")
        self.frozen = ""

    def say(self, name: str, value: Any) -> None:
        now = self.board.clock.now()
        self.writer.asked_at, self.writer.read_at = now - 0.001, now
        self.writer.put(name, value)

    def label(self, at: float) -> str:
        rate = rate_named(self.rate.replace(" df", " DF"))
        return label_of(frames_in(36_000 + at * (1 + self.ppm * 1e-6), rate) + self.offset + self.jumped, rate)

    def look(self, done: Callable[[], None]) -> object:
        """The question leaves now; its answer comes some milliseconds later."""
        clock = self.board.clock
        asked_at = clock.now()
        there, back = self.chance.uniform(0.0002, 0.004), self.chance.uniform(0.0002, 0.004)

        def answer() -> None:
            label = self.frozen if self.stands and self.frozen else self.label(asked_at + there)
            self.frozen = label
            self.writer.asked_at, self.writer.read_at = asked_at, clock.now()
            self.writer.put(TIMECODE.name, label)
            done()

        clock.later(asked_at + there + back, answer)
        return self


class Room:
    """Four decks and the part that compares them."""

    def __init__(self, wanted: LineupEntry | None = None, **changed: dict[str, Any]) -> None:
        clock = VirtualClock(asyncio.get_running_loop())
        self.board = Board(clock)
        own = {name.replace("_", "-"): more for name, more in changed.items()}
        self.decks = {
            name: Deck(name, self.board, **own.get(name, {}), chance=random.Random(place))
            for place, name in enumerate(NAMES)
        }
        called = {name: f"Rec {place}" for place, name in enumerate(NAMES, 1)}
        self.clocks = Clocks(
            self.board,
            wanted or LineupEntry(),
            called,
            random.Random(9),
            lambda name, points, done: self.decks[name].look(done),
        )

    def state(self, name: str) -> ClockState:
        reading = self.board.get("clock", STATE.at(name))
        assert (reading.quality is Quality.GOOD) == (reading.value is not ClockState.UNKNOWN)
        assert reading.value is not None
        return reading.value

    def why(self, name: str) -> str:
        return self.board.get("clock", WHY.at(name)).value or ""

    def agreed(self) -> bool | None:
        reading = self.board.get("clock", AGREED)
        return reading.value if reading.quality is Quality.GOOD else None


@virtual
async def test_four_recorders_on_one_generator_are_in_step() -> None:
    room = Room()
    await room.clocks.sample()
    assert [room.state(name) for name in NAMES] == [ClockState.IN_STEP] * 4
    assert room.agreed() is True
    offsets = [room.board.get("clock", OFFSET.at(name)).value for name in NAMES]
    assert all(value is not None and abs(value) < 0.1 for value in offsets)
    assert min(one.answers for one in room.clocks.told().values()) >= ANSWERS - 4  # so many fit into a sampling


@virtual
async def test_one_that_is_three_frames_apart_is_named_with_its_offset() -> None:
    room = Room(iso_3={"offset": 3})
    await room.clocks.sample()
    assert room.state("iso-3") is ClockState.OFF
    assert room.why("iso-3").startswith("+3.0 frames, give or take 0.")
    assert (room.state("iso-1"), room.agreed()) == (ClockState.IN_STEP, False)


@virtual
async def test_a_fixed_lag_that_was_measured_is_taken_off() -> None:
    room = Room(LineupEntry(lags={"iso-3": 3}), iso_3={"offset": -3})
    await room.clocks.sample()
    assert room.agreed() is True


@virtual
async def test_a_label_that_stands_is_named() -> None:
    room = Room(iso_2={"stands": True})
    await room.clocks.sample()
    assert room.state("iso-2") is ClockState.FROZEN
    assert room.why("iso-2").startswith("its timecode stands at 10:")


@virtual
async def test_a_drop_frame_recorder_among_others_is_named_and_so_is_another_rate() -> None:
    room = Room(
        LineupEntry(timecode="29.97"),
        iso_1={"rate": "29.97"},
        iso_2={"rate": "29.97 df"},
        iso_3={"rate": "25"},
        iso_4={"rate": "29.97"},
    )
    await room.clocks.sample()
    assert [room.state(name) for name in NAMES] == [
        ClockState.IN_STEP,
        ClockState.DROP,
        ClockState.RATE,
        ClockState.IN_STEP,
    ]
    assert room.why("iso-2") == "it counts drop-frame, wanted 29.97"
    assert room.why("iso-3") == "it runs at 25, wanted 29.97"


@virtual
async def test_a_clock_that_says_it_is_its_own_runs_free() -> None:
    room = Room()
    room.decks["iso-4"].say(TIMECODE_SOURCE.name, "internal")
    await room.clocks.sample()
    assert (room.state("iso-4"), room.why("iso-4")) == (ClockState.FREE, "its timecode source is its own clock")


@pytest.mark.parametrize("ppm", [25, -30])
def test_a_clock_that_drifts_is_found_by_its_slope_though_it_says_nothing(ppm: int) -> None:
    @virtual
    async def story() -> None:
        room = Room(iso_3={"ppm": ppm})
        await asyncio.sleep(2400)
        assert room.state("iso-3") is ClockState.FREE
        found = re.fullmatch(r"it drifts by ([+-][0-9]+) millionths", room.why("iso-3"))
        assert found is not None
        assert abs(int(found[1]) - ppm) <= 5
        assert [room.state(name) for name in ("iso-1", "iso-2", "iso-4")] == [ClockState.IN_STEP] * 3

    story()


@virtual
async def test_a_jump_is_named_and_forgotten_when_it_is_in_step_again() -> None:
    room = Room()
    await room.clocks.sample()
    room.decks["iso-1"].jumped = 50
    await room.clocks.sample(12)
    assert room.state("iso-1") is ClockState.JUMPED
    assert room.why("iso-1").startswith("it jumped by +50 frames to 10:")
    room.decks["iso-1"].jumped = 0
    await asyncio.sleep(1)
    await room.clocks.sample()
    await asyncio.sleep(10)
    await room.clocks.sample()
    assert room.state("iso-1") is ClockState.IN_STEP


@virtual
async def test_the_daily_jam_is_no_jump() -> None:
    room = Room(LineupEntry(jam="10:01:42:00"))
    await room.clocks.sample()
    for deck in room.decks.values():
        deck.jumped = 5
    await room.clocks.sample()
    assert room.agreed() is True


@virtual
async def test_a_recorder_of_another_speed_than_its_format_says_slips_again_and_again() -> None:
    room = Room(iso_2={"ppm": -1000.0})  # 23.976 counted as 24 differs by as much
    await asyncio.sleep(200)
    await room.clocks.sample()
    assert room.state("iso-2") is ClockState.RATE
    assert room.why("iso-2") == "it slips against 25 frames a second again and again"


@virtual
async def test_a_recorder_that_shows_a_clip_is_not_judged() -> None:
    room = Room()
    room.decks["iso-2"].say(TRANSPORT.name, Transport.STOPPED)
    await room.clocks.sample()
    assert room.state("iso-2") is ClockState.UNKNOWN
    assert room.agreed() is None


@virtual
async def test_a_recorder_that_comes_back_from_a_clip_did_not_jump() -> None:
    room = Room()
    await room.clocks.sample()
    deck = room.decks["iso-2"]
    deck.say(TRANSPORT.name, Transport.STOPPED)
    deck.jumped = 90_000
    await room.clocks.sample()
    deck.jumped = 0
    deck.say(TRANSPORT.name, Transport.PREVIEW)
    await room.clocks.sample()
    assert room.state("iso-2") is ClockState.IN_STEP


@virtual
async def test_across_midnight_nothing_jumps() -> None:
    room = Room()
    for deck in room.decks.values():
        deck.offset = int((86_400 - 36_000 - 101.5) * 25)
    await room.clocks.sample(60)
    assert room.agreed() is True
    assert room.decks["iso-1"].label(room.board.clock.now()).startswith("00:00:")


@virtual
async def test_fifty_and_twenty_five_frames_of_one_generator_are_compared_in_time() -> None:
    room = Room(LineupEntry(timecode="50"), **{name.replace("-", "_"): {"rate": "50"} for name in NAMES})
    await room.clocks.sample()
    assert room.agreed() is True


@virtual
async def test_the_reference_is_the_sites_or_the_one_in_the_middle() -> None:
    room = Room(iso_3={"offset": 3})
    await room.clocks.sample()
    assert room.clocks.reference() in ("iso-1", "iso-2", "iso-4")
    named = Room(LineupEntry(reference="iso-3"), iso_3={"offset": 3})
    await named.clocks.sample()
    assert (named.clocks.reference(), named.state("iso-3")) == ("iso-3", ClockState.IN_STEP)
    assert named.state("iso-1") is ClockState.OFF
