"""How does a clip store get onto the network? A thread of its own beside the box, for as long as the box has power."""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from stagectl_simulators.clip_store import StoredFile, StoreSetup
from stagectl_simulators.clip_store_faults import StoreFaults

if TYPE_CHECKING:
    from stagectl_simulators.clip_store_ftp import StoreServer

END_S: Final = 5.0  # for the thread to end; it has nothing to wait for


class StoreMissingError(Exception):
    """The library that serves files is not installed: one sentence for the person."""


class ClipStore:
    """One recorder's clip store."""

    def __init__(self, setup: StoreSetup, now_s: Callable[[], float], epoch_s: float) -> None:
        """`now_s` and `epoch_s`: see `clip_store_ftp.Shelves`.

        Raises: StoreMissingError: pyftpdlib is not installed.
        """
        try:
            from stagectl_simulators.clip_store_ftp import Shelves  # noqa: PLC0415 - needed only where files are served
        except ImportError as error:
            raise StoreMissingError(
                "clips are not served: pyftpdlib is not installed. Install stagectl[simulate]."
            ) from error
        self.faults = StoreFaults()
        self.address = ("", 0)
        self._setup = setup
        self._shelves = Shelves(setup, self.faults, now_s, epoch_s)
        self._thread: threading.Thread | None = None
        self._bell: socket.socket | None = None

    def show(self, files: tuple[StoredFile, ...]) -> None:
        """These files lie there from now on."""
        self._shelves.show(files)

    def listed(self) -> list[dict[str, object]]:
        """Every file; see `clip_store_ftp.Shelves.listed`."""
        return self._shelves.listed()

    def open(self, host: str, port: int | None = None) -> tuple[str, int]:
        """Serve at the port of the setup, or at `port`; the address is returned, and kept for the next time.

        Raises: OSError: the address cannot be had.
        """
        from pyftpdlib.ioloop import IOLoop  # noqa: PLC0415 - as above

        from stagectl_simulators.clip_store_ftp import StoreServer  # noqa: PLC0415 - as above

        _quiet()
        loop = IOLoop()
        try:
            server = StoreServer((host, self._setup.port if port is None else port), self._shelves, loop)
        except OSError:
            loop.close()
            raise
        self.address = server.address
        self._bell, hears = socket.socketpair()
        loop.register(hears.fileno(), _Bell(hears), loop.READ)
        self._thread = threading.Thread(target=_serve, args=(server, hears), name="clip store", daemon=True)
        self._thread.start()
        return self.address

    def shut(self) -> None:
        """Leave the network: every session is closed. Harmless when it is off already."""
        if self._thread is not None and self._bell is not None:
            self._bell.close()
            self._thread.join(END_S)
            self._thread = self._bell = None


class _Bell:
    """The end of a socket pair in the server's loop: when the other end is closed, the store is to leave."""

    def __init__(self, hears: socket.socket) -> None:
        self.rung = False
        self._hears = hears
        self._fileno = hears.fileno()

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return False

    def handle_read_event(self) -> None:
        self.rung = True

    def handle_close(self) -> None:
        self.rung = True

    def handle_error(self) -> None:
        self.rung = True

    def close(self) -> None:
        self._hears.close()


def _serve(server: StoreServer, hears: socket.socket) -> None:
    """The thread: until the bell rings."""
    loop: Any = server.ioloop
    bell: _Bell = loop.socket_map[hears.fileno()]
    wait_s: float | None = None
    while not bell.rung:
        wait_s = loop.loop(timeout=wait_s, blocking=False)
    server.close_all()


def _quiet() -> None:
    """What the library has to say to a log is not for the terminal."""
    log = logging.getLogger("pyftpdlib")
    if not log.handlers:
        log.addHandler(logging.NullHandler())
