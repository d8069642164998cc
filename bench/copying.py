"""How fast does the copy engine copy, and how late is its loop meanwhile? As a process: a house in, figures out.

With "idle" instead of a house: how late a loop is that has nothing to do, until its input ends.
"""

import asyncio
import json
import sys
import time
from typing import Any

from stagectl.copyoff.job import State
from tests.copyoff.copier import House, copying

TICK_S = 0.001


async def lags(until: asyncio.Event) -> list[float]:
    """How late a task is that wants to be woken each millisecond, ms."""
    late: list[float] = []
    while not until.is_set():
        due = time.perf_counter() + TICK_S
        await asyncio.sleep(TICK_S)
        late.append(1e3 * (time.perf_counter() - due))
    return late


def lateness(late: list[float]) -> dict[str, float]:
    """What is told of it."""
    late = sorted(late)
    return {
        "lag_p50_ms": late[len(late) // 2],
        "lag_p99_ms": late[len(late) * 99 // 100],
        "lag_max_ms": late[-1],
    }


async def idle() -> dict[str, float]:
    """Only look at the loop."""
    done = asyncio.Event()
    watching = asyncio.create_task(lags(done))
    print("ready", flush=True)
    await asyncio.to_thread(sys.stdin.read)
    done.set()
    return lateness(await watching)


async def copy(house: House) -> dict[str, Any]:
    """Copy it, and look at the loop."""
    done = asyncio.Event()
    async with copying(house, look_apart_s=(0.0, 0.0)) as copier:
        watching = asyncio.create_task(lags(done))
        began, spent = time.monotonic(), time.process_time()
        await copier.whole_run()
        took, spent = time.monotonic() - began, time.process_time() - spent
        done.set()
        late = await watching
        wrong = [copy.why for job in copier.all() for copy in job.copies if copy.state is not State.PUBLISHED]
        size = sum(job.size for job in copier.all())
    return {"seconds": took, "processor_s": spent, "bytes": size, "wrong": wrong, **lateness(late)}


async def main() -> None:
    line = sys.stdin.readline().strip()
    told = await (idle() if line == "idle" else copy(House(**json.loads(line))))
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    asyncio.run(main())
