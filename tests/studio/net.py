"""How do bytes travel between hosts that don't exist? TCP on virtual time, with everything that breaks it.

Between two hosts there are two `Way`s, one for each direction; a fault is a knob on a way, and taking it back heals.
Bytes that a way holds back arrive after it heals, as TCP would resend them. Acknowledgements are not sent; what they
decide (a user timeout) is reckoned from whether both ways are open.
"""

import asyncio
import errno
import random
import socket
import struct
from collections import deque
from collections.abc import Callable
from contextvars import Context
from dataclasses import dataclass
from typing import Any, Final

from tests.studio.loop import Process, VirtualLoop

WINDOW: Final = 64 * 1024  # bytes on their way and unread, per direction
HIGH, LOW = 64 * 1024, 16 * 1024  # of the write buffer, as asyncio has them
READ: Final = 256 * 1024  # taken at once by a Protocol, as asyncio does
SYN_AGAIN: Final = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)  # as Linux does
RESEND_S: Final = (0.0, 0.3)  # held bytes leave so long after the way heals; own choice, TCP's may be longer


@dataclass(eq=False)
class Way:
    """One direction between two hosts, and its knobs.

    Attributes:
        latency: each segment takes a time drawn between these; order is kept within a connection.
        held: nothing passes until `Network.heal`: half-open if both directions are, else one-way loss.
        swallow: new connections get no answer.
        refuse: new connections are refused, as by a box whose service is down.
        unreachable: new connections fail with "no route".
        cut: chance that a piece is cut in two.
        slice_bytes: pieces are at most so long; `slice_s` between them.
        rate: bytes a second; 0: no limit.
        end_after: after so many more bytes the connection that carries them is ended from the middle ...
        end_by: ... with "rst" or "fin".
        mangle: changes each piece as it arrives: noise, doubles, nothing.
    """

    src: str
    dst: str
    chance: random.Random
    latency: tuple[float, float] = (0.0002, 0.001)
    held: bool = False
    swallow: bool = False
    refuse: bool = False
    unreachable: bool = False
    cut: float = 0.05
    slice_bytes: int = 0
    slice_s: float = 0.0
    rate: float = 0.0
    end_after: int | None = None
    end_by: str = "rst"
    mangle: Callable[[bytes], bytes] | None = None

    def draw(self) -> float:
        low, high = self.latency
        return low if low == high else self.chance.uniform(low, high)

    def pieces(self, data: bytes) -> list[bytes]:
        if self.slice_bytes:
            step = self.slice_bytes
            return [data[at : at + step] for at in range(0, len(data), step)]
        if self.cut and len(data) > 1 and self.chance.random() < self.cut:
            at = self.chance.randrange(1, len(data))
            return [data[:at], data[at:]]
        return [data]


_FIN: Final = "fin"
_RST: Final = "rst"


class End:
    """One end of a connection, as a kernel has it: what has come in, what is on its way out."""

    def __init__(self, net: "Network", number: int, process: Process, address: tuple[str, int]) -> None:
        self.net = net
        self.number = number
        self.process = process
        self.host = address[0]
        self.address = address
        self.peer: End = self
        self.way: Way
        self.transport: Transport | None = None
        self.inbox: deque[bytes] = deque()
        self.unread = 0
        self.fin_in = False
        self.broken: OSError | None = None
        self.closed = False  # the program let go of it
        self.gone = False  # its machine lost power: it remembers nothing
        self.sent_fin = False
        self.cut = False  # ended from the middle of the way
        self.linger = False  # SO_LINGER 0: closing resets
        self.user_timeout_s = 0.0
        self.flight: deque[tuple[float, Any]] = deque()
        self.flying = 0
        self.unacked_at: float | None = None
        self.sent = 0
        self._due = 0.0
        self._free_at = 0.0
        self._timer: asyncio.TimerHandle | None = None
        self._doubt: asyncio.TimerHandle | None = None

    # -- sending

    @property
    def back(self) -> Way:
        return self.peer.way

    @property
    def stopped(self) -> bool:
        """Nothing passes on the way out."""
        return self.way.held or self.net.is_off(self.peer.host) or self.net.is_off(self.host)

    def send(self, data: bytes) -> int:
        """Take what the window lets through. Returns how much.

        Raises:
            OSError: it is broken.
        """
        if self.broken is not None:
            raise self.broken
        count = min(len(data), max(0, WINDOW - self.flying - self.peer.unread))
        if count:
            self.sent += count
            for number, piece in enumerate(self.way.pieces(data[:count])):
                self._fly(piece, len(piece), number * self.way.slice_s)
            self._await_ack()
        return count

    def send_fin(self) -> None:
        if not self.sent_fin:
            self.sent_fin = True
            self._fly(_FIN, 0, 0.0)

    def send_rst(self) -> None:
        """A reset is sent once and never again: a way that is held loses it, and what is not through yet."""
        if self.stopped:
            self.flight.clear()
            self.flying = 0
        else:
            self._fly(_RST, 0, 0.0)

    def _fly(self, what: Any, size: int, after_s: float) -> None:
        now = self.net.loop.time()
        way = self.way
        leaves = now
        if way.rate and size:
            leaves = self._free_at = max(now, self._free_at) + size / way.rate
        self._due = max(self._due, leaves + after_s + way.draw())
        self.flight.append((self._due, what))
        self.flying += size
        self.pump()

    def pump(self) -> None:
        """See that the next segment arrives when it is due."""
        if self._timer is None and self.flight and not self.stopped:
            self._timer = self.net.later(self.flight[0][0], self._arrive)

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def halt(self) -> None:
        """The way is held now: what is on it stays there."""
        self._stop_timer()
        if self.flight:
            self._await_ack()

    def resend(self, after_s: float) -> None:
        """The way is open again: what was held arrives soon."""
        now = self.net.loop.time()
        self.flight = deque((max(due, now + after_s), what) for due, what in self.flight)
        self._due = max(self._due, now + after_s) if self.flight else self._due
        if not self.flight and not self.stopped and not self.peer.stopped:
            self.unacked_at = None
        self.pump()

    def _arrive(self) -> None:
        self._timer = None
        now = self.net.loop.time()
        while self.flight and self.flight[0][0] <= now and not self.stopped:
            what = self.flight.popleft()[1]
            if isinstance(what, bytes):
                self.flying -= len(what)
                self._land(what)
            else:
                self.peer.hear_end(what)
        if not self.flight:
            if not self.peer.stopped:
                self.unacked_at = None
            if self.closed and self.peer.closed and not self.peer.flight:
                self._forget()
                self.peer._forget()
        self.pump()

    def _land(self, data: bytes) -> None:
        way = self.way
        if way.end_after is not None:
            way.end_after -= len(data)
            if way.end_after <= 0:
                keep = len(data) + way.end_after
                way.end_after = None
                self.peer.hear(data[:keep])
                self._end_from_the_middle(way.end_by)
                return
        self.peer.hear(way.mangle(data) if way.mangle is not None else data)

    def _end_from_the_middle(self, by: str) -> None:
        self.net.note(f"{self.address} {self.peer.address} ended by {by}")
        for end in (self, self.peer):
            end.flight.clear()
            end.flying = 0
            end._stop_timer()
            end.hear_end(by)
            end.cut = True

    def _await_ack(self) -> None:
        """Bytes that nobody acknowledges for too long end the connection, if the socket was told so."""
        now = self.net.loop.time()
        if self.unacked_at is None:
            self.unacked_at = now
        if self.user_timeout_s and self._doubt is None and (self.stopped or self.peer.stopped):
            self._doubt = self.net.later(self.unacked_at + self.user_timeout_s, self._give_up)

    def _give_up(self) -> None:
        self._doubt = None
        if self.unacked_at is None or self.closed or self.broken is not None:
            return
        if not (self.stopped or self.peer.stopped):
            return
        left = self.unacked_at + self.user_timeout_s - self.net.loop.time()
        if left > 1e-9:
            self._doubt = self.net.later(self.unacked_at + self.user_timeout_s, self._give_up)
            return
        self.flight.clear()
        self.flying = 0
        self._break(TimeoutError(errno.ETIMEDOUT, "Connection timed out"))

    # -- hearing

    def hear(self, data: bytes) -> None:
        if not data:
            return
        if self.closed or self.gone or self.cut:
            self.send_rst()
            return
        self.inbox.append(data)
        self.unread += len(data)
        if self.transport is not None:
            self.transport.wake()

    def hear_end(self, by: str) -> None:
        if by == _RST:
            self.flight.clear()
            self.flying = 0
            self._stop_timer()
            if self.fin_in:  # as Linux tells a socket whose other side had already closed
                self._break(BrokenPipeError(errno.EPIPE, "Broken pipe"))
            else:
                self._break(ConnectionResetError(errno.ECONNRESET, "Connection reset by peer"))
        elif not self.closed and not self.gone:
            self.fin_in = True
            if self.transport is not None:
                self.transport.wake()

    def _break(self, error: OSError) -> None:
        if self.closed or self.gone:
            self._forget()
            return
        if self.broken is None:
            self.broken = error
            if self.transport is not None:
                self.transport.wake()
                self.transport.wake_writer()

    def take(self, most: int) -> bytes:
        """What has come in, at most so much."""
        out = bytearray()
        while self.inbox and len(out) < most:
            piece = self.inbox.popleft()
            room = most - len(out)
            if len(piece) > room:
                self.inbox.appendleft(piece[room:])
                piece = piece[:room]
            out += piece
        self.unread -= len(out)
        if out and self.peer.transport is not None:
            self.peer.transport.wake_writer()
        return bytes(out)

    # -- ending

    def bury(self) -> None:
        """Its process was killed: the kernel closes for it, and what was only in its write buffer is lost."""
        self.transport = None
        self.close()

    def close(self) -> None:
        """The program lets go: FIN after what is on its way, or RST if it has not read everything."""
        if self.closed:
            return
        self.closed = True
        self.process.sockets.pop(self.number, None)
        if self.gone or self.cut:
            self._forget()
        elif self.broken is None:
            if self.unread or self.linger:
                self.send_rst()
            else:
                self.send_fin()
        self.inbox.clear()
        self.unread = 0

    def lose_power(self) -> None:
        self.gone = True
        self.flight.clear()
        self.flying = 0
        self.inbox.clear()
        self.unread = 0
        self._stop_timer()

    def _forget(self) -> None:
        self.net.ends.pop(self.number, None)


class _Socket:
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
        sock = _Socket(end, end.address, end.peer.address)
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


class Server:
    """A port that listens; as much of `asyncio.Server` as libraries ask for."""

    def __init__(self, net: "Network", process: Process, factory: Any, address: tuple[str, int]) -> None:
        self._net = net
        self.process = process
        self.factory = factory
        self.address = address
        self.context = process.context()
        self._open = True

    @property
    def sockets(self) -> tuple[_Socket, ...]:
        return (_Socket(None, self.address),) if self._open else ()

    def is_serving(self) -> bool:
        return self._open

    def get_loop(self) -> asyncio.AbstractEventLoop:
        return self._net.loop

    def close(self) -> None:
        if self._open:
            self._open = False
            self._net.listeners.pop(self.address, None)

    async def start_serving(self) -> None:
        await asyncio.sleep(0)

    async def wait_closed(self) -> None:
        await asyncio.sleep(0)


class Network:
    """All hosts and what lies between them. `of(process)` is the door the product gets."""

    def __init__(self, loop: VirtualLoop, stream: Callable[[str], random.Random]) -> None:
        self.loop = loop
        self.ways: dict[tuple[str, str], Way] = {}
        self.listeners: dict[tuple[str, int], Server] = {}
        self.ends: dict[int, End] = {}
        self.names: dict[str, str] = {}  # other names of hosts
        self.dials: list[tuple[float, str, str, int]] = []  # when, which process, host, port
        self._stream = stream
        self._kernel = loop.root.context()
        self._off: dict[str, bool] = {}
        self._numbers = 0
        self._ports: dict[str, int] = {}
        loop.net = self

    def note(self, what: str) -> None:
        self.loop.trace.note("net", what)

    def later(self, at: float, do: Callable[[], None]) -> asyncio.TimerHandle:
        """A kernel's timer: it belongs to no process."""
        return self.loop.call_at(at, do, context=self._kernel)

    # -- knobs

    def way(self, src: str, dst: str) -> Way:
        """The direction from one host to another."""
        way = self.ways.get((src, dst))
        if way is None:
            way = self.ways[src, dst] = Way(src, dst, self._stream(f"net:{src}>{dst}"))
            if src == dst:
                way.latency = (0.00002, 0.00005)
        return way

    def both(self, one: str, other: str) -> tuple[Way, Way]:
        return self.way(one, other), self.way(other, one)

    def hold(self, *ways: Way) -> None:
        """Nothing passes on these any more, until `heal`. Both directions: half-open; one: one-way loss."""
        for way in ways:
            if not way.held:
                way.held = True
                self.note(f"hold {way.src}>{way.dst}")
        for end in list(self.ends.values()):
            if end.way in ways:
                end.halt()
            elif end.back in ways and end.unacked_at is not None:
                end._await_ack()

    def heal(self, *ways: Way) -> None:
        """Let these pass again; what was held is resent."""
        for way in ways:
            if way.held:
                way.held = False
                self.note(f"heal {way.src}>{way.dst}")
        self._resend(lambda end: end.way in ways or end.back in ways)

    def _resend(self, meant: Callable[[End], bool]) -> None:
        for end in list(self.ends.values()):
            if meant(end):
                end.resend(end.way.chance.uniform(*RESEND_S))

    def reset(self, one: str, other: str) -> int:
        """Every connection between two hosts is reset at both ends. Returns how many there were."""
        count = 0
        for end in list(self.ends.values()):
            if end.host == one and end.peer.host == other and not end.cut and not end.closed and not end.peer.closed:
                end._end_from_the_middle(_RST)
                count += 1
        return count

    def power_off(self, host: str) -> None:
        """The machine is gone without a goodbye; its connections remember nothing, the others notice in time."""
        self.note(f"{host} off")
        self._off[host] = True
        for address in [address for address in self.listeners if address[0] == host]:
            self.listeners.pop(address).close()
        for end in list(self.ends.values()):
            if end.host == host:
                end.lose_power()
            elif end.peer.host == host:
                end.halt()

    def power_on(self, host: str) -> None:
        """Back: what is resent to it is answered by a reset."""
        if self._off.pop(host, False):
            self.note(f"{host} on")
            self._resend(lambda end: end.peer.host == host)

    def is_off(self, host: str) -> bool:
        return host in self._off

    # -- connections

    def resolve(self, process: Process, host: Any) -> str:
        name = str(host or "localhost")
        return process.host if name in ("127.0.0.1", "localhost", "::1", "0.0.0.0") else self.names.get(name, name)

    def listen(self, process: Process, factory: Any, host: Any, port: int | None) -> Server:
        """Raises OSError: the address is taken."""
        where = self.resolve(process, host)
        if not port:
            port = self._free_port(where)
        if (where, port) in self.listeners:
            raise OSError(errno.EADDRINUSE, f"error while attempting to bind on address ('{host}', {port}): in use")
        process.effect(f"listen {where}:{port}")
        server = Server(self, process, factory, (where, port))
        self.listeners[where, port] = server
        process.on_kill.append(server.close)
        return server

    def _free_port(self, host: str) -> int:
        self._ports[host] = self._ports.get(host, 20_000) + 1
        return self._ports[host]

    async def dial(
        self, process: Process, factory: Any, host: Any, port: int, *, user_timeout_s: float = 0.0
    ) -> tuple[Any, Any]:
        """Connect as a kernel does: SYN again and again if nothing answers.

        Raises:
            OSError: refused, no route, timed out.
        """
        where = self.resolve(process, host)
        process.effect(f"dial {where}:{port}")
        self.dials.append((self.loop.time(), process.name, where, port))
        out, back = self.both(process.host, where)
        for wait_s in SYN_AGAIN:
            if not (out.held or back.held or out.swallow or self.is_off(where)):
                break
            await asyncio.sleep(wait_s)
        else:
            raise TimeoutError(errno.ETIMEDOUT, f"Connect call failed ('{where}', {port})")
        await asyncio.sleep(out.draw() + back.draw())
        server = self.listeners.get((where, port))
        if out.unreachable:
            raise OSError(errno.EHOSTUNREACH, f"Connect call failed ('{where}', {port})")
        if server is None or out.refuse:
            raise ConnectionRefusedError(errno.ECONNREFUSED, f"Connect call failed ('{where}', {port})")
        ours, theirs = self._pair(process, server)
        ours.user_timeout_s = user_timeout_s
        self.loop.call_soon(self._accept, server, theirs, context=server.context)
        protocol = factory()
        made: asyncio.Future[None] = self.loop.create_future()
        transport = Transport(ours, protocol, process.context())
        self.loop.call_soon(lambda: None if made.done() else made.set_result(None))
        try:
            await made
        except BaseException:
            if process.alive:
                transport.close()
            raise
        return transport, protocol

    def _pair(self, process: Process, server: Server) -> tuple[End, End]:
        ours = self._end(process, (process.host, self._free_port(process.host)))
        theirs = self._end(server.process, server.address)
        ours.peer, theirs.peer = theirs, ours
        ours.way, theirs.way = self.both(process.host, server.address[0])
        return ours, theirs

    def _end(self, process: Process, address: tuple[str, int]) -> End:
        self._numbers += 1
        end = self.ends[self._numbers] = End(self, self._numbers, process, address)
        process.sockets[end.number] = end
        return end

    @staticmethod
    def _accept(server: Server, end: End) -> None:
        if end.closed or end.gone:
            return
        if not server.is_serving():
            end.linger = True  # it was never accepted: the kernel resets it
            end.close()
            return
        Transport(end, server.factory(), server.context.copy())

    def of(self, process: Process) -> "Door":
        return Door(self, process)


class Door:
    """Fulfils `Network` of the World for one process."""

    def __init__(self, net: Network, process: Process) -> None:
        self._net = net
        self._process = process

    async def connect(
        self, factory: Callable[[], asyncio.BufferedProtocol], host: str, port: int, *, user_timeout_s: float
    ) -> tuple[asyncio.Transport, asyncio.BufferedProtocol]:
        return await self._net.dial(self._process, factory, host, port, user_timeout_s=user_timeout_s)
