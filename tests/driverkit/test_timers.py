"""Are timers called in their order, each once, and never when taken back? As `loop.call_at` is documented to do."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Any

from stagectl.driverkit.timers import CANCELLED_MOST, Timers

PATIENCE_S = 10.0


@contextlib.asynccontextmanager
async def done() -> AsyncIterator[asyncio.Future[None]]:
    """Awaited at the end, within a deadline: a timer sets it."""
    end: asyncio.Future[None] = asyncio.get_running_loop().create_future()
    yield end
    async with asyncio.timeout(PATIENCE_S):
        await end


def timers() -> tuple[Timers, float]:
    loop = asyncio.get_running_loop()
    return Timers(loop), loop.time()


async def test_each_is_called_once_in_the_order_of_their_times_and_then_of_their_making() -> None:
    told: list[str] = []
    made, now = timers()
    async with done() as end:
        made.at(now + 0.02, lambda: end.set_result(None))
        for name, after_s in (("c", 0.01), ("a", 0.0), ("d", 0.01), ("b", 0.005)):
            made.at(now + after_s, lambda name=name: told.append(name))  # type: ignore[misc]
    assert told == ["a", "b", "c", "d"]


async def test_none_is_called_before_its_time() -> None:
    loop = asyncio.get_running_loop()
    made, now = timers()
    late: list[float] = []
    async with done() as end:
        for after_s in (0.011, 0.003, 0.007):
            made.at(now + after_s, lambda at=now + after_s: late.append(loop.time() - at))  # type: ignore[misc]
        made.at(now + 0.02, lambda: end.set_result(None))
    assert len(late) == 3
    assert min(late) >= -1e-6  # the step of the loop's clock


async def test_one_taken_back_is_not_called_also_by_another_of_the_same_moment() -> None:
    told: list[str] = []
    made, now = timers()
    async with done() as end:
        first = made.at(now, lambda: told.append("first"))

        def take_back() -> None:
            second.cancel()

        made.at(now, take_back)
        second = made.at(now, lambda: told.append("second"))
        first.cancel()
        first.cancel()
        made.at(now, lambda: end.set_result(None))
    second.cancel()  # after its time: nothing happens
    assert told == []


async def test_one_that_fails_keeps_nobody_from_being_called_and_is_told_to_the_loop() -> None:
    said: list[Any] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: said.append(context["exception"]))
    made, now = timers()
    slip = ValueError("a slip")

    def fail() -> None:
        raise slip

    async with done() as end:
        made.at(now, fail)
        made.at(now, lambda: end.set_result(None))
    assert said == [slip]


async def test_one_made_for_now_waits_for_the_next_turn_of_the_loop() -> None:
    turns: list[str] = []
    made, now = timers()
    async with done() as end:

        def first() -> None:
            made.at(0.0, lambda: turns.append("again"))  # long ago
            made.at(0.0, lambda: end.set_result(None))
            asyncio.get_running_loop().call_soon(turns.append, "loop")
            turns.append("first")

        made.at(now, first)
    assert turns == ["first", "loop", "again"]


async def test_those_taken_back_do_not_pile_up() -> None:
    made, now = timers()
    kept = made.at(now + 3600, lambda: None)
    for _ in range(50 * CANCELLED_MOST):
        made.at(now + 3600, lambda: None).cancel()
    assert len(made._heap) <= 2 * CANCELLED_MOST + 2
    kept.cancel()


async def test_a_nearer_one_is_not_held_up_by_a_farther_one_that_came_first() -> None:
    made, now = timers()
    made.at(now + 3600, lambda: None)
    async with done() as end:
        made.at(now, lambda: end.set_result(None))
