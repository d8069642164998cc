"""Where does chance come from in the simulated studio? One stream per consumer, each from the seed and its own name.

A consumer that draws more or less shifts nobody else: shrinking a plan and comparing twins rest on it.
"""

import random
from base64 import urlsafe_b64encode
from collections.abc import Callable
from datetime import datetime
from hashlib import blake2b

_BASE32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford


class Chance:
    """Fulfils `Chance`; `of` gives each process streams of its own."""

    def __init__(self, seed: int | str, of: str = "") -> None:
        self._seed = seed
        self._of = of

    def stream(self, name: str) -> random.Random:
        """The same name gives a new stream that begins anew."""
        return random.Random(f"{self._seed}:{self._of}{name}")


class Ids:
    """Fulfils `Ids`: time-ordered by the host's wall clock, chance from the seed."""

    def __init__(self, wall: Callable[[], datetime], chance: random.Random) -> None:
        self._wall = wall
        self._chance = chance

    def new(self) -> str:
        number = (int(self._wall().timestamp() * 1000) << 80) | self._chance.getrandbits(80)
        return "".join(_BASE32[number >> shift & 31] for shift in range(125, -1, -5))

    def secret(self) -> str:
        """Of 256 bits, as the real ones; another one after each start, since the wall clock goes into it."""
        drawn = f"{self._wall().timestamp()}:{self._chance.getrandbits(256)}"
        return urlsafe_b64encode(blake2b(drawn.encode(), digest_size=32).digest()).decode().rstrip("=")
