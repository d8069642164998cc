"""When do a box's bytes leave for one client? At once; late or in crumbs if a fault says so; never without bound."""

from __future__ import annotations

import asyncio
import socket
import struct
from collections import deque
from collections.abc import Callable
from typing import Final

UNREAD_LIMIT: Final = 1 << 20  # bytes a client may leave unread before it is closed; own choice, hours of replies
CRUMB_PAUSE_S: Final = 0.002  # between single bytes; own choice, far above what a kernel glues together
RESET_PAUSE_S: Final = 0.02  # half a reply lies in the peer's buffer before the reset follows


class Outgoing:
    """The way out to one client: keeps the order whatever the delays, and closes when all has left."""

    def __init__(self, transport: asyncio.Transport, written: Callable[[bytes], None]) -> None:
        """`written` is called with each segment as it is handed to the socket, for the wire log."""
        self._transport = transport
        self._written = written
        self._loop = asyncio.get_running_loop()
        self._waiting: deque[tuple[float, bytes]] = deque()  # (loop time, bytes), in order
        self._waiting_bytes = 0
        self._timer: asyncio.TimerHandle | None = None
        self._ending = False

    def send(self, data: bytes, *, latency_s: float, crumbs: bool) -> bool:
        """Send now, or later by `latency_s`, or byte by byte. False: the client reads nothing, and was closed."""
        if self._ending or self._transport.is_closing() or not data:
            return True
        if self._waiting_bytes + self._transport.get_write_buffer_size() + len(data) > UNREAD_LIMIT:
            self.abort()
            return False
        if not (latency_s or crumbs or self._waiting):
            self._write(data)
            return True
        due = max(self._loop.time() + latency_s, self._waiting[-1][0] if self._waiting else 0.0)
        pieces = [data[at : at + 1] for at in range(len(data))] if crumbs else [data]
        for count, piece in enumerate(pieces):
            self._waiting.append((due + count * CRUMB_PAUSE_S, piece))
        self._waiting_bytes += len(data)
        self._arm()
        return True

    def end(self) -> None:
        """Close when everything has left."""
        self._ending = True
        if not self._waiting:
            self._transport.close()

    def reset_after(self, data: bytes) -> None:
        """Send a last piece, then reset the connection: the peer sees no orderly end."""
        self._forget()
        self._ending = True
        self._write(data)
        self._timer = self._loop.call_later(RESET_PAUSE_S, self.abort)

    def abort(self) -> None:
        """Reset the connection now; what waits is lost."""
        self._forget()
        self._ending = True
        handle = self._transport.get_extra_info("socket")
        if handle is not None and not self._transport.is_closing():
            handle.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self._transport.abort()

    def _forget(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._waiting.clear()
        self._waiting_bytes = 0

    def _write(self, data: bytes) -> None:
        self._written(data)
        self._transport.write(data)

    def _arm(self) -> None:
        if self._timer is None and self._waiting:
            self._timer = self._loop.call_at(self._waiting[0][0], self._leave)

    def _leave(self) -> None:
        self._timer = None
        _, data = self._waiting.popleft()  # one piece a turn, so that crumbs stay crumbs
        self._waiting_bytes -= len(data)
        if not self._transport.is_closing():
            self._write(data)
        if self._ending and not self._waiting:
            self._transport.close()
        self._arm()
