"""How does a test wait for something in a house? By its news, not by the time."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from stagectl.shoot.house import House

QUIET_S = 0.05  # what gives no such news is looked at so often


async def until(house: House, true: Callable[[], object], within_s: float) -> None:
    """Wait until something is so: looked at after every change of a point and every journal entry, and now and then.

    Raises TimeoutError: not within `within_s`.
    """
    news = asyncio.Event()
    view = house.board.view(news.set)
    follower = house.chronicle.follow(news.set)
    try:
        async with asyncio.timeout(within_s):
            while not true():
                news.clear()
                view.take()
                follower.take()
                with suppress(TimeoutError):
                    async with asyncio.timeout(QUIET_S):
                        await news.wait()
    finally:
        house.board.drop_view(view)
        house.chronicle.unfollow(follower)
