"""Boxes that are none: what may listen at a recorder's address, and a name server, each in a thread or process."""

import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Final

GREETING: Final = b"500 connection info:\r\nprotocol version: 1.11\r\nmodel: Recorder\r\n\r\n"
NOTICE: Final = b"508 transport info:\r\nstatus: record\r\nspeed: 0\r\n\r\n"


@contextmanager
def listening(serve: Callable[[socket.socket], None]) -> Iterator[tuple[str, int]]:
    """An address where each connection is served so, in a thread of its own."""
    server = socket.create_server(("127.0.0.1", 0))

    def accept() -> None:
        while True:
            try:
                line, _ = server.accept()
            except OSError:
                return
            threading.Thread(target=run, args=(line,), daemon=True).start()

    def run(line: socket.socket) -> None:
        with line, suppress(OSError):
            serve(line)

    threading.Thread(target=accept, daemon=True).start()
    try:
        host, port = server.getsockname()
        yield str(host), int(port)
    finally:
        server.shutdown(socket.SHUT_RDWR)
        server.close()


def a_line_without_end(line: socket.socket) -> None:
    """A megabyte, and no line end in it."""
    line.sendall(GREETING)
    line.sendall(b"2" * (1 << 20))
    while line.recv(4096):
        pass


def a_reply_without_end(line: socket.socket) -> None:
    """It answers the first question with a block that goes on and on, a line at a time."""
    line.sendall(GREETING)
    line.recv(4096)
    line.sendall(b"204 device info:\r\n")
    stop = threading.Event()
    number = 0
    while not stop.wait(0.002):
        number += 1
        line.sendall(b"word %d: 1\r\n" % number)


_FLOOD: Final = f"""
import socket, threading
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
piece = {NOTICE!r} * 1000
def flood(line):
    try:
        line.sendall({GREETING!r})
        while True:
            line.sendall(piece)
    except OSError:
        pass
while True:
    line, _ = server.accept()
    threading.Thread(target=flood, args=(line,), daemon=True).start()
"""


@contextmanager
def a_flood() -> Iterator[tuple[str, int]]:
    """Notices as fast as they are taken, from a process of its own."""
    with subprocess.Popen([sys.executable, "-c", _FLOOD], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield "127.0.0.1", int(process.stdout.readline())
        finally:
            process.kill()


class NameServer(threading.Thread):
    """Answers every question for an address with `address`, or nobody as long as `silent`. Source: RFC 1035, 4.1.

    An answer may be kept for no time at all, as routers at home and in halls say of leased addresses.
    """

    def __init__(self, host: str) -> None:
        super().__init__(daemon=True)
        self.silent = True
        self.address = "127.0.0.1"
        self.asked = threading.Event()
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind((host, 53))

    def run(self) -> None:
        while True:
            try:
                question, who = self._socket.recvfrom(512)
            except OSError:
                return
            if not question:
                return  # closed
            self.asked.set()
            if not self.silent:
                self._socket.sendto(self._answer(question), who)

    def _answer(self, question: bytes) -> bytes:
        end = question.index(b"\0", 12) + 5  # the name, its type and its class
        is_a = question[end - 4 : end - 2] == b"\0\1"
        header = question[:2] + b"\x81\x80\0\1" + (b"\0\1" if is_a else b"\0\0") + b"\0\0\0\0"
        answer = b"\xc0\x0c\0\1\0\1\0\0\0\0\0\4" + socket.inet_aton(self.address) if is_a else b""
        return header + question[12:end] + answer

    def close(self) -> None:
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
