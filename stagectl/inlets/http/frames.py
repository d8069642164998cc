"""How does one message go to many clients? Its bytes are made once, for WebSocket and for server-sent events."""

import struct
from functools import cached_property
from typing import Final

TEXT: Final = 0x1
CLOSE: Final = 0x8


def websocket_frame(payload: bytes, opcode: int = TEXT) -> bytes:
    """One unmasked, whole frame of a server (RFC 6455, section 5.2)."""
    size = len(payload)
    if size < 126:
        head = bytes((0x80 | opcode, size))
    elif size < 1 << 16:
        head = struct.pack(">BBH", 0x80 | opcode, 126, size)
    else:
        head = struct.pack(">BBQ", 0x80 | opcode, 127, size)
    return head + payload


def close_frame(code: int) -> bytes:
    """Says goodbye with a code of RFC 6455, section 7.4."""
    return websocket_frame(struct.pack(">H", code), CLOSE)


class Message:
    """One JSON text, framed when somebody needs it.

    Args:
        what: the event's name for server-sent events: "snapshot" or "changes".
        at: "epoch-revision", its id there.
    """

    def __init__(self, what: str, at: str, text: str) -> None:
        self._what = what
        self._at = at
        self.payload = text.encode()

    @cached_property
    def websocket(self) -> bytes:
        """As one frame."""
        return websocket_frame(self.payload)

    @cached_property
    def event(self) -> bytes:
        """As an event of a stream; the text holds no line end, JSON escapes them."""
        return b"id: %b\nevent: %b\ndata: %b\n\n" % (self._at.encode(), self._what.encode(), self.payload)

    @cached_property
    def event_chunk(self) -> bytes:
        """The event as one chunk of HTTP/1.1."""
        return chunk(self.event)


def chunk(data: bytes) -> bytes:
    """One chunk of a chunked body (RFC 9112, section 7.1)."""
    return b"%x\r\n%b\r\n" % (len(data), data)
