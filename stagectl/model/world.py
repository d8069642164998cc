"""Through which doors does the product touch the outside: clock, network, disk, chance?

One `World` is built in `daemon.py` (real, see `driverkit.real`) or by a test (virtual) and handed to every
constructor. Nothing else reads a clock, opens a socket or file, starts a thread or draws a random number.
"""

import asyncio
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

Stream = random.Random  # one consumer's own stream of chance


class Handle(Protocol):
    """A timer that can be taken back."""

    def cancel(self) -> None: ...


class Clock(Protocol):
    """Monotonic time for every deadline and age; wall time only to be written down."""

    def now(self) -> float:
        """Seconds, monotonic; never the same value twice, so that "younger than" is strict."""

    def wall(self) -> datetime:
        """UTC wall time, for journals and pages; never compared to decide anything."""

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        """Call `do` once, at `at` on the scale of `now` or right after."""


class Network(Protocol):
    """Dials boxes. Servers of libraries (HTTP) land on the loop's own `create_server`."""

    async def connect(
        self, factory: Callable[[], asyncio.BufferedProtocol], host: str, port: int, *, user_timeout_s: float
    ) -> tuple[asyncio.Transport, asyncio.BufferedProtocol]:
        """Open a TCP stream with no delay for small segments.

        Args:
            factory: makes the protocol that receives.
            host: name or address.
            port: 1 to 65535.
            user_timeout_s: unacknowledged bytes older than this end the connection (half-open links).
        Raises:
            OSError: refused, unreachable, no such name.
        """


class Append(Protocol):
    """One file being written at its end."""

    def write(self, data: bytes) -> None:
        """Write all of `data` at the end, at once. Raises OSError, perhaps after a part."""

    async def sync(self) -> None:
        """Return when all that was written survives a power cut. Raises OSError: the file must not be trusted again."""

    def close(self) -> None: ...


class Storage(Protocol):
    """One directory: names, no paths."""

    def names(self) -> list[str]:
        """Sorted names of the files."""

    def read(self, name: str) -> bytes: ...

    def append_to(self, name: str) -> Append:
        """Open for appending, made if absent."""

    def rename(self, old: str, new: str) -> None: ...

    def remove(self, name: str) -> None: ...

    async def sync_names(self) -> None:
        """Make new, renamed and removed names survive a power cut."""

    def exposure(self, name: str) -> str:
        """Why a file of secrets is not safe from others, a clause with the remedy; empty: it is its owner's alone."""


class Chance(Protocol):
    """Random numbers, one stream a consumer, so that a replay with a seed stays the same."""

    def stream(self, name: str) -> Stream: ...


class Ids(Protocol):
    """New ids, time-ordered, that carry when and in which epoch they were born."""

    def new(self) -> str:
        """26 characters A-Z 0-9: milliseconds since 1970 first (Crockford base 32), then chance."""

    def secret(self) -> str:
        """43 characters A-Z a-z 0-9 - _ that nobody can guess: 256 random bits."""


class Offload(Protocol):
    """The only door to threads: long or blocking work."""

    async def run(self, name: str, do: Callable[..., Any], *args: Any) -> Any: ...


@dataclass(frozen=True, slots=True)
class World:
    """All doors to the outside, handed to every constructor."""

    clock: Clock
    network: Network
    storage: Storage
    chance: Chance
    ids: Ids
    offload: Offload
