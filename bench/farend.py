"""How is the far end of a measurement built, started and asked? See deck.c."""

import shutil
import socket
import subprocess
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

DECK: Final = "deck"
NO_COMPILER: Final = (
    "The bench builds its far end with gcc, which is not here. On Debian: apt-get install gcc libc6-dev"
)


class FarEndError(Exception):
    """One sentence: what is missing, and what to do."""


def address(device: int) -> str:
    """Where recorder number `device`, from 0, listens: on loopback, an address each."""
    return f"127.1.{device // 200}.{device % 200 + 1}"


def build(folder: Path, name: str = DECK) -> Path:
    """Compile the stand-in, or another program of the bench, into `folder`.

    Raises:
        FarEndError: no compiler, or it refuses.
    """
    compiler = shutil.which("gcc")
    if compiler is None:
        raise FarEndError(NO_COMPILER)
    source = Path(__file__).with_name(f"{name}.c")
    program = folder / name
    made = subprocess.run(
        [compiler, "-O2", "-Wall", "-Wextra", "-o", str(program), str(source)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    if made.returncode:
        raise FarEndError(f"gcc can't build {source.name}. It says:\n{made.stderr}")
    return program


@dataclass(frozen=True, slots=True)
class Stamps:
    """When the recorders were told to record, by the kernel's receive stamps, ns since 1970."""

    count: int
    first: int
    last: int


class FarEnd:
    """N recorders in a process of their own; ends with the `with` block."""

    def __init__(self, program: Path, number: int) -> None:
        self.number = number
        self._process = subprocess.Popen(
            [str(program), str(number)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._process.stdout is not None
        self.port, door = map(int, self._process.stdout.readline().split())
        self._door = socket.create_connection(("127.0.0.1", door), timeout=10)
        self._answers = self._door.makefile("r")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._answers.close()
        self._door.close()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()
        self._process.wait(10)

    def stamps(self) -> Stamps:
        """The records of healthy recorders since the last call."""
        count, first, last, wrong = map(int, self._ask("dump").split())
        if wrong:
            raise FarEndError(f"{wrong} stamps lie after their reading: this machine's clock jumped. Run again.")
        return Stamps(count, first, last)

    def fault(self, device: int, word: str, milliseconds: int = 0) -> None:
        """One recorder is dead, slow, refuses, or has none (which also releases what it held back)."""
        self._ask(f"fault {device} {word} {milliseconds}")

    def delay(self, milliseconds: int) -> None:
        """Every recorder takes this long to begin."""
        self._ask(f"delay {milliseconds}")

    def stream(self, rate: float) -> None:
        """Each connection that is open now gets so many notices a second."""
        self._ask(f"stream {rate}")

    def sent(self) -> int:
        """Notices of the stream so far."""
        return int(self._ask("sent"))

    def flood(self, device: int, bytes_per_s: float) -> None:
        """One recorder sends so many bytes of notices a second, as far as they are taken; 0: no more."""
        self._ask(f"flood {device} {int(bytes_per_s)}")

    def flooded(self) -> int:
        """Bytes of the flood that were taken so far."""
        return int(self._ask("flooded"))

    def _ask(self, line: str) -> str:
        self._door.sendall(line.encode() + b"\n")
        return self._answers.readline()
