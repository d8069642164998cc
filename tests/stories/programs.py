"""The product as people start it: programs of their own, on free ports of loopback."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from click.testing import CliRunner

from stagectl.cli import logs, main
from stagectl_simulators import client

WAIT_S = 30.0  # for a program to end; a test fails then, no program is waited for longer
# what only looks, of a text deck's requests; from memory of public documentation
LOOKS = (
    "device info",
    "slot info",
    "clips",
    "transport info",
    "disk list",
    "configuration",
    "notify",
    "ping",
    "remote",
)


class Program:
    """A `stagectl` verb that runs until it is told to end, and what it said so far."""

    def __init__(self, args: Sequence[str], folder: Path, **env: str) -> None:
        self.said: list[str] = []
        self._log = (folder / f"{args[0]}.log").open("w+", encoding="utf-8")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "stagectl", *args],
            stdout=subprocess.PIPE,
            stderr=self._log,
            text=True,
            env={**os.environ, **env},
            start_new_session=True,
        )

    def until(self, text: str) -> str:
        """Read what it prints up to a line that holds `text`; that line."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.rstrip("\n"))
            if text in line:
                return self.said[-1]
        self._log.seek(0)
        raise AssertionError(f"It ended without {text!r}: {self.said} {self._log.read()}")

    def logged(self) -> str:
        self._log.seek(0)
        return self._log.read()

    def end(self, by: signal.Signals = signal.SIGINT) -> int:
        """Tell it to end; its exit code. A Ctrl-C reaches its children too, as a terminal's does."""
        if by is signal.SIGINT:
            os.killpg(self.process.pid, by)
        else:
            self.process.send_signal(by)
        return self.process.wait(WAIT_S)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(WAIT_S)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self._log.close()


@contextmanager
def program(args: Sequence[str], folder: Path, **env: str) -> Iterator[Program]:
    running = Program(args, folder, **env)
    try:
        yield running
    finally:
        running.close()


def stagectl(*args: str, **env: str) -> subprocess.CompletedProcess[str]:
    """One call of the terminal."""
    command = [sys.executable, "-m", "stagectl", *args]
    return subprocess.run(
        command, capture_output=True, text=True, env={**os.environ, **env}, timeout=WAIT_S, check=False
    )


def refused(*args: str) -> str:
    """Why a verb does not even begin, exit 2; in this process, since nothing has started yet."""
    with patch.object(logs, "set_up"):  # it would set up the log of all tests after this one
        done = CliRunner().invoke(main, list(args))
    assert done.exit_code == 2, done.output
    assert "Traceback" not in done.stderr
    return done.stderr


def changes(entries: Sequence[dict[str, object]]) -> list[str]:
    """What went to a deck and does more than look."""
    asked = [str(one["text"]) for one in entries if one["way"] == "in"]
    return [text for text in asked if not text.startswith(LOOKS)]


class Wires(threading.Thread):
    """Reads the wire logs of simulators again and again, until their door is gone: what was last on each wire."""

    def __init__(self, door: str, boxes: Sequence[str]) -> None:
        super().__init__(daemon=True)
        self.entries: dict[str, list[dict[str, object]]] = {box: [] for box in boxes}
        self.read = threading.Event()  # every wire was read once
        self._door = door

    def run(self) -> None:
        while True:
            for box, own in self.entries.items():
                try:
                    own.extend(client.wire(self._door, box, int(str(own[-1]["n"])) if own else 0))
                except client.DoorError:
                    return
            self.read.set()
