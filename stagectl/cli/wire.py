"""How does one request go out and its answer come in? HTTP/1.1 over a socket that is open, and then done with.

The standard library's client would do, but it loads the parsers of mail and TLS first: a quarter of what a roll from
the terminal costs. What is spoken here is RFC 9112 for one request: lengths, chunks, or until the end.
"""

import re
import socket
from collections.abc import Mapping
from typing import BinaryIO, Final

LINE: Final = 64 * 1024  # bytes of one line; own choice, as the standard library's
LINES: Final = 100  # header fields, and trailers
LONGEST: Final = 64 * 1024 * 1024  # bytes of a body; the whole state of a large house takes one
_STATUS: Final = re.compile(rb"HTTP/1\.[01] ([1-5][0-9]{2})(?: [^\r\n]*)?")
_FIELD: Final = re.compile(rb"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*(.*?)[ \t]*")
_CHUNK: Final = re.compile(rb"([0-9A-Fa-f]{1,8})[ \t]*(?:;.*)?")


class AnswerError(Exception):
    """What came back is no whole answer of HTTP/1.1; one clause."""


def send(sock: socket.socket, method: str, target: str, headers: Mapping[str, str], body: bytes | None) -> None:
    """Send one request, after which the other side closes. Raises OSError; ValueError: a line end in what is sent."""
    told = {**headers, "Connection": "close"}
    if body is not None:
        told["Content-Length"] = str(len(body))
    lines = [f"{method} {target} HTTP/1.1", *(f"{name}: {value}" for name, value in told.items())]
    if any("\r" in line or "\n" in line for line in lines):
        raise ValueError("a line end in a header")
    sock.sendall("\r\n".join([*lines, "", ""]).encode("latin-1") + (body or b""))


def receive(sock: socket.socket) -> tuple[int, bytes]:
    """The status and body of the answer. Raises OSError, AnswerError."""
    with sock.makefile("rb") as stream:
        while True:
            found = _STATUS.fullmatch(_line(stream))
            if found is None:
                raise AnswerError("it does not speak HTTP")
            status, fields = int(found[1]), _fields(stream)
            if status >= 200:
                return status, b"" if status in (204, 304) else _body(stream, fields)


def _line(stream: BinaryIO) -> bytes:
    line = stream.readline(LINE + 1)
    if not line.endswith(b"\n"):
        raise AnswerError("a line of it is too long" if len(line) > LINE else "it ended before its end")
    return line[:-1].removesuffix(b"\r")


def _fields(stream: BinaryIO) -> dict[bytes, bytes]:
    fields: dict[bytes, bytes] = {}
    for _ in range(LINES):
        line = _line(stream)
        if not line:
            return fields
        found = _FIELD.fullmatch(line)
        if found is None:
            raise AnswerError("a header of it can't be read")
        name, value = found[1].lower(), found[2]
        if name in (b"content-length", b"transfer-encoding") and fields.get(name, value) != value:
            raise AnswerError("its length stands twice")
        fields[name] = value
    raise AnswerError(f"it has more than {LINES} headers")


def _body(stream: BinaryIO, fields: Mapping[bytes, bytes]) -> bytes:
    coding, length = fields.get(b"transfer-encoding"), fields.get(b"content-length")
    if coding is not None and length is not None:
        raise AnswerError("it has a length and chunks")  # RFC 9112, section 6.3: ought to be handled as an error
    if coding is not None:
        if coding.lower() != b"chunked":
            raise AnswerError("its coding is not known")
        return _chunks(stream)
    if length is None:
        return _exactly(stream, None)
    if not re.fullmatch(rb"[0-9]{1,12}", length):
        raise AnswerError("its length is no number")
    return _exactly(stream, int(length))


def _chunks(stream: BinaryIO) -> bytes:
    pieces: list[bytes] = []
    left = LONGEST
    while True:
        found = _CHUNK.fullmatch(_line(stream))
        if found is None:
            raise AnswerError("a chunk of it has no length")
        length = int(found[1], 16)
        if length == 0:
            _fields(stream)  # trailers; nothing of ours stands there
            return b"".join(pieces)
        left -= length
        if left < 0:
            raise AnswerError("it is too long")
        pieces.append(_exactly(stream, length))
        if _line(stream):
            raise AnswerError("a chunk of it is longer than it says")


def _exactly(stream: BinaryIO, length: int | None) -> bytes:
    """So many bytes; None: all up to the end."""
    if length is not None and length > LONGEST:
        raise AnswerError("it is too long")
    data = stream.read(LONGEST + 1 if length is None else length)
    if length is None and len(data) > LONGEST:
        raise AnswerError("it is too long")
    if length is not None and len(data) < length:
        raise AnswerError("it ended before its end")
    return data
