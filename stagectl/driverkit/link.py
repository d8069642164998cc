"""How do bytes reach a box and come back? One framed link class for every stream.

A `BufferedProtocol` with a small buffer: a plain Protocol makes asyncio allocate 256 KiB a read, which costs two to
three times the CPU per notice. The buffer is also the read budget per turn of the loop, so that a flooding box can't
starve its neighbours. What is read leaves it before the next link reads, so all links of a loop share one.
"""

import asyncio
from collections.abc import Callable
from typing import Final

READ_BYTES: Final = 2048  # per turn of the loop; own choice, four times the longest common notice


class StreamLink(asyncio.BufferedProtocol):
    """One open stream. Ends exactly once, by `on_lost`."""

    __slots__ = ("_lost", "_on_data", "_on_lost", "_room", "bytes_in", "bytes_out", "transport")

    def __init__(
        self, on_data: Callable[[bytes], None], on_lost: Callable[[str], None], room: memoryview | None = None
    ) -> None:
        """`room`: of READ_BYTES, shared by the links of one loop; None: its own."""
        self._room = room if room is not None else memoryview(bytearray(READ_BYTES))
        self._on_data = on_data
        self._on_lost = on_lost
        self._lost = False
        self.transport: asyncio.Transport | None = None
        self.bytes_in = 0
        self.bytes_out = 0

    @property
    def up(self) -> bool:
        """Open and not closing."""
        return self.transport is not None and not self._lost and not self.transport.is_closing()

    def write(self, data: bytes) -> bool:
        """Send now. False: something is still waiting to leave ("late") or the link is gone; nothing was sent."""
        transport = self.transport
        if transport is None or self._lost or transport.is_closing() or transport.get_write_buffer_size():
            return False
        transport.write(data)
        self.bytes_out += len(data)
        return True

    def end(self, why: str) -> None:
        """Close at once, without waiting for what has not left."""
        if self.transport is not None:
            self.transport.abort()
        self._ended(why)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def get_buffer(self, sizehint: int) -> memoryview:
        return self._room

    def buffer_updated(self, nbytes: int) -> None:
        self.bytes_in += nbytes
        if not self._lost:
            self._on_data(bytes(self._room[:nbytes]))

    def eof_received(self) -> bool:
        return False  # close

    def connection_lost(self, exc: Exception | None) -> None:
        self._ended(f"the link broke: {exc}" if exc else "the box closed the link")

    def _ended(self, why: str) -> None:
        if not self._lost:
            self._lost = True
            self._on_lost(why)
