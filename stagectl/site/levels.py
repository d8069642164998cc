"""Which levels have the routers, and at which of them does a place or a tie-line stand?

A level beside video is switched by a router of its own. The file names places by the router of the pictures: "hall 3"
is input 3 of the hall at every level it has; a table says a number for each level, and leaves out what is not there.
"""

from dataclasses import dataclass, field

from stagectl.filetree import Node, Text
from stagectl.site.draft import Draft, unknown
from stagectl.site.entries import VIDEO
from stagectl.site.words import read_socket

Port = tuple[str, int]


@dataclass(slots=True)
class Matrices:
    """The router of each level, by level and by the router of the pictures beside it."""

    levels: dict[str, dict[str, str]] = field(default_factory=dict)
    _beside: dict[str, tuple[str, str]] = field(default_factory=dict)  # router -> level, router of the pictures

    def add(self, draft: Draft, level: str, base: Text, own: Text) -> None:
        """Take one in. Raises FileError."""
        for text in (base, own):
            draft.must_be("router", text.value, text)
        if own.value in self._beside or own.value == base.value:
            raise own.wrong(f"{own.value} switches something else already.", "A router switches one level.")
        if base.value in self._beside:
            raise base.wrong(*self._misnamed(base.value))
        self.levels[level][base.value] = own.value
        self._beside[own.value] = (level, base.value)

    def router(self, level: str, base: str, text: Text) -> str:
        """The router of a level. Raises FileError: there is none."""
        if base in self._beside:
            raise text.wrong(*self._misnamed(base))
        if level == VIDEO:
            return base
        own = self.levels[level].get(base)
        if own is None:
            raise text.wrong(f"{base} has no {level}.", "Write its router under `levels`, or leave it out here.")
        return own

    def _misnamed(self, router: str) -> tuple[str, str]:
        level, base = self._beside[router]
        return f"{router} is the {level} of {base}.", f"Write {base}, and {level} as the level."

    def of(self, *bases: str) -> list[str]:
        """The levels that all these routers have."""
        return [VIDEO, *(level for level, beside in self.levels.items() if all(base in beside for base in bases))]

    def level(self, text: Text) -> str:
        """A level by its name. Raises FileError."""
        if text.value != VIDEO and text.value not in self.levels:
            raise unknown(text, "level", {VIDEO: None, **self.levels})
        return text.value


def read_matrices(draft: Draft, node: Node | None) -> Matrices:
    """Read which routers switch what goes along with pictures."""
    found = Matrices()
    for level, key, value in draft.named(node):
        with draft.issues.gather():
            if level == VIDEO:
                raise key.wrong("video is the level that every router has.", "Write the others alone.")
            found.levels[level] = {}
            table = value.as_table()
            for base, own in table.items():
                with draft.issues.gather():
                    found.add(draft, level, table.keys[base], own.as_text())
    return found


def read_ends(draft: Draft, node: Node | None, side: str, matrices: Matrices) -> dict[str, dict[str, Port]]:
    """Read names for inputs or outputs of routers: by level, then by name. A name whose place is wrong is known too."""
    found: dict[str, dict[str, Port]] = {level: {} for level in (VIDEO, *matrices.levels)}
    for name, _, value in draft.named(node):
        found[VIDEO][name] = ("", 0)
        with draft.issues.gather():
            ports = _ports(draft, value, matrices)
            for port, text in ports.values():
                draft.take(side, *port, text)
            if VIDEO not in ports:
                del found[VIDEO][name]
            for level, (port, _) in ports.items():
                found[level][name] = port
    return found


def _ports(draft: Draft, node: Node, matrices: Matrices) -> dict[str, tuple[Port, Text]]:
    """Where it stands at each of its levels. Raises FileError."""
    found: dict[str, tuple[Port, Text]] = {}
    if isinstance(node, Text):
        base, number = read_socket(node)
        draft.must_be("router", base, node)
        for level in matrices.of(base):
            found[level] = ((matrices.router(level, base, node), number), node)
        return found
    table = node.as_table()
    for name, value in table.items():
        level, text = matrices.level(table.keys[name]), value.as_text()
        base, number = read_socket(text)
        draft.must_be("router", base, text)
        found[level] = ((matrices.router(level, base, text), number), text)
    if not found:
        raise table.wrong("the table is empty.", "Write a level, a router and a number.")
    return found
