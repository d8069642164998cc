"""The real world: clock, sockets, disk, threads and chance of this machine."""

import asyncio
import os
import random
import secrets
import socket
import stat
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from stagectl.driverkit.timers import Timer, Timers
from stagectl.model.world import Append, World

BEHIND_NICE: Final = (
    10  # of -20 to 19: while clips are copied off, the loop goes first; bench copy shows how late it is
)
_BASE32: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford


class RealClock:
    """The loop's monotonic time, made strict: the same value is never given twice."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._timers = Timers(loop)
        self._last = 0.0

    def now(self) -> float:
        at = time.monotonic()
        if at <= self._last:
            at = self._last + 1e-9
            while at <= self._last:  # beyond 2**23 s a nanosecond is less than a step
                at += 1e-7
        self._last = at
        return at

    def wall(self) -> datetime:
        return datetime.now(UTC)

    def later(self, at: float, do: Callable[[], None]) -> Timer:
        return self._timers.at(at, do)


class RealNetwork:
    """TCP over the loop, with NODELAY, keep-alive off and a limit on unacknowledged bytes."""

    async def connect(
        self, factory: Callable[[], asyncio.BufferedProtocol], host: str, port: int, *, user_timeout_s: float
    ) -> tuple[asyncio.Transport, asyncio.BufferedProtocol]:
        loop = asyncio.get_running_loop()
        transport, protocol = await loop.create_connection(factory, host, port)
        found = transport.get_extra_info("socket")
        if found is not None:
            found.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if hasattr(socket, "TCP_USER_TIMEOUT"):
                found.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(user_timeout_s * 1000))
        return transport, protocol


class _File:
    def __init__(self, path: Path, pool: ThreadPoolExecutor) -> None:
        self._fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o600)
        self._pool = pool

    def write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[os.write(self._fd, view) :]

    async def sync(self) -> None:
        await asyncio.get_running_loop().run_in_executor(self._pool, os.fdatasync, self._fd)

    def close(self) -> None:
        os.close(self._fd)


class RealStorage:
    """One directory of this machine's disk, made if absent, for its owner's eyes only."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.folder = folder
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="journal")

    def names(self) -> list[str]:
        return sorted(entry.name for entry in self.folder.iterdir() if entry.is_file())

    def read(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()

    def append_to(self, name: str) -> Append:
        return _File(self.folder / name, self._pool)

    def rename(self, old: str, new: str) -> None:
        (self.folder / old).rename(self.folder / new)

    def remove(self, name: str) -> None:
        (self.folder / name).unlink()

    async def sync_names(self) -> None:
        await asyncio.get_running_loop().run_in_executor(self._pool, self._sync_names)

    def exposure(self, name: str) -> str:
        path = self.folder / name
        found = path.lstat()
        if not stat.S_ISREG(found.st_mode):
            return "is no plain file. Put the file itself there"
        if found.st_uid != os.geteuid():
            return f"belongs to another user. As root: chown {os.geteuid()} {path}"
        if found.st_mode & 0o077:
            return f"can be read by others (mode {stat.S_IMODE(found.st_mode):04o}). Close it: chmod 600 {path}"
        return ""

    def _sync_names(self) -> None:
        handle = os.open(self.folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


class RealChance:
    """One stream for all, seeded by the system: only runs that are played again need one for each consumer."""

    def __init__(self) -> None:
        self._stream = random.Random(secrets.randbits(64))  # noqa: S311 - for jitter, not for secrets

    def stream(self, name: str) -> random.Random:
        return self._stream


class RealIds:
    """Time-ordered ids: 48 bits of milliseconds since 1970, 80 bits of chance, Crockford base 32."""

    def new(self) -> str:
        number = (time.time_ns() // 1_000_000 << 80) | secrets.randbits(80)
        return "".join(_BASE32[number >> shift & 31] for shift in range(125, -1, -5))

    def secret(self) -> str:
        return secrets.token_urlsafe(32)


class RealOffload:
    """A few threads for long work; never the loop. `close` lets those end that have nothing to do.

    Args:
        threads: how many.
        behind: the loop, and whatever else this machine does, goes before them.
    """

    def __init__(self, threads: int = 2, *, behind: bool = False) -> None:
        step_back = _step_back if behind else None
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="offload", initializer=step_back)

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._pool, do, *args)

    def close(self) -> None:
        """Take nothing more; what runs goes on to its end. Safe to call twice."""
        self._pool.shutdown(wait=False, cancel_futures=True)


def _step_back() -> None:
    """This thread waits for the processor behind others: a roll must not wait behind copies.

    Source: setpriority(2), "C library/kernel differences": on Linux a nice value is a thread's own.
    """
    if sys.platform == "linux":
        mine = threading.get_native_id()
        os.setpriority(os.PRIO_PROCESS, mine, max(BEHIND_NICE, os.getpriority(os.PRIO_PROCESS, mine)))


def elapsed_s() -> float:
    """Monotonic seconds, for a thread that has no loop and so no clock."""
    return time.monotonic()


def real_world(data: Path) -> World:
    """The world of this machine; call it inside the running loop. `data` holds journal and state."""
    loop = asyncio.get_running_loop()
    return World(RealClock(loop), RealNetwork(), RealStorage(data), RealChance(), RealIds(), RealOffload())
