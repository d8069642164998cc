"""How is the machine made a bad one for one process? Disk, clock, handles, processor, by what Linux and Debian have.

Each of these fails the test, with what to install or allow, where it can't be had: none is left out quietly.
"""

import os
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest

FAKETIME: Final = "faketime/libfaketime.so.1"


def program(name: str, package: str) -> str:
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/sbin")
    if found is None:
        pytest.fail(f"{name} is not installed. On Debian: apt-get install {package}")
    return found


def own_mounts() -> list[str]:
    """The words that begin a command with file systems of its own."""
    return [program("unshare", "util-linux"), *(["--map-root-user"] if os.geteuid() else []), "--mount"]


def small_disk(folder: Path, size: str) -> list[str]:
    """The words that begin a command for which `folder` is a disk of that size. `inside` is how others see it."""
    folder.mkdir(exist_ok=True)
    script = f'mount -t tmpfs -o size={size},mode=700 tmpfs "$0" && exec "$@"'
    return [*own_mounts(), "/bin/sh", "-c", script, str(folder)]


def inside(pid: int, folder: Path) -> Path:
    """A folder as that process sees it. Source: proc(5), root."""
    return Path(f"/proc/{pid}/root{folder}")


def fill(folder: Path) -> Path:
    """Take all room that is left; the file that holds it."""
    path = folder / "somebody-elses-film"
    with path.open("wb", buffering=0) as film:
        for size in (1 << 16, 1 << 10, 1):
            try:
                while True:
                    film.write(bytes(size))
            except OSError:
                continue
    return path


@contextmanager
def syncs_fail(pid: int, error: str = "EIO") -> Iterator[None]:
    """Each sync of a process fails. Source: strace(1), tampering."""
    strace = program("strace", "strace")
    words = [strace, "--follow-forks", "--attach", str(pid), "--trace=fdatasync,fsync"]
    inject = ["--inject=fdatasync,fsync:error=" + error, "--output=/dev/null"]
    with subprocess.Popen([*words, *inject], stderr=subprocess.PIPE, text=True) as tracer:
        assert tracer.stderr is not None
        said = tracer.stderr.readline()
        assert "attached" in said, f"strace can't attach: {said}. It needs root, or ptrace_scope 0."
        try:
            yield
        finally:
            tracer.send_signal(signal.SIGINT)
            tracer.wait(10)


class WallClock:
    """The wall clock of a process that is started in `env`, and of that alone; its monotonic clock is left as it is."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "wall-clock"
        self.step(0)

    @property
    def env(self) -> dict[str, str]:
        """Source: README of libfaketime 0.9.10."""
        found = next((path for path in Path("/usr/lib").glob(f"*/{FAKETIME}")), None)
        if found is None:
            pytest.fail("libfaketime is not installed. On Debian: apt-get install libfaketime")
        return {
            "LD_PRELOAD": str(found),
            "FAKETIME_TIMESTAMP_FILE": str(self._file),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        }

    def step(self, seconds: float) -> None:
        """It is so much later than it is."""
        new = self._file.with_suffix(".new")
        new.write_text(f"{seconds:+.0f}\n")
        new.replace(self._file)


def few_handles(number: int) -> list[str]:
    """The words that begin a command that may open so many files."""
    return [program("prlimit", "util-linux"), f"--nofile={number}:{number}", "--"]


@contextmanager
def paused(pid: int) -> Iterator[None]:
    """SIGSTOP, and on again."""
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


@contextmanager
def starved(pid: int, share: float, turn_s: float = 0.1) -> Iterator[None]:
    """It gets that share of the time, turn by turn."""
    over = threading.Event()

    def squeeze() -> None:
        while not over.is_set():
            with paused(pid):
                over.wait((1 - share) * turn_s)
            time.sleep(share * turn_s)

    thread = threading.Thread(target=squeeze, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(5)
