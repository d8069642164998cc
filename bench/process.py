"""How is a program started, asked, pressed and weighed from outside?"""

import contextlib
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from bench.farend import FarEnd, address

HOUSE: Final = Path(__file__).resolve().parent.parent
PATIENCE_S: Final = 60.0


class BenchError(Exception):
    """A measurement went wrong; one sentence."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One HTTP answer, with when it was asked and when it was here whole, ns since 1970."""

    status: int
    body: Any
    asked: int
    here: int


class Caller:
    """A blocking HTTP client on one connection, so that its own work is small and in another process."""

    def __init__(self, port: int, token: str = "") -> None:
        self._port = port
        self._token = f"Authorization: Bearer {token}\r\n" if token else ""
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def call(self, method: str, path: str, body: Mapping[str, Any] | None = None) -> Answer:
        """Ask and wait for the whole answer."""
        data = b"" if body is None else json.dumps(body).encode()
        kind = "Content-Type: application/json\r\n" if data else ""
        about = f"Host: 127.0.0.1:{self._port}\r\n{self._token}{kind}Content-Length: {len(data)}"
        head = f"{method} {path} HTTP/1.1\r\n{about}\r\n\r\n"
        whole = head.encode() + data
        asked = time.time_ns()
        self._socket.sendall(whole)
        got = b""
        while b"\r\n\r\n" not in got:
            got += self._more()
        top, _, rest = got.partition(b"\r\n\r\n")
        length = next(
            int(line.split(b":")[1]) for line in top.split(b"\r\n") if line.lower().startswith(b"content-length:")
        )
        parts, size = [rest], len(rest)
        while size < length:
            parts.append(self._more())
            size += len(parts[-1])
        here = time.time_ns()
        text = b"".join(parts)
        return Answer(int(top.split()[1]), json.loads(text) if text[:1] in (b"{", b"[") else text, asked, here)

    def close(self) -> None:
        self._socket.close()

    def _more(self) -> bytes:
        got = self._socket.recv(1 << 20)
        if not got:
            raise BenchError("A measured program closed the connection in the middle of an answer.")
        return got


class Measured:
    """A program that speaks `bench.inside`: its port first, then a line for a line."""

    def __init__(self, *arguments: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=HOUSE
        )
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line.strip().isdigit():
            self.__exit__(None, None, None)
            raise BenchError(f"{' '.join(arguments[:1])} did not start. Its own words stand above.")
        self.port = int(line)
        self.pid = self._process.pid

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def ask(self, line: str) -> dict[str, Any]:
        """Ask the process about itself."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        return answer

    def wait_ready(self, number: int) -> None:
        """Wait until it counts so many as ready.

        Raises:
            BenchError: it does not.
        """
        until = time.monotonic() + PATIENCE_S
        while (ready := self.ask("ready")["ready"]) < number:
            if time.monotonic() > until:
                raise BenchError(f"Only {ready} of {number} recorders were adopted in {PATIENCE_S:g} s.")
            time.sleep(0.05)

    def cpu_s(self) -> float:
        """Processor time of all its threads so far."""
        total = 0
        for thread in Path(f"/proc/{self.pid}/task").iterdir():
            with contextlib.suppress(FileNotFoundError):  # a thread may just have ended
                total += int((thread / "schedstat").read_text().split()[0])
        return total / 1e9


def resident_kb(pid: int) -> int:
    """Memory of a process that is really there."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    raise BenchError(f"Process {pid} is gone.")


def write_site(path: Path, far: FarEnd) -> Path:
    """A site file with every recorder of the far end."""
    rows = [
        f"  deck-{device + 1}: {{box: text-deck, at: '{address(device)}:{far.port}'}}\n" for device in range(far.number)
    ]
    path.write_text("site: Bench\ndevices:\n" + "".join(rows))
    return path


def may_open_files(number: int) -> None:
    """Raise our own limit of open files, which the measured programs inherit.

    Raises:
        BenchError: the machine allows fewer.
    """
    import resource  # noqa: PLC0415 - not on every system; the bench needs Linux, and says so elsewhere

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < number:
        if hard != resource.RLIM_INFINITY and hard < number:
            raise BenchError(f"This needs {number} open files, and the machine allows {hard}. Raise `ulimit -Hn`.")
        resource.setrlimit(resource.RLIMIT_NOFILE, (number, hard))


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0))
