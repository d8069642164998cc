"""A clip store that answers as a test tells it, over real sockets in a thread: what no well-made server does."""

import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any

Answer = str | Callable[["OddFtp", str], None]


class OddFtp:
    """One session after another.

    Args:
        answers: command word, or "word argument" -> the reply, or what to do; "" is the greeting.

    Attributes:
        heard: every line that came.
        lines: what a list or a file sends.
    """

    def __init__(self, answers: Mapping[str, Answer], data: bytes = b"") -> None:
        self.heard: list[str] = []
        self.data = data
        self.released = threading.Event()  # lets what hangs go on at the end of a test
        self._answers: dict[str, Answer] = {
            "": "220 ready",
            "USER": "331 go on",
            "PASS": "230 in",
            "OPTS": "200 ok",
            "TYPE": "200 ok",
            "SIZE": f"213 {len(data)}",
            "MDTM": "213 20270312120000",
            "EPSV": OddFtp.extended,
            "PASV": OddFtp.passive,
            "RETR": OddFtp.send,
            "MLSD": OddFtp.send,
            "LIST": OddFtp.send,
            "REST": "350 go on",
            "QUIT": "221 bye",
        } | dict(answers)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._ports: list[socket.socket] = []
        self.control: socket.socket | None = None
        self.address: tuple[str, int] = self._listener.getsockname()
        self.thread = threading.Thread(target=self._serve, daemon=True)

    def say(self, line: str) -> None:
        assert self.control is not None
        self.control.sendall(line.encode("latin-1") + b"\r\n")

    def extended(self, _: str) -> None:
        self.say(f"229 here (|||{self._port()}|)")

    def passive(self, _: str, host: str = "127,0,0,1") -> None:
        port = self._port()
        self.say(f"227 here ({host},{port >> 8},{port & 255})")

    def data_line(self) -> socket.socket:
        line, _ = self._ports[-1].accept()
        return line

    def send(self, _: str) -> None:
        with self.data_line() as line:
            self.say("150 here it comes")
            line.sendall(self.data)
        self.say("226 that was all")

    def end(self) -> None:
        self.released.set()
        for one in (self.control, self._listener, *self._ports):
            if one is not None:
                with suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)
                one.close()
        self.thread.join(10)

    def _port(self) -> int:
        self._ports.append(socket.create_server(("127.0.0.1", 0)))
        return int(self._ports[-1].getsockname()[1])

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                self.control, _ = self._listener.accept()
                with suppress(OSError):
                    self._session(self.control)

    def _session(self, control: socket.socket) -> None:
        self._answer("", "")
        with control.makefile("r", encoding="latin-1", newline="\r\n") as lines:
            for line in lines:
                text = line.rstrip("\r\n")
                self.heard.append(text)
                word, _, argument = text.partition(" ")
                self._answer(text if text in self._answers else word, argument)

    def _answer(self, word: str, argument: str) -> None:
        answer = self._answers.get(word, "500 what?")
        if isinstance(answer, str):
            if answer:
                self.say(answer)
        else:
            answer(self, argument)


@contextmanager
def odd_ftp(answers: Mapping[str, Any] | None = None, data: bytes = b"") -> Iterator[OddFtp]:
    server = OddFtp(answers or {}, data)
    server.thread.start()
    try:
        yield server
    finally:
        server.end()
