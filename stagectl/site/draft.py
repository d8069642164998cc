"""What is read so far of a site file, and what was wrong on the way?

Every reader goes on after a wrong part, so that a person sees all of it at once; what hangs on a part that is wrong
already is not told again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from stagectl.driverkit.driver import BoxKind
from stagectl.filetree import FileError, Issues, Node, Rows, Table, Text
from stagectl.model.capabilities.base import Capability
from stagectl.model.words import nearest
from stagectl.site.entries import DeviceEntry
from stagectl.site.words import read_name


@dataclass(slots=True)
class Draft:
    """One file being read.

    Attributes:
        root: the whole file.
        kinds: boxes that can be driven, by the word after `box:`.
        parts: house parts by name.
        devices, groups: those that are right.
        doubtful: names that stand in the file, but whose own lines are wrong.
        names: where each name of a device or group stands.
    """

    root: Table
    kinds: Mapping[str, BoxKind]
    parts: Mapping[str, Capability]
    issues: Issues = field(default_factory=Issues)
    devices: dict[str, DeviceEntry] = field(default_factory=dict)
    groups: dict[str, tuple[str, ...]] = field(default_factory=dict)
    doubtful: dict[str, None] = field(default_factory=dict)
    names: dict[str, Text] = field(default_factory=dict)
    _taken: dict[tuple[str, str, int], Text] = field(default_factory=dict)

    def table(self, node: Node | None) -> Table | None:
        """The table that stands there; None if nothing does, or something else, which is told."""
        if node is not None:
            with self.issues.gather():
                return node.as_table()
        return None

    def named(self, node: Node | None) -> list[tuple[str, Text, Node]]:
        """Each name of a table with the place of its key and what stands under it; a wrong name is told."""
        table = self.table(node)
        found: list[tuple[str, Text, Node]] = []
        if table is None:
            return found
        for key, value in table.items():
            place = table.keys[key]
            try:
                found.append((read_name(place), place, value))
            except FileError as error:
                self.issues.add(error)
                self.doubtful[key] = None
        return found

    def listed(self, node: Node | None) -> list[Node]:
        """Each item of a list; something else is told."""
        if node is not None:
            with self.issues.gather():
                return list(node.as_rows())
        return []

    def must_be(self, kind: str, name: str, text: Text) -> None:
        """See that a device is of a kind.

        Raises:
            FileError: there is none of that name, or it is of another kind. Nothing if its own lines are wrong.
        """
        if name in self.doubtful:
            return
        known = [one for one, entry in self.devices.items() if self.kinds[entry.box].capability.kind == kind]
        if name not in self.devices:
            raise text.wrong(f'there is no device "{name}".', nearest(name, known))
        if name not in known:
            raise text.wrong(f"{name} is no {kind}.", nearest(name, known))

    def take(self, side: str, device: str, number: int, text: Text) -> None:
        """Give a place on a router or mixer to one name.

        Raises:
            FileError: another has it.
        """
        first = self._taken.setdefault((side, device, number), text)
        if first is not text:
            raise text.wrong(f"{device} {side} {number} is taken in line {first.line}.", "Give each its own.")

    def is_doubtful(self, node: Node) -> bool:
        """Does it speak of something whose own lines are wrong?"""
        match node:
            case Text():
                return any(word in self.doubtful for word in node.value.split())
            case Rows():
                return any(self.is_doubtful(item) for item in node)
            case Table():
                return any(self.is_doubtful(value) for value in node.values.values())
        return False


def unknown(text: Text, thing: str, known: Mapping[str, object]) -> FileError:
    """The error of a name that stands nowhere."""
    return text.wrong(f'there is no {thing} "{text.value[:40]}".', nearest(text.value, known))
