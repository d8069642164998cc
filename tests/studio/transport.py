"""How does a program see its end of a connection? As asyncio's own transport over a socket shows it."""

import asyncio
import errno
import socket
import struct
from collections.abc import Callable
from contextvars import Context
from typing import Any, Final

from tests.studio.tcp import WINDOW, End

HIGH, LOW = 64 * 1024, 16 * 1024  # of the write buffer, as asyncio has them
READ: Final = 256 * 1024  # taken at once by a Protocol, as asyncio does


class Socket:
    """What libraries ask a transport's socket for."""

    family = socket.AF_INET
    type = socket.SOCK_STREAM
    proto = socket.IPPROTO_TCP

    def __init__(self, end: End | None, address: tuple[str, int], peer: tuple[str, int] | None = None) -> None:
        self._end = end
        self._address = address
        self._peer = peer

    def getsockname(self) -> tuple[str, int]:
        return self._address

    def getpeername(self) -> tuple[str, int]:
        if self._peer is None:
            raise OSError(errno.ENOTCONN, "Transport endpoint is not connected")
        return self._peer

    def fileno(self) -> int:
        return -1

    def setsockopt(self, level: int, option: int, value: Any) -> None:
        if self._end is None:
            return
        if (level, option) == (socket.SOL_SOCKET, socket.SO_LINGER):
            on, seconds = struct.unpack("ii", value)
            self._end.linger = bool(on and not seconds)
        elif (level, option) == (socket.IPPROTO_TCP, getattr(socket, "TCP_USER_TIMEOUT", -1)):
            self._end.user_timeout_s = value / 1000


class Transport(asyncio.Transport):
    """A program's end of a connection; calls its protocol as asyncio's own transport over a socket does."""

    def __init__(self, end: End, protocol: Any, context: Context) -> None:
        sock = Socket(end, end.address, end.peer.address)
        super().__init__({"socket": sock, "sockname": end.address, "peername": end.peer.address})
        self._loop = end.net.loop
        self._end = end
        self._context = context
        self._buffer = bytearray()
        self._high, self._low = HIGH, LOW
        self._protocol_paused = False
        self._paused = False
        self._reading = False  # after connection_made
        self._read_soon = False
        self._write_soon = False
        self._closing = False
        self._lost = 0
        self._eof = False
        self._eof_heard = False
        self._name = f"{end.peer.address[0]}:{end.peer.address[1]}"
        self.set_protocol(protocol)
        end.transport = self
        self._soon(protocol.connection_made, self)
        self._soon(self._begin)

    def _soon(self, do: Callable[..., Any], *args: Any) -> None:
        self._loop.call_soon(do, *args, context=self._context)

    def _begin(self) -> None:
        self._soon(self._begin_reading)  # a turn later than whoever waits for the connection, as in asyncio

    def _begin_reading(self) -> None:
        if not self._closing:
            self._reading = True
            self.wake()

    def set_protocol(self, protocol: Any) -> None:
        self._protocol = protocol
        self._buffered = isinstance(protocol, asyncio.BufferedProtocol)

    def get_protocol(self) -> Any:
        return self._protocol

    # -- reading

    def is_reading(self) -> bool:
        return not self._closing and not self._paused

    def pause_reading(self) -> None:
        if not self._closing and not self._paused:
            self._paused = True

    def resume_reading(self) -> None:
        if not self._closing and self._paused:
            self._paused = False
            self.wake()

    def wake(self) -> None:
        """Something can be read: bytes, an end, or that it broke."""
        end = self._end
        if not self._reading or self._paused or self._closing or self._read_soon:
            return
        if end.inbox or end.broken is not None or (end.fin_in and not self._eof_heard):
            self._read_soon = True
            self._soon(self._read_ready)

    def _read_ready(self) -> None:
        self._read_soon = False
        if self._paused or self._closing or self._lost:
            return
        end = self._end
        if end.inbox:
            try:
                self._hand_over(end)
            except Exception as error:  # noqa: BLE001 - as asyncio: a protocol's slip ends its own connection
                self._fatal(error, "Fatal error: protocol.buffer_updated() call failed.")
                return
            self.wake()
        elif end.broken is not None:
            self._fatal(end.broken, "Fatal read error on socket transport")
        elif end.fin_in and not self._eof_heard:
            self._hear_eof()

    def _hand_over(self, end: End) -> None:
        if not self._buffered:
            data = end.take(READ)
            self._loop.trace.note(end.process.name, f"rx {self._name} {data!r}")
            self._protocol.data_received(data)
            return
        room = memoryview(self._protocol.get_buffer(-1))
        if not room:
            raise RuntimeError("get_buffer() returned an empty buffer")
        data = end.take(len(room))
        room[: len(data)] = data
        self._loop.trace.note(end.process.name, f"rx {self._name} {data!r}")
        self._protocol.buffer_updated(len(data))

    def _hear_eof(self) -> None:
        self._eof_heard = True
        self._loop.trace.note(self._end.process.name, f"rx {self._name} fin")
        try:
            keep = self._protocol.eof_received()
        except Exception as error:  # noqa: BLE001 - likewise
            self._fatal(error, "Fatal error: protocol.eof_received() call failed.")
            return
        if not keep:
            self.close()

    # -- writing

    def write(self, data: Any) -> None:
        if self._eof:
            raise RuntimeError("Cannot call write() after write_eof()")
        if not data:
            return
        self._end.process.effect(f"tx {self._name} {bytes(data)!r}")
        if self._lost:
            self._lost += 1
            return
        rest = bytes(data)
        if not self._buffer:
            try:
                rest = rest[self._end.send(rest) :]
            except OSError as error:
                self._fatal(error, "Fatal write error on socket transport")
                return
            if not rest:
                return
        self._buffer += rest
        self._maybe_pause()

    def writelines(self, list_of_data: Any) -> None:
        self.write(b"".join(list_of_data))

    def wake_writer(self) -> None:
        """There is room on the way, or it broke."""
        if self._buffer and not self._write_soon and not self._lost:
            self._write_soon = True
            self._soon(self._write_ready)

    def _write_ready(self) -> None:
        self._write_soon = False
        if self._lost or not self._buffer:
            return
        try:
            count = self._end.send(bytes(self._buffer[:WINDOW]))
        except OSError as error:
            self._buffer.clear()
            self._fatal(error, "Fatal write error on socket transport")
            return
        del self._buffer[:count]
        if count:
            self._maybe_resume()
        if not self._buffer:
            if self._closing:
                self._call_lost(None)
            elif self._eof:
                self._end.send_fin()

    def _maybe_pause(self) -> None:
        if len(self._buffer) > self._high and not self._protocol_paused:
            self._protocol_paused = True
            self._protocol.pause_writing()

    def _maybe_resume(self) -> None:
        if self._protocol_paused and len(self._buffer) <= self._low:
            self._protocol_paused = False
            self._protocol.resume_writing()

    def get_write_buffer_size(self) -> int:
        return len(self._buffer)

    def get_write_buffer_limits(self) -> tuple[int, int]:
        return self._low, self._high

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        if high is None:
            high = HIGH if low is None else 4 * low
        if low is None:
            low = high // 4
        self._high, self._low = high, low
        self._maybe_pause()

    def can_write_eof(self) -> bool:
        return True

    def write_eof(self) -> None:
        if self._closing or self._eof:
            return
        self._end.process.effect(f"tx {self._name} fin")
        self._eof = True
        if not self._buffer:
            self._end.send_fin()

    # -- ending

    def is_closing(self) -> bool:
        return self._closing

    def close(self) -> None:
        if self._closing:
            return
        self._end.process.effect(f"close {self._name}")
        self._closing = True
        if not self._buffer:
            self._lost += 1
            self._soon(self._call_lost, None)

    def abort(self) -> None:
        self._end.process.effect(f"abort {self._name}")
        self._force(None)

    def _fatal(self, error: Exception, message: str) -> None:
        if not isinstance(error, OSError):
            self._loop.call_exception_handler(
                {"message": message, "exception": error, "transport": self, "protocol": self._protocol}
            )
        self._force(error)

    def _force(self, error: Exception | None) -> None:
        if self._lost:
            return
        self._buffer.clear()
        self._closing = True
        self._lost += 1
        self._soon(self._call_lost, error)

    def _call_lost(self, error: Exception | None) -> None:
        self._lost = max(1, self._lost)
        self._loop.trace.note(self._end.process.name, f"lost {self._name} {type(error).__name__ if error else ''}")
        try:
            self._protocol.connection_lost(error)
        finally:
            self._end.close()
            self._end.transport = None
