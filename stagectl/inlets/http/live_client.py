"""What is kept for a follower that does not read? The newest of each point, few entries, its own answers."""

import asyncio
from collections import deque
from collections.abc import Iterable, Sequence
from typing import Any, Final

from stagectl.control.access import Person
from stagectl.control.chronicle import Entry
from stagectl.inlets.http.connection import Connection
from stagectl.inlets.http.frames import Message, chunk, close_frame, websocket_frame
from stagectl.inlets.strict_json import written
from stagectl.model.points import Reading

HELD: Final = 200  # entries and answers kept for a client that does not read; with more it gets a fresh snapshot
BUFFER_BYTES: Final = 1 << 20  # waiting for a client before it counts as one that does not read


class Client:
    """One follower.

    Attributes:
        person: who follows.
        devices: only these are seen; None: all.
        points: of these only points are told, but the entries of all `devices`; None: of all `devices`.
        fresh: it needs a snapshot.
        held: points that changed while it did not read, newest only.
        unsaid: what is said of the house became something else while it did not read.
    """

    __slots__ = (
        "_chunked",
        "_connection",
        "_socket",
        "answers",
        "devices",
        "entries",
        "fresh",
        "held",
        "lost",
        "person",
        "points",
        "unsaid",
    )

    def __init__(
        self,
        connection: Connection,
        person: Person,
        devices: frozenset[str] | None,
        *,
        websocket: bool,
        chunked: bool = True,
    ) -> None:
        self.person = person
        self._connection = connection
        self._socket = websocket
        self._chunked = chunked
        self.devices = devices
        self.points: frozenset[str] | None = None
        self.fresh = True
        self.unsaid = False
        self.held: dict[Reading[Any], None] = {}
        self.entries: deque[Entry] = deque()
        self.answers: deque[bytes] = deque()
        self.lost = asyncio.Event()
        if connection.transport is not None:
            connection.transport.set_write_buffer_limits(high=BUFFER_BYTES)

    @property
    def behind(self) -> bool:
        """It has not taken what was sent."""
        return self._connection.writing_paused

    def send(self, message: Message) -> None:
        """Hand over a message; nothing is awaited."""
        self._write(message.websocket if self._socket else message.event_chunk if self._chunked else message.event)

    def answer(self, plain: dict[str, Any]) -> None:
        """Tell this client alone, after what it has not read yet."""
        frame = websocket_frame(written(plain))
        if not self.behind:
            self._write(frame)
        elif len(self.answers) < HELD:
            self.answers.append(frame)
        else:
            self.end()

    def breathe(self) -> None:
        """Keep an idle stream of events alive."""
        if not self.behind:
            self._write(chunk(b": \n\n") if self._chunked else b": \n\n")

    def hold(self, readings: Iterable[Reading[Any]], entries: Sequence[Entry], *, said: bool) -> None:
        """Keep the newest for later; too much is one snapshot later. `said`: the sections changed too."""
        if self.fresh:
            return
        self.unsaid |= said
        self.held.update(dict.fromkeys(readings))
        self.entries.extend(entries)
        if len(self.entries) > HELD:
            self.fresh = True
            self.held.clear()
            self.entries.clear()

    def release(self) -> None:
        """It reads again: its own answers first."""
        while self.answers and not self.behind:
            self._write(self.answers.popleft())

    def end(self, code: int | None = None) -> None:
        """Let go of it, with a code for a socket that listens."""
        transport = self._connection.transport
        if transport is None:
            return
        if code is None or self.behind:
            transport.abort()
        else:
            transport.write(close_frame(code) if self._socket else b"0\r\n\r\n" if self._chunked else b"")
            transport.close()

    def _write(self, data: bytes) -> None:
        transport = self._connection.transport
        if transport is not None and not transport.is_closing():
            transport.write(data)
