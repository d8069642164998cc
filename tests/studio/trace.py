"""What happened in a run, in which order? One line per effect, arrival and fault, and a hash over them all."""

import hashlib
from collections.abc import Callable


class Trace:
    """Lines of "virtual time, process, what". `lines` is kept only where somebody wants to read them.

    Attributes:
        count: lines so far.
        on_line: called with each line (at, process, what), for rules that follow along.
    """

    def __init__(self, now: Callable[[], float], *, keep: bool = False) -> None:
        self.lines: list[str] | None = [] if keep else None
        self.count = 0
        self.on_line: list[Callable[[float, str, str], None]] = []
        self._now = now
        self._hash = hashlib.blake2b(digest_size=16)

    def note(self, process: str, what: str) -> None:
        at = self._now()
        line = f"{at:.6f} {process} {what}"
        self.count += 1
        self._hash.update(line.encode("utf-8", "backslashreplace"))
        self._hash.update(b"\n")
        if self.lines is not None:
            self.lines.append(line)
        for tell in self.on_line:
            tell(at, process, what)

    @property
    def hash(self) -> str:
        """Over all lines so far, whole bytes included."""
        return self._hash.hexdigest()


def first_difference(one: list[str], other: list[str]) -> str:
    """Where two traces part, with what came before; empty: nowhere."""
    for number, (left, right) in enumerate(zip(one, other, strict=False)):
        if left != right:
            before = "\n".join(one[max(0, number - 3) : number])
            return f"line {number + 1}:\n{before}\n< {left}\n> {right}"
    if len(one) != len(other):
        longer = one if len(one) > len(other) else other
        return f"one ends at line {min(len(one), len(other))}, the other goes on: {longer[min(len(one), len(other))]}"
    return ""
