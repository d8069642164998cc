"""How does a model get onto the network? One server for all kinds: it owns the sockets and the clock."""

from __future__ import annotations

import asyncio
import socket
from dataclasses import dataclass
from typing import Final

from stagectl_simulators.clip_store import KeepsClips
from stagectl_simulators.clip_store_server import ClipStore
from stagectl_simulators.model import FaultSet, Model, Sends, number
from stagectl_simulators.outgoing import Outgoing
from stagectl_simulators.wire_log import WireLog

LEAST_PAUSE_S: Final = 0.001  # between two calls of `advance`, so that a model with a past due time cannot spin
REOPEN_PAUSE_S: Final = 0.2


@dataclass(slots=True)
class NetFaults(FaultSet):
    """What can go wrong on the network side of any box."""

    silent: bool = False  # hears and obeys, never answers: its network stack half hangs after a long day
    one_byte: bool = False  # every byte in a segment of its own: a box that prints its answers to a serial bridge
    reset_mid_line: bool = False  # the next answer is cut halfway and the connection reset; turns itself off
    refuse_second: bool = False  # takes one client only: an old session or a forgotten laptop holds the box
    reboot: float = number(5.0)  # drops everyone, is off the net for so many seconds, comes back; turns itself off
    latency: float = number(0.5)  # every answer comes so many seconds late: a busy box, a remote line


class _Client(asyncio.Protocol):
    """One connection; it knows its number and hands everything to its box."""

    def __init__(self, box: BoxServer) -> None:
        self._box = box
        self.number = 0
        self.accepted = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        handle = transport.get_extra_info("socket")
        if handle is not None:
            handle.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.out = Outgoing(transport, lambda data: self._box.note(self, "out", data))
        peer = transport.get_extra_info("peername") or ("",)  # nothing, if it is gone already
        self._box.arrived(self, str(peer[0]))

    def data_received(self, data: bytes) -> None:
        self._box.heard(self, data)

    def connection_lost(self, _: Exception | None) -> None:
        self._box.lost(self)


class BoxServer:
    """One box on the network: its model, its sockets, its wire log and its network faults."""

    def __init__(self, name: str, model: Model, start_s: float) -> None:
        """`start_s` is the loop's time that the house calls 0; the same for all boxes of a simulation."""
        self.name = name
        self.model = model
        self.net = NetFaults()
        self.log = WireLog()
        self.store: ClipStore | None = None  # handed in before `open`, if the model keeps clips
        self.address = ("", 0)
        self._loop = asyncio.get_running_loop()
        self._start_s = start_s
        self._server: asyncio.Server | None = None
        self._clients: dict[int, _Client] = {}
        self._met = 0  # clients so far, refused ones included
        self._due: asyncio.TimerHandle | None = None
        self._off: asyncio.Task[None] | None = None  # runs while the box reboots

    @property
    def now_s(self) -> float:
        """Seconds since the simulation started."""
        return self._loop.time() - self._start_s

    # --- life ---------------------------------------------------------------------------------------------------------

    async def open(self, host: str, port: int) -> tuple[str, int]:
        """Listen; port 0 takes a free one. Returns the address.

        Raises: OSError: the address cannot be had.
        """
        self._server = await self._loop.create_server(lambda: _Client(self), host, port)
        at = self._server.sockets[0].getsockname()
        self.address = (str(at[0]), int(at[1]))
        self._wake()
        self._stock()
        return self.address

    def open_store(self, store: ClipStore, port: int) -> None:
        """Serve the clips too, at this box's own host; port 0 takes a free one. From then on with the box.

        Raises: OSError: the address cannot be had.
        """
        store.open(self.address[0], port)
        self.store = store
        self._stock()

    async def shut(self) -> None:
        """Leave the network for good."""
        if self._off is not None:
            self._off.cancel()
            await asyncio.wait([self._off], timeout=1)
        self._leave_network()

    def _leave_network(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None
        if self._server is not None:
            self._server.close()
            self._server = None
        if self.store is not None:
            self.store.shut()
        for client in list(self._clients.values()):
            self._forget(client, "close")
            client.out.abort()

    async def _reboot(self, off_s: float) -> None:
        await asyncio.sleep(off_s)
        while True:
            try:
                await self._come_back()
            except OSError:  # somebody took the port meanwhile
                await asyncio.sleep(REOPEN_PAUSE_S)
            else:
                break
        self.net.reboot = 0.0
        self._off = None

    async def _come_back(self) -> None:
        if self.store is not None:
            self.store.open(*self.store.address)
        try:
            await self.open(*self.address)
        except OSError:
            if self.store is not None:
                self.store.shut()
            raise

    # --- what clients do ----------------------------------------------------------------------------------------------

    def arrived(self, client: _Client, peer: str) -> None:
        self._met += 1
        client.number = self._met
        if self.net.refuse_second and self._clients:
            self._refuse(client, self.model.refusal)
            return
        opened = self.model.open(client.number, peer, self.now_s)
        if opened.refuse:
            self._refuse(client, b"".join(data for _, data in opened.sends))
            return
        self.note(client, "open")
        client.accepted = True
        self._clients[client.number] = client
        self._settle(opened.sends)

    def _refuse(self, client: _Client, words: bytes) -> None:
        self.note(client, "refused")
        client.out.send(words, latency_s=0.0, crumbs=False)
        client.out.end()

    def heard(self, client: _Client, data: bytes) -> None:
        if client.number in self._clients:
            self.note(client, "in", data)
            self._settle(self.model.feed(client.number, data, self.now_s))

    def lost(self, client: _Client) -> None:
        if client.number in self._clients:
            self._forget(client, "lost")
            self._settle([])

    def _forget(self, client: _Client, way: str) -> None:
        del self._clients[client.number]
        self.note(client, way)
        self.model.close(client.number, self.now_s)

    def note(self, client: _Client, way: str, data: bytes = b"") -> None:
        self.log.note(self.now_s, client.number, way, data)

    # --- what the box says --------------------------------------------------------------------------------------------

    def _settle(self, sends: Sends) -> None:
        """Send what the box said, close whom it wants closed, and be back when it has something to do."""
        for number_, data in sends:
            client = self._clients.get(number_)
            if client is not None and not self.net.silent:
                self._send(client, data)
        for number_ in self.model.drop():
            client = self._clients.get(number_)
            if client is not None:
                self._forget(client, "close")
                client.out.end()
        self._wake()
        self._stock()

    def _stock(self) -> None:
        """The clip store holds what the model says now."""
        if self.store is not None and isinstance(self.model, KeepsClips):
            self.store.show(self.model.shelf())

    def _send(self, client: _Client, data: bytes) -> None:
        if self.net.reset_mid_line and len(data) > 1:
            self.net.reset_mid_line = False
            self._forget(client, "reset")
            client.out.reset_after(data[: len(data) // 2])
        elif not client.out.send(data, latency_s=self.net.latency, crumbs=self.net.one_byte):
            self._forget(client, "close")

    def _wake(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None
        due = self.model.due_s()
        if due is not None and self._server is not None:
            self._due = self._loop.call_later(max(LEAST_PAUSE_S, due - self.now_s), self._advance)

    def _advance(self) -> None:
        self._due = None
        self._settle(self.model.advance(self.now_s))

    # --- what the door asks -------------------------------------------------------------------------------------------

    def faults(self) -> dict[str, bool | float]:
        """All switches: the model's, the network's and its clip store's."""
        return {name: value for each in self._fault_sets() for name, value in each.read().items()}

    def faults_on(self) -> dict[str, bool | float]:
        """Only those that are not off."""
        return {name: value for name, value in self.faults().items() if value}

    def _fault_sets(self) -> list[FaultSet]:
        return [self.model.faults, self.net, *([] if self.store is None else [self.store.faults])]

    def turn(self, fault: str, value: bool | float) -> None:
        """Turn a switch, and let it take effect at once.

        Raises: ValueError: no such switch, or a wrong value, in one sentence.
        """
        switches = next((each for each in self._fault_sets() if fault in each.read()), None)
        if switches is None:
            raise ValueError(f"{self.name} has no fault {fault!r}. Known faults: {', '.join(self.faults())}.")
        switches.turn(fault, value)
        if fault == "reboot":
            self._power()
        elif self._off is None:
            self._settle(self.model.advance(self.now_s))

    def _power(self) -> None:
        off_s = self.net.reboot
        if self._off is not None:  # already off: the new time counts from now
            self._off.cancel()
        elif off_s:
            self._leave_network()
            self.model.reboot(self.now_s)
        else:
            return
        self._off = self._loop.create_task(self._reboot(off_s), name=f"{self.name} reboots")

    def panel(self, act: str, args: dict[str, object]) -> None:
        """Play somebody's hand on the front of the box.

        Raises: ValueError: the box does not know it or cannot do it now, in one sentence.
        """
        if self._off is not None:
            raise ValueError(f"{self.name} is rebooting. Wait until it is back.")
        self._settle(self.model.panel(act, args, self.now_s))

    def truth(self) -> dict[str, object]:
        """What is so, whatever the box says."""
        if self._off is None:
            self._settle(self.model.advance(self.now_s))
        return self.model.truth(self.now_s) | {"now_s": round(self.now_s, 6), "rebooting": self._off is not None}
