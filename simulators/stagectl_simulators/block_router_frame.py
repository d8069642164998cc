"""What does the frame of a block router hold, and which block shows or changes which part of it?

Numbers in here are zero-based, as on the wire; sentences (`says`) count from one, as people and front panels do.
Source: from memory of the public documentation of matrix routers, versions 2.3 to 2.8.
"""

import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

PANEL: Final = "panel"  # the owner of a lock taken at the front panel; no address of a client reads like this
_NUMBERED: Final = re.compile(r"([0-9]{1,5})(?: (.*))?")
_NUMBER: Final = re.compile(r"[0-9]{1,5}")


class UnfitLineError(ValueError):
    """A line the frame cannot take: malformed or out of range. The whole block is refused, nothing of it is applied."""


class Section(ABC):
    """The part of the frame's state that one block shows."""

    header: str

    @abstractmethod
    def indexes(self) -> Sequence[int]:
        """All places the whole block shows, in its order."""

    @abstractmethod
    def line(self, index: int, address: str) -> str:
        """Write one place as a client at `address` reads it."""

    @abstractmethod
    def parsed(self, lines: Iterable[str]) -> dict[int, str]:
        """Read a request's lines: place to value asked; of two lines for one place the last counts.

        Raises:
            UnfitLineError: a line is malformed or out of range.
        """

    @abstractmethod
    def apply(self, asked: Mapping[int, str], address: str) -> list[int]:
        """Apply what may be applied for a client at `address`. Returns the places that in fact changed."""

    @abstractmethod
    def says(self, index: int) -> str:
        """Say in the record's words what is now at a place."""

    @abstractmethod
    def truth(self) -> object:
        """Return all places as JSON, sources counted from one, an unlocked place as ""."""

    def forget(self) -> None:
        """The power went: lose what is volatile. Most is kept."""
        return

    def _numbered(self, line: str, count: int) -> tuple[int, str]:
        match = _NUMBERED.fullmatch(line)
        if match is None:
            raise UnfitLineError(f"{line[:40]!r} is not a number and a value")
        index = int(match[1])
        if index >= count:
            raise UnfitLineError(f"{self.header} has no place {index}")
        return index, match[2] or ""


@dataclass(slots=True)
class Labels(Section):
    """Names of inputs, outputs, ports or frames. A name may be empty and may hold spaces and any letters."""

    header: str
    labels: list[str]
    thing: str  # what carries the name, for the record

    def indexes(self) -> Sequence[int]:
        return range(len(self.labels))

    def line(self, index: int, address: str) -> str:
        return f"{index} {self.labels[index]}"

    def parsed(self, lines: Iterable[str]) -> dict[int, str]:
        return dict(self._numbered(line, len(self.labels)) for line in lines)

    def apply(self, asked: Mapping[int, str], address: str) -> list[int]:
        changed = [index for index, text in asked.items() if self.labels[index] != text]
        for index in changed:
            self.labels[index] = asked[index]
        return changed

    def says(self, index: int) -> str:
        return f"{self.thing} {index + 1} is named {self.labels[index]!r}"

    def truth(self) -> object:
        return list(self.labels)


@dataclass(slots=True)
class Locks(Section):
    """Who holds which destination. A lock belongs to an address: two connections from one host own it together."""

    header: str
    owners: list[str]  # "" is unlocked
    thing: str

    def indexes(self) -> Sequence[int]:
        return range(len(self.owners))

    def holds_off(self, index: int, address: str) -> bool:
        """Tell whether somebody else holds this destination."""
        return self.owners[index] not in ("", address)

    def line(self, index: int, address: str) -> str:
        owner = self.owners[index]
        state = "U" if not owner else "O" if owner == address else "L"
        return f"{index} {state}"

    def parsed(self, lines: Iterable[str]) -> dict[int, str]:
        asked = dict(self._numbered(line.rstrip(), len(self.owners)) for line in lines)
        for letter in asked.values():
            if letter not in ("O", "U", "F"):
                raise UnfitLineError(f"{letter!r} is no lock; O takes it, U releases it, F forces it off")
        return asked

    def apply(self, asked: Mapping[int, str], address: str) -> list[int]:
        changed = []
        for index, letter in asked.items():
            if letter != "F" and self.holds_off(index, address):
                continue  # neither taken over nor released: only F opens another's lock
            owner = address if letter == "O" else ""
            if self.owners[index] != owner:
                self.owners[index] = owner
                changed.append(index)
        return changed

    def says(self, index: int) -> str:
        owner = self.owners[index]
        return f"{self.thing} {index + 1} is locked by {owner}" if owner else f"{self.thing} {index + 1} is unlocked"

    def truth(self) -> object:
        return list(self.owners)

    def forget(self) -> None:
        self.owners[:] = [""] * len(self.owners)


@dataclass(slots=True)
class Routing(Section):
    """Which source each destination shows."""

    header: str
    routes: list[int]
    sources: int  # how many there are to choose from
    locks: Locks
    thing: str
    source: str

    def indexes(self) -> Sequence[int]:
        return range(len(self.routes))

    def line(self, index: int, address: str) -> str:
        return f"{index} {self.routes[index]}"

    def parsed(self, lines: Iterable[str]) -> dict[int, str]:
        asked = dict(self._numbered(line.rstrip(), len(self.routes)) for line in lines)
        for number in asked.values():
            if not _NUMBER.fullmatch(number) or int(number) >= self.sources:
                raise UnfitLineError(f"{self.header} has no source {number!r}")
        return asked

    def apply(self, asked: Mapping[int, str], address: str) -> list[int]:
        changed = []
        for index, number in asked.items():
            if self.routes[index] != int(number) and not self.locks.holds_off(index, address):
                self.routes[index] = int(number)
                changed.append(index)
        return changed

    def says(self, index: int) -> str:
        return f"{self.thing} {index + 1} shows {self.source} {self.routes[index] + 1}"

    def truth(self) -> object:
        return [source + 1 for source in self.routes]


@dataclass(slots=True)
class Configuration(Section):
    """The frame's one setting: whether a route at its own panel wants a second press."""

    header: str = "CONFIGURATION:"
    take_mode: bool = True

    def indexes(self) -> Sequence[int]:
        return (0,)

    def line(self, index: int, address: str) -> str:
        return f"Take Mode: {str(self.take_mode).lower()}"

    def parsed(self, lines: Iterable[str]) -> dict[int, str]:
        asked = {}
        for line in lines:
            name, _, value = line.partition(": ")
            if name != "Take Mode" or value not in ("true", "false"):
                raise UnfitLineError(f"{line[:40]!r} is no setting")
            asked[0] = value
        return asked

    def apply(self, asked: Mapping[int, str], address: str) -> list[int]:
        wanted = asked.get(0) == "true"
        if not asked or wanted == self.take_mode:
            return []
        self.take_mode = wanted
        return [0]

    def says(self, index: int) -> str:
        return f"take mode is {'on' if self.take_mode else 'off'}"

    def truth(self) -> object:
        return {"take_mode": self.take_mode}


@dataclass(frozen=True, slots=True)
class FrameSize:
    """How large the frame is and which optional blocks it has. Zero or False: the block is not there at all."""

    inputs: int = 16
    outputs: int = 16
    monitoring_outputs: int = 0
    serial_ports: int = 0
    frame_labels: bool = False
    configuration: bool = True


class Frame:
    """All state of a frame, in the order of its dump. As built, destination n shows source n, the last one repeated."""

    def __init__(self, size: FrameSize) -> None:
        if min(size.inputs, size.outputs) < 1 or min(size.monitoring_outputs, size.serial_ports) < 0:
            raise ValueError("A router has at least one input and one output: give inputs and outputs from 1 up.")
        self.size = size
        self.input_labels = Labels("INPUT LABELS:", _numbered_names("Input", size.inputs), "input")
        self.output_labels = Labels("OUTPUT LABELS:", _numbered_names("Output", size.outputs), "output")
        self.locks = Locks("VIDEO OUTPUT LOCKS:", [""] * size.outputs, "output")
        self.routing = _routing("VIDEO OUTPUT ROUTING:", size.inputs, self.locks, "input")
        labels: list[Section] = [self.input_labels, self.output_labels]
        locks: list[Section] = [self.locks]
        routing: list[Section] = [self.routing]
        if size.monitoring_outputs:
            names = _numbered_names("Monitor", size.monitoring_outputs)
            labels.append(Labels("MONITORING OUTPUT LABELS:", names, "monitoring output"))
            held = Locks("MONITORING OUTPUT LOCKS:", [""] * size.monitoring_outputs, "monitoring output")
            locks.append(held)
            routing.append(_routing("VIDEO MONITORING OUTPUT ROUTING:", size.inputs, held, "input"))
        if size.serial_ports:
            names = _numbered_names("Serial", size.serial_ports)
            labels.append(Labels("SERIAL PORT LABELS:", names, "serial port"))
            held = Locks("SERIAL PORT LOCKS:", [""] * size.serial_ports, "serial port")
            locks.append(held)
            routing.append(_routing("SERIAL PORT ROUTING:", size.serial_ports, held, "serial port"))
        if size.frame_labels:
            labels.append(Labels("FRAME LABELS:", ["Frame 1"], "frame"))
        last: list[Section] = [Configuration()] if size.configuration else []
        self.sections: dict[str, Section] = {section.header: section for section in (*labels, *locks, *routing, *last)}


def _numbered_names(word: str, count: int) -> list[str]:
    return [f"{word} {number}" for number in range(1, count + 1)]


def _routing(header: str, sources: int, locks: Locks, source: str) -> Routing:
    routes = [min(index, sources - 1) for index in range(len(locks.owners))]
    return Routing(header, routes, sources, locks, locks.thing, source)
