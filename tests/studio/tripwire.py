"""Does a run touch reality? Real clocks, chance, threads, sockets and files are wired while a seed runs.

What it can't see: a name bound before the wire was laid (`from time import monotonic`), `datetime.now`, and C code. The
hash of the same seed in two processes finds what matters of those.
"""

import os
import random
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Final

WIRED: Final[tuple[tuple[Any, str], ...]] = (
    *((time, name) for name in ("time", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "sleep")),
    (os, "urandom"),
    (random, "_urandom"),
    *((random, name) for name in ("random", "randint", "randrange", "choice", "shuffle", "uniform", "getrandbits")),
    (uuid, "uuid1"),
    (uuid, "uuid4"),
    (threading.Thread, "start"),
)
EVENTS: Final = ("socket.", "open", "subprocess.Popen", "os.fork", "os.listdir", "os.scandir", "os.remove", "os.rename")
ALLOWED: Final = (
    # file of any caller: what it may do, and why
    ("<frozen importlib", "open"),  # a module that is first wanted during the run
    ("<frozen importlib", "os.listdir"),
    ("<frozen importlib", "time.time"),
    ("linecache.py", "open"),  # source lines of a traceback
    ("tokenize.py", "open"),
    ("stagectl/shoot/scenes.py", "os.scandir"),  # a site's scene files are read at the start
    ("stagectl/yamlfile.py", "open"),
    ("stagectl/inlets/http/desk_page.py", "open"),  # the page as it was built, read at the start
    ("stagectl/inlets/http/desk_page.py", "os.listdir"),
    ("/aiohttp/", "time.time"),  # the Date header, replaced by ours
    ("/aiohttp/", "time.monotonic"),  # its client's pool
)
_HERE: Final = __file__
_LIBRARY: Final = f"{Path(os.__file__).parent}/"  # who asked the standard library is named, not the library


class RealityError(AssertionError):
    """A run touched the real world."""


class Tripwire:
    """What was touched, by "what file:line"; each place once."""

    def __init__(self) -> None:
        self.hits: dict[str, int] = {}

    def touch(self, what: str, frame: FrameType | None) -> None:
        place = first = None
        while frame is not None:
            name = frame.f_code.co_filename
            if name != _HERE:
                first = first or f"{name}:{frame.f_lineno}"
                if place is None and not name.startswith(_LIBRARY) and not name.startswith("<"):
                    place = f"{name}:{frame.f_lineno}"
                if any(part in name and what.startswith(act) for part, act in ALLOWED):
                    return
            frame = frame.f_back
        key = f"{what} at {place or first}"
        self.hits[key] = self.hits.get(key, 0) + 1

    def check(self) -> None:
        """Raises RealityError: something was touched; names file and line."""
        if self.hits:
            raise RealityError("The run touched reality: " + "; ".join(self.hits))


_ARMED: list[Tripwire] = []  # an audit hook can't be taken back, so it looks whether somebody listens
_HOOKED: list[bool] = []


def _audit(event: str, args: tuple[Any, ...]) -> None:
    if _ARMED and event.startswith(EVENTS):
        if event == "open" and isinstance(args[0], int):
            return  # a handle that is open already
        _ARMED[-1].touch(event, sys._getframe(1))


@contextmanager
def tripwire() -> Iterator[Tripwire]:
    """Lay the wires; the caller calls `check` after the run."""
    wire = Tripwire()
    if not _HOOKED:
        sys.addaudithook(_audit)
        _HOOKED.append(True)
    before = [(owner, name, getattr(owner, name)) for owner, name in WIRED]
    for owner, name, real in before:
        setattr(owner, name, _wired(wire, f"{getattr(owner, '__name__', owner)}.{name}", real))
    _ARMED.append(wire)
    try:
        yield wire
    finally:
        _ARMED.remove(wire)
        for owner, name, real in before:
            setattr(owner, name, real)


def _wired(wire: Tripwire, what: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def touched(*args: Any, **settings: Any) -> Any:
        wire.touch(what, sys._getframe(1))
        return real(*args, **settings)

    return touched
