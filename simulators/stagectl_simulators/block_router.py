"""How does a block router answer, report and misbehave? The dialogue around its frame.

Source: from memory of the public documentation of matrix routers, versions 2.3 to 2.8. Where that leaves a choice:

- a request with one malformed or out-of-range line is refused whole (`NAK`), nothing of it is applied;
- an unknown block, a block that only reports, and text that is no block are refused with `NAK`;
- a request that changes nothing is answered `ACK` and reported to nobody: the status block holds changes alone;
- while the device is not present every request but `PING:` and the two identity blocks is refused;
- a lock belongs to the address of a client, not to its connection, and outlives the connection.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Final

from stagectl_simulators.block_router_frame import PANEL, Frame, FrameSize, Routing, Section, UnfitLineError
from stagectl_simulators.block_router_wire import ACK, NAK, Block, BlockReader, Malformed, written
from stagectl_simulators.model import FaultSet, History, Opened, Sends, number
from stagectl_simulators.options import Options
from stagectl_simulators.panel_arguments import PanelArguments

if TYPE_CHECKING:
    from stagectl_simulators.house_clock import HouseClock

LATE_LIMIT: Final = 1000  # status blocks held back at most, the oldest are lost; own choice
FASTEST_STORM: Final = 5000.0  # changes a second; own choice, a faster sequencer would stall the house
PRESENCE: Final = ("true", "false", "needs_update")
PREAMBLE: Final = "PROTOCOL PREAMBLE:"
DEVICE: Final = "ROUTER DEVICE:"  # a maker puts one word of its own before DEVICE
END: Final = "END PRELUDE:"
NOISE: Final = b"\x00\x17\xfe~~ 17;;lamp\nSELF TEST RESULTS:\n0 ?? \xff\n\n"


@dataclass(slots=True)
class RouterFaults(FaultSet):
    """What goes wrong with routers."""

    refuse_all: bool = False  # a box locked from its set-up software: NAK to everything
    ack_only: bool = False  # control board lives, crosspoint board does not: ACK, nothing changes
    no_status: bool = False  # changes are made and never reported, whoever makes them
    late_status: float = number(2.0)  # seconds between ACK and status block: a box that batches its reports
    wrong_route: bool = False  # a crosspoint card one slot off: a route lands on the next input, and is so reported
    storm: float = number(200.0)  # changes a second: a sequencer cycles the last output between two inputs
    needs_update: bool = False  # after an update of the control part alone: link up, device not usable
    wrong_model: bool = False  # its address went to a relative with no crosspoints: identity alone, no outputs
    short_prelude: bool = False  # its memory is full: the dump breaks off inside a line, then not one byte more
    garbage: bool = False  # noise and an unknown block before everything it says


@dataclass(slots=True)
class _Client:
    address: str
    reader: BlockReader = field(default_factory=BlockReader)
    is_mute: bool = False  # its dump broke off: it is never spoken to again


class BlockRouter:
    """A matrix router. Numbers are zero-based on the wire and count from one in `panel` and `truth`."""

    kind: ClassVar[str] = "block-router"
    refusal: ClassVar[bytes] = b""

    def __init__(
        self, name: str, size: FrameSize, *, is_old: bool = False, max_clients: int = 16, model: str = "Matrix 16"
    ) -> None:
        self.frame = Frame(size)
        self._faults = RouterFaults()
        self._name = name
        self._is_old = is_old
        self._max_clients = max_clients
        self._model = model
        self._present = "true"
        self._told_present = "true"
        self._clients: dict[int, _Client] = {}
        self._late: deque[tuple[float, Sends]] = deque(maxlen=LATE_LIMIT)
        self._next_flip_s: float | None = None
        self._history = History()

    @property
    def faults(self) -> RouterFaults:
        return self._faults

    # Clients

    def open(self, client: int, peer: str, now_s: float) -> Opened:
        if len(self._clients) >= self._max_clients:
            return Opened([], refuse=True)
        met = self._clients[client] = _Client(peer)
        dump = self._dump(peer)
        if self._faults.short_prelude:
            met.is_mute = True
            dump = dump[: dump.find(b"VIDEO OUTPUT ROUTING:\n") + 24]
        return Opened(self._said([(client, dump)]))

    def feed(self, client: int, data: bytes, now_s: float) -> Sends:
        met = self._clients[client]
        sends: Sends = []
        for block in met.reader.feed(data):
            if not met.is_mute:
                sends += self._answer(client, met.address, block, now_s)
        return self._said(sends)

    def close(self, client: int, now_s: float) -> None:
        self._clients.pop(client, None)

    def drop(self) -> list[int]:
        return []

    # Requests

    def _answer(self, client: int, address: str, block: Block | Malformed, now_s: float) -> Sends:
        refused, granted = (client, NAK), (client, ACK)
        if self._faults.refuse_all or isinstance(block, Malformed):
            return [refused]
        if block.header in ("PING:", PREAMBLE, DEVICE):
            if block.lines:
                return [refused]
            return [granted] if block.header == "PING:" else [granted, (client, self._identity(block.header))]
        section = self._sections().get(block.header)
        if section is None:
            return [refused]
        if not block.lines:
            return [granted, (client, _shown(section, address))]
        try:
            asked = section.parsed(block.lines)
        except UnfitLineError:
            return [refused]
        if self._faults.ack_only:
            return [granted]
        if self._faults.wrong_route and isinstance(section, Routing):
            asked = {index: str((int(source) + 1) % section.sources) for index, source in asked.items()}
        changed = section.apply(asked, address)
        self._note(section, changed, f"wire:{client}", now_s)
        return [granted, *self._status(section, changed, now_s)]

    def _status(self, section: Section, changed: list[int], now_s: float) -> Sends:
        """Report a change to every client, each in the words that hold for its address."""
        if not changed or self._faults.no_status:
            return []
        sends = [
            (client, written(section.header, [section.line(index, met.address) for index in changed]))
            for client, met in self._clients.items()
            if not met.is_mute
        ]
        if not self._faults.late_status:
            return sends
        self._late.append((now_s + self._faults.late_status, sends))
        return []

    def _note(self, section: Section, changed: list[int], cause: str, now_s: float) -> None:
        for index in changed:
            self._history.note(now_s, section.says(index), cause)

    # Dump

    def _presence(self) -> str:
        return "needs_update" if self._faults.needs_update else self._present

    def _sections(self) -> dict[str, Section]:
        """The blocks the box has to show just now."""
        return {} if self._faults.wrong_model or self._presence() != "true" else self.frame.sections

    def _identity(self, header: str) -> bytes:
        if header == PREAMBLE:
            return written(PREAMBLE, [f"Version: {'2.3' if self._is_old else '2.8'}"])
        size, presence = self.frame.size, self._presence()
        lines = [f"Device present: {presence}"]
        if presence == "true":
            wrong = self._faults.wrong_model
            lines.append(f"Model name: {'Distribution 4' if wrong else self._model}")
            if not self._is_old:
                lines.append(f"Friendly name: {self._name}")
            lines += [
                f"Unique ID: {'0D15741B0004' if wrong else '51A17E000016'}",
                f"Video inputs: {size.inputs}",
                "Video processing units: 0",
                f"Video outputs: {0 if wrong else size.outputs}",
                f"Video monitoring outputs: {size.monitoring_outputs}",
                f"Serial ports: {size.serial_ports}",
            ]
        return written(DEVICE, lines)

    def _dump(self, address: str) -> bytes:
        blocks = [self._identity(PREAMBLE), self._identity(DEVICE)]
        blocks += [_shown(section, address) for section in self._sections().values()]
        if not self._is_old:
            blocks.append(written(END))
        return b"".join(blocks)

    def _said(self, sends: Sends) -> Sends:
        return [(client, NOISE + data) for client, data in sends] if self._faults.garbage else sends

    # Time

    def due_s(self) -> float | None:
        dues = [due for due, _ in self._late]
        if self._presence() != self._told_present:
            dues.append(0.0)
        if self._faults.storm and self.frame.routing.sources > 1:
            dues.append(0.0 if self._next_flip_s is None else self._next_flip_s)
        return min(dues, default=None)

    def advance(self, now_s: float) -> Sends:
        sends = self._presence_news("self", now_s)
        while self._late and self._late[0][0] <= now_s:
            sends += [(client, data) for client, data in self._late.popleft()[1] if client in self._clients]
        sends += self._flips(now_s)
        return self._said(sends)

    def _presence_news(self, cause: str, now_s: float) -> Sends:
        """Tell everybody that the device came or went; when it comes, everything is shown anew."""
        presence = self._presence()
        if presence == self._told_present:
            return []
        self._told_present = presence
        self._history.note(now_s, f"device present: {presence}", cause)
        return [
            (client, self._dump(met.address).removeprefix(self._identity(PREAMBLE)))
            for client, met in self._clients.items()
            if not met.is_mute
        ]

    def _flips(self, now_s: float) -> Sends:
        rate, routing = min(self._faults.storm, FASTEST_STORM), self.frame.routing
        if not rate or routing.sources < 2:
            self._next_flip_s = None
            return []
        if self._next_flip_s is None:
            self._history.note(now_s, f"a sequencer takes output {len(routing.routes)}", "self")
            self._next_flip_s = now_s
        self._next_flip_s = max(self._next_flip_s, now_s - 1.0)  # a server that slept owes a second's worth at most
        sends: Sends = []
        while self._next_flip_s <= now_s:
            self._next_flip_s += 1.0 / rate
            last = len(routing.routes) - 1
            routing.routes[last] = 0 if routing.routes[last] else 1
            sends += self._status(routing, [last], now_s)
        return sends

    # Front panel

    def panel(self, act: str, args: dict[str, object], now_s: float) -> Sends:
        acts: dict[str, Callable[[PanelArguments], tuple[Section, dict[int, str]]]] = {
            "route": self._panel_route,
            "label": self._panel_label,
            "lock": lambda read: (self.frame.locks, {self._output(read): "O"}),
            "unlock": lambda read: (self.frame.locks, {self._output(read): "F"}),
        }
        read = PanelArguments(act, args)
        if act == "device_present":
            self._present = read.text("state", PRESENCE)
            read.done()
            return self._said(self._presence_news("panel", now_s))
        if act not in acts:
            raise ValueError(f"A block router has no act {act!r}. Known acts: {', '.join((*acts, 'device_present'))}.")
        section, asked = acts[act](read)
        read.done()
        for index in asked:
            if section is not self.frame.locks or asked[index] == "O":
                self._refuse_if_locked(section, index)
        changed = section.apply(asked, PANEL)
        self._note(section, changed, "panel", now_s)
        return self._said(self._status(section, changed, now_s))

    def _output(self, read: PanelArguments) -> int:
        return read.place("output", self.frame.size.outputs)

    def _panel_route(self, read: PanelArguments) -> tuple[Section, dict[int, str]]:
        return self.frame.routing, {self._output(read): str(read.place("input", self.frame.size.inputs))}

    def _panel_label(self, read: PanelArguments) -> tuple[Section, dict[int, str]]:
        side = read.text("side", ("input", "output"))
        labels = self.frame.input_labels if side == "input" else self.frame.output_labels
        return labels, {read.place("number", len(labels.labels)): read.text("text")}

    def _refuse_if_locked(self, section: Section, index: int) -> None:
        locks = self.frame.locks
        if section in (locks, self.frame.routing) and locks.holds_off(index, PANEL):
            raise ValueError(f"Output {index + 1} is locked by {locks.owners[index]}. Unlock it first.")

    # Record

    def reboot(self, now_s: float) -> None:
        """Routes, names and settings are kept; locks are not."""
        for section in self.frame.sections.values():
            section.forget()
        self._late.clear()
        self._next_flip_s = None
        self._told_present = self._presence()
        self._history.note(now_s, "powered on", "self")

    def truth(self, now_s: float) -> dict[str, object]:
        """The state; place n of a list is output, input or port n + 1, routes count inputs from one."""
        return {
            "model": self._model,
            "device_present": self._presence(),
            "clients": {str(client): met.address for client, met in self._clients.items()},
            **{
                section.header.removesuffix(":").lower().replace(" ", "_"): section.truth()
                for section in self.frame.sections.values()
            },
            "history": list(self._history.read()),
        }


def _shown(section: Section, address: str) -> bytes:
    return written(section.header, [section.line(index, address) for index in section.indexes()])


def build(name: str, options: dict[str, object], rng: random.Random, house: HouseClock) -> BlockRouter:  # noqa: ARG001 - a router draws nothing and keeps no time
    """Build a router from its options: sizes, labels, and which optional blocks it has.

    Raises: ValueError: an option is unknown or wrong; the sentence names it.
    """
    read = Options(name, options)
    size = FrameSize(
        inputs=read.whole("inputs", 16, 1, 288),
        outputs=read.whole("outputs", 16, 1, 288),
        monitoring_outputs=read.whole("monitoring_outputs", 0, 0, 64),
        serial_ports=read.whole("serial_ports", 0, 0, 64),
        frame_labels=read.flag("frame_labels"),
        configuration=read.flag("configuration", default=True),
    )
    router = BlockRouter(
        name,
        size,
        is_old=read.flag("old"),
        max_clients=read.whole("max_clients", 16, 1),
        model=read.text("model", f"Matrix {size.inputs}x{size.outputs}"),
    )
    for side, labels in (("input_labels", router.frame.input_labels), ("output_labels", router.frame.output_labels)):
        names = read.items(side) or []
        if len(names) > len(labels.labels):
            raise ValueError(f"{name}: option {side!r} has {len(names)} names for {len(labels.labels)} places.")
        for index, text in enumerate(names):
            if not isinstance(text, str) or any(ord(letter) < 32 for letter in text):
                raise ValueError(f"{name}: option {side!r} must be a list of names on one line, not {text!r}.")
            labels.labels[index] = text
    for index, source in enumerate(read.items("routes") or []):
        fits = isinstance(source, int) and 1 <= source <= size.inputs and index < size.outputs
        if not fits or not isinstance(source, int):
            raise ValueError(f"{name}: option 'routes' lists an input from 1 to {size.inputs} for each output.")
        router.frame.routing.routes[index] = source - 1
    read.done()
    return router
