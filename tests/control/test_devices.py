"""Does one sick driver stay alone: restarted within a budget, then put aside, taken back when a person says so?

Source of all rows: own construction; the budget of three restarts in a minute is our own choice.
"""

import asyncio
from collections.abc import Callable
from typing import Any

import pytest

from stagectl.control.devices import BUDGET, WITHIN_S, Devices
from tests.driverkit.memory import VirtualClock, until, virtual


class SickBox:
    """Runs until it is told to slip."""

    def __init__(self) -> None:
        self.runs = 0
        self.ended = 0
        self.trouble = ""
        self.slips: Callable[[int], float | None] = lambda run: None  # seconds until it slips; None: never

    async def run(self) -> None:
        self.runs += 1
        try:
            after_s = self.slips(self.runs)
            if after_s is None:
                await asyncio.Event().wait()
            await asyncio.sleep(after_s or 0)
            raise RuntimeError(f"slip {self.runs}")
        finally:
            self.ended += 1


class Ward:
    def __init__(self) -> None:
        self.boxes = {"iso-1": SickBox(), "iso-2": SickBox()}
        self.told: list[tuple[str, str, str]] = []
        boxes: Any = self.boxes
        self.devices = Devices(
            boxes,
            VirtualClock(asyncio.get_running_loop()),
            lambda device, what, why: self.told.append((device, what, why)),
        )


@virtual
async def test_a_driver_that_slips_is_run_again_and_the_others_never_notice() -> None:
    ward = Ward()
    ward.boxes["iso-1"].slips = lambda run: 0.1 if run <= BUDGET else None
    ward.devices.start()
    await asyncio.sleep(WITHIN_S)
    assert (ward.boxes["iso-1"].runs, ward.boxes["iso-2"].runs, ward.boxes["iso-2"].ended) == (BUDGET + 1, 1, 0)
    assert ward.devices.quarantined == {}
    assert [(device, what) for device, what, _ in ward.told] == [("iso-1", "driver-failed")] * BUDGET
    await ward.devices.stop()


@virtual
async def test_a_driver_over_its_budget_is_put_aside_alone() -> None:
    ward = Ward()
    ward.boxes["iso-1"].slips = lambda run: 0.0
    ward.devices.start()
    await asyncio.sleep(3600 / 2)
    assert (ward.boxes["iso-1"].runs, ward.boxes["iso-2"].ended) == (BUDGET + 1, 0)
    why = ward.devices.quarantined["iso-1"]
    assert why == "its driver failed 4 times in 60 s, last: slip 4"
    assert ward.boxes["iso-1"].trouble == why
    assert ward.told[-1] == ("iso-1", "quarantined", why)
    assert list(ward.devices.quarantined) == ["iso-1"]
    await ward.devices.stop()


@virtual
async def test_a_driver_that_slips_now_and_then_is_never_put_aside() -> None:
    ward = Ward()
    ward.boxes["iso-1"].slips = lambda run: WITHIN_S / BUDGET + 1
    ward.devices.start()
    await asyncio.sleep(200)
    assert ward.boxes["iso-1"].runs > 2 * BUDGET
    assert ward.devices.quarantined == {}
    await ward.devices.stop()


@virtual
async def test_a_device_that_was_put_aside_is_taken_back_with_a_new_budget() -> None:
    ward = Ward()
    sick = ward.boxes["iso-1"]
    sick.slips = lambda run: 0.0
    ward.devices.start()
    await until(lambda: "iso-1" in ward.devices.quarantined)
    sick.slips = lambda run: 0.0 if run < 2 * BUDGET else None
    ward.devices.retry("iso-1")
    ward.devices.retry("iso-2")  # well: nothing happens
    await asyncio.sleep(30)
    assert ward.devices.quarantined == {}
    assert (sick.runs, ward.boxes["iso-2"].runs) == (2 * BUDGET, 1)
    await ward.devices.stop()


@virtual
async def test_stopping_lets_go_of_every_box() -> None:
    ward = Ward()
    ward.boxes["iso-1"].slips = lambda run: 0.0
    ward.devices.start()
    await asyncio.sleep(0.5)  # iso-1 waits to be run again
    await ward.devices.stop()
    runs = [box.runs for box in ward.boxes.values()]
    await asyncio.sleep(30)
    assert [box.runs for box in ward.boxes.values()] == runs
    assert [box.ended for box in ward.boxes.values()] == runs


@pytest.mark.parametrize("slip", [KeyError("x"), TimeoutError(), AssertionError("?"), OSError(5, "broken")])
def test_any_slip_counts(slip: Exception) -> None:
    @virtual
    async def story() -> None:
        ward = Ward()

        async def run() -> None:
            raise slip

        ward.boxes["iso-1"].run = run  # type: ignore[method-assign]
        ward.devices.start()
        await until(lambda: "iso-1" in ward.devices.quarantined)
        await ward.devices.stop()

    story()
