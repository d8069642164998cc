"""What went over a box's wire? A bounded record of both directions, in text that people can read."""

from __future__ import annotations

from collections import deque
from typing import Final

WIRE_LOG_LIMIT: Final = 5000  # entries kept; own choice, minutes of polling


def readable(data: bytes) -> str:
    """Bytes as text: printable UTF-8 as it is, everything else as a backslash escape."""
    text = data.decode("utf-8", "surrogateescape")
    return "".join(_readable(character) for character in text)


def _readable(character: str) -> str:
    if 0xDC80 <= ord(character) <= 0xDCFF:  # a byte that is no UTF-8
        return f"\\x{ord(character) - 0xDC00:02x}"
    if character == "\\" or not character.isprintable():
        return character.encode("unicode_escape").decode("ascii")
    return character


class WireLog:
    """The last entries of one box, each with a number `n` that only grows; the oldest go first.

    `way` is "in" (to the box), "out" (from the box), "open", "refused", "close" (by the box, or both), "lost" (by the
    client) or "reset" (by a fault).
    """

    def __init__(self, limit: int = WIRE_LOG_LIMIT) -> None:
        self._entries: deque[dict[str, object]] = deque(maxlen=limit)
        self._count = 0

    def note(self, now_s: float, client: int, way: str, data: bytes = b"") -> None:
        """Write one entry; one segment as it was heard or handed to the socket."""
        self._count += 1
        entry: dict[str, object] = {
            "n": self._count,
            "at_s": round(now_s, 6),
            "client": client,
            "way": way,
            "text": readable(data),
        }
        self._entries.append(entry)

    def since(self, number: int) -> list[dict[str, object]]:
        """The entries with a number above `number` that are still kept, oldest first."""
        kept = len(self._entries)
        first = self._count - kept  # number of the newest entry that is gone
        return list(self._entries)[max(0, min(kept, number - first)) :]

    @property
    def last(self) -> int:
        """The number of the newest entry; 0 before the first."""
        return self._count

    def clear(self) -> None:
        """Forget the entries; the numbers go on."""
        self._entries.clear()
