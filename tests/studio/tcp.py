"""What does a kernel do with one end of a connection, and what lies between two hosts?

Acknowledgements are not sent; what they decide (a user timeout) is reckoned from whether both ways are open.
"""

import asyncio
import errno
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from tests.studio.loop import Process

if TYPE_CHECKING:
    from tests.studio.net import Network
    from tests.studio.transport import Transport

WINDOW: Final = 64 * 1024  # bytes on their way and unread, per direction
FIN: Final = "fin"
RST: Final = "rst"


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
            self._fly(FIN, 0, 0.0)

    def send_rst(self) -> None:
        """A reset is sent once and never again: a way that is held loses it, and what is not through yet."""
        if self.stopped:
            self.flight.clear()
            self.flying = 0
        else:
            self._fly(RST, 0, 0.0)

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
        if by == RST:
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
