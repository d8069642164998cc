"""How do bytes travel between hosts that don't exist? TCP on virtual time, with everything that breaks it.

Between two hosts there are two `Way`s, one for each direction; a fault is a knob on a way, and taking it back heals.
Bytes that a way holds back arrive after it heals, as TCP would resend them.
"""

import asyncio
import errno
import random
from collections.abc import Callable
from typing import Any, Final

from tests.studio.loop import Process, VirtualLoop
from tests.studio.tcp import RST, End, Way
from tests.studio.transport import Socket, Transport

SYN_AGAIN: Final = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)  # as Linux does
RESEND_S: Final = (0.0, 0.3)  # held bytes leave so long after the way heals; own choice, TCP's may be longer


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
    def sockets(self) -> tuple[Socket, ...]:
        return (Socket(None, self.address),) if self._open else ()

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
        self.no_handles = ""  # the host whose processes have no file handle left
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
                end._end_from_the_middle(RST)
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
        if process.host == self.no_handles:
            raise OSError(errno.EMFILE, "Too many open files")
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
