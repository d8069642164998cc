"""How does a text deck read requests and write replies? Its framing, in three shapes of request.

1. `command`; 2. one line, `command: name: value name: value`, where a value ends at the next name the command knows;
3. a block, `command:`, then `name: value` lines, then an empty line. Lines end in CR LF; a lone LF is taken too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

MAX_LINE: Final = 4096  # bytes; a longer line is thrown away up to its end and answered 100. Own choice
MAX_PARAMETERS: Final = 64  # lines of a block; what is more is thrown away and answered 100. Own choice


@dataclass(frozen=True, slots=True)
class Request:
    """A request as it was read. `broken`: a line of it fits no shape, so it is answered with a syntax error."""

    command: str
    parameters: tuple[tuple[str, str], ...] = ()
    broken: bool = False


class RequestReader:
    """The reading end of one connection; any split of a stream gives the same requests."""

    def __init__(self, words: Mapping[str, tuple[str, ...]]) -> None:
        """`words`: each command with the names of its parameters."""
        self._words = words
        self._tail = bytearray()
        self._skipping = False  # inside a line that is too long
        self._block: str | None = None  # the command of the block that is open
        self._lines: list[tuple[str, str]] = []
        self._broken = False

    def feed(self, data: bytes) -> list[Request]:
        """Return the requests that `data` completes."""
        requests: list[Request] = []
        *ended, rest = data.split(b"\n")
        for piece in ended:
            self._tail += piece[: MAX_LINE + 1]
            line, self._tail = bytes(self._tail), bytearray()
            too_long = self._skipping or len(line) > MAX_LINE
            self._skipping = False
            request = self._too_long() if too_long else self._line(line.decode("utf-8", "replace"))
            if request is not None:
                requests.append(request)
        self._tail += rest[: MAX_LINE + 1]
        if len(self._tail) > MAX_LINE:
            self._tail.clear()
            self._skipping = True
        return requests

    def _too_long(self) -> Request | None:
        if self._block is None:
            return Request("", broken=True)
        self._broken = True
        return None

    def _line(self, line: str) -> Request | None:
        text = line.strip()
        if self._block is not None:
            return self._block_line(text)
        if not text:
            return None
        command, colon, rest = text.partition(":")
        if not colon:
            return Request(text)
        if not rest:
            self._block = command
            return None
        return self._one_line(command, rest.strip())

    def _block_line(self, text: str) -> Request | None:
        if text:
            name, colon, value = text.partition(":")
            self._broken = self._broken or not colon or len(self._lines) >= MAX_PARAMETERS
            if not self._broken:
                self._lines.append((name.strip(), value.strip()))
            return None
        request = Request(self._block or "", tuple(self._lines), self._broken)
        self._block, self._lines, self._broken = None, [], False
        return request

    def _one_line(self, command: str, rest: str) -> Request:
        names = self._words.get(command, ())
        found = list(re.finditer(rf"(?:^|(?<=\s))({'|'.join(map(re.escape, names))}):", rest)) if names else []
        if not found or found[0].start() > 0:  # it begins with a name this command does not know, or with none
            name, colon, value = rest.partition(":")
            return Request(command, ((name.strip(), value.strip()),), broken=not colon)
        ends = [match.start() for match in found[1:]] + [len(rest)]
        pairs = [(match[1], rest[match.end() : end].strip()) for match, end in zip(found, ends, strict=True)]
        return Request(command, tuple(pairs))


def line(code: int, text: str) -> bytes:
    """Write a reply of one line."""
    return f"{code} {text}\r\n".encode()


def block(code: int, title: str, parameters: Mapping[str, str] | Iterable[str]) -> bytes:
    """Write a reply or notice with parameters, or with bare lines, closed by an empty line."""
    if isinstance(parameters, Mapping):
        parameters = [f"{name}: {value}" for name, value in parameters.items()]
    return "\r\n".join([f"{code} {title}:", *parameters, "", ""]).encode()


def truth_word(value: bool) -> str:
    """Write a switch as the wire does."""
    return "true" if value else "false"
