"""Is a loop that stands still noticed, and named while it stands?

Source: own construction, after P09 of the reliability goals.
"""

import asyncio
import threading
from pathlib import Path
from typing import Any

from stagectl.driverkit.lag import BEAT_S, BUCKETS, DRAIN_S, STALL_S, Culprit, Heart, Lag, Stall
from stagectl.driverkit.sampler import LoopSampler
from stagectl.shoot.stalls import LONG_S, TOLD_S, Stalls
from tests.house import toy_house
from tests.model.hand_clock import HandClock
from tests.shoot.hall import house as hall_of

SLOW = Culprit("iso-1", "box iso-1", "slow_box.hear, line 7")


class Eye:
    """A sampler that has seen what a test says."""

    def __init__(self) -> None:
        self.seen: Culprit | None = None
        self.beats = 0

    def beat(self) -> None:
        self.beats += 1

    def take(self) -> Culprit | None:
        seen, self.seen = self.seen, None
        return seen


def test_each_beat_is_counted_by_how_late_it_came_and_a_stall_is_told_once() -> None:
    clock, lag, eye = HandClock(), Lag(), Eye()
    stalls: list[Stall] = []
    heart = Heart(clock, lag, eye, stalls.append)
    heart.start()
    clock.go(10 * BEAT_S + 0.01)
    assert (sum(lag.counts), lag.stalls) == (10, 0)
    eye.seen = SLOW
    clock._now += 1.3  # the loop stands: timers come late
    clock.go(0)
    assert [(round(stall.seconds, 1), stall.culprit) for stall in stalls] == [(1.2, SLOW)]
    assert lag.stalls == 1
    assert lag.counts[BUCKETS.index(2.5)] == 1
    clock._now += BEAT_S + STALL_S / 2
    clock.go(0)
    assert lag.stalls == 1, "late, but no stall"
    heart.stop()
    heart.stop()
    assert clock.waiting == 0


def test_what_comes_in_while_we_stood_still_or_right_after_may_have_waited_as_long() -> None:
    clock, lag = HandClock(), Lag()
    assert lag.waited_s(clock.now()) == 0, "nobody beats"
    heart = Heart(clock, lag, None, lambda stall: None)
    heart.start()
    clock.go(10 * BEAT_S)
    assert lag.waited_s(clock.now()) == 0
    clock._now += 30.0
    assert round(lag.waited_s(clock.now())) == 30, "before the beat"
    clock.go(0)
    assert round(lag.waited_s(clock.now())) == 30, "right after it"
    clock.go(DRAIN_S + BEAT_S)
    assert lag.waited_s(clock.now()) == 0
    heart.stop()
    clock._now += 30.0
    assert lag.waited_s(clock.now()) == 0


async def test_a_driver_that_blocks_is_named_while_it_blocks(tmp_path: Path) -> None:
    named = threading.Event()
    found: list[Culprit] = []

    def on_named(culprit: Culprit) -> None:
        found.append(culprit)
        named.set()

    async with toy_house(tmp_path) as toys:
        sampler = LoopSampler(on_named)
        stalls = Stalls(toys.house, toys.house.devices)
        heart = Heart(toys.house.world.clock, toys.house.lag, sampler, stalls.stalled)
        sampler.start()
        heart.start()
        driver: Any = toys.house.boxes["iso-2"]._driver
        hear = driver.hear

        def slow_hear(*args: Any) -> Any:
            driver.hear = hear
            assert named.wait(20), "it is named while it still blocks"
            return hear(*args)

        driver.hear = slow_hear
        toys.boxes["iso-2"].change({"input.present": False})
        await toys.until(lambda: "loop" in toys.house.trouble)
        heart.stop()
        sampler.stop()
        (culprit,) = found
        assert culprit.device == "iso-2"
        assert "slow_hear" in culprit.place
        assert culprit.stack[-1].startswith("threading.")
        assert "the driver of Rec 2 held it up in " in toys.house.trouble["loop"]
        assert [row.alarm.id for row in toys.house.teller.wrong() if row.alarm.id == "stagectl.loop"]
        assert [data["device"] for kind, _, data in toys.journal.records if kind == "daemon"] == ["iso-2"]


async def test_a_loop_that_turns_is_never_named() -> None:
    found: list[Culprit] = []
    sampler = LoopSampler(found.append)
    clock = HandClock()
    heart = Heart(clock, Lag(), sampler, lambda stall: None)
    sampler.start()
    heart.start()
    for _ in range(10):
        sampler.beat()
        await asyncio.sleep(0.05)
    sampler.stop()
    assert found == []


def test_a_driver_that_holds_everything_up_for_long_is_left_alone_and_the_others_are_not() -> None:
    clock = HandClock()
    house = hall_of(clock)
    stalls = Stalls(house, house.devices)
    stalls.stalled(Stall(LONG_S, SLOW))
    assert list(house.devices.quarantined) == ["iso-1"]
    clock.go(1)
    assert "iso-1.left-alone" in [alarm.id for alarm in house.alarms.wrong()]
    clock.go(TOLD_S)
    assert house.trouble == {}


def test_a_driver_that_stalls_three_times_in_a_minute_is_left_alone() -> None:
    clock = HandClock()
    house = hall_of(clock)
    stalls = Stalls(house, house.devices)
    for seconds in (0, 40, 40, 10):
        clock.go(seconds)
        stalls.stalled(Stall(STALL_S, SLOW))
        left = list(house.devices.quarantined)
    assert left == ["iso-1"]


def test_a_stall_that_nobody_saw_is_told_without_a_name() -> None:
    house = hall_of(HandClock())
    Stalls(house, house.devices).stalled(Stall(0.7, None))
    assert house.trouble["loop"] == "Everything stood still for 0.7 s: it is not known who held it up."
    assert not house.devices.quarantined
