"""How do lines of text lie on the wire of a mixer? Bytes in, words out.

Source: mixer-text family, common practice: ASCII lines that end in LF (CR LF is accepted), words between spaces,
names between double quotes with no way to escape one.
"""

import re
from dataclasses import dataclass
from typing import Final

MAX_LINE_BYTES: Final = 4096  # the family's own lines have a few hundred

_TOKEN: Final = re.compile(r'"([^"\x00-\x1f\x7f]*)"|([^\s"]+)')
_LINE: Final = re.compile(rf"(?:{_TOKEN.pattern})(?: +(?:{_TOKEN.pattern}))* *")


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a line. `"7"` and `7` differ: the first is a name, the second a number."""

    text: str
    is_quoted: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a client. `words` is None where it has no form: odd quotes, control signs, too long."""

    first: str  # the first word even then, "" if there is none: an answer names the verb
    words: tuple[Word, ...] | None = ()


class LineReader:
    """Cuts one client's bytes into lines. Any split of the same bytes gives the same lines."""

    def __init__(self) -> None:
        self._tail = b""

    def feed(self, data: bytes) -> list[Line]:
        lines = []
        *whole, rest = data.split(b"\n")
        for piece in whole:
            self._keep(piece)
            raw, self._tail = self._tail.removesuffix(b"\r"), b""
            lines.append(Line("", None) if len(raw) > MAX_LINE_BYTES else _line(raw))
        self._keep(rest)
        return lines

    def _keep(self, piece: bytes) -> None:
        self._tail += piece[: MAX_LINE_BYTES + 2 - len(self._tail)]


def _line(raw: bytes) -> Line:
    text = raw.decode(errors="replace")
    if not text.strip(" "):
        return Line("")
    first = text.split(maxsplit=1)[0] if text.split() else ""
    if not _LINE.fullmatch(text):
        return Line(first, None)
    words = tuple(
        Word(match[2]) if match[2] is not None else Word(match[1], is_quoted=True) for match in _TOKEN.finditer(text)
    )
    return Line(first, words)
