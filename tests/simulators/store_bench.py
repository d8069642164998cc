"""How does a test reach simulated clip stores? The simulators as a process of their own, and a client of FTP."""

from __future__ import annotations

import ftplib
import io
import json
import subprocess
import sys
import time
from typing import Any, Self

from stagectl_simulators import client
from stagectl_simulators.clip_store import Media

COMMAND = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]
DECK: dict[str, Any] = {"roll_delay_s": 0.05, "stop_delay_s": 0.05}


class Stores:
    """Decks with clip stores, played while the `with` block runs.

    Attributes:
        door: of the simulators.
        boxes, stores: "host:port" by deck, of its control and of its clips.
    """

    def __init__(self, decks: dict[str, dict[str, Any]]) -> None:
        """`decks`: options of each, `clip_store` among them."""
        boxes = [{"id": name, "kind": "text-deck", "options": DECK | options} for name, options in decks.items()]
        self._spec = {"boxes": boxes}

    def __enter__(self) -> Self:
        self.process = subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(self._spec) + "\n")
        self.process.stdin.flush()
        ready = json.loads(self.process.stdout.readline())
        self.door: str = ready["door"]
        self.boxes: dict[str, str] = ready["boxes"]
        self.stores: dict[str, str] = ready["stores"]
        return self

    def __exit__(self, *_: object) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(10)
        self.process.stdout.close()

    def at(self, deck: str) -> tuple[str, int]:
        """Where a deck's clips are served."""
        host, port = self.stores[deck].split(":")
        return host, int(port)

    def login(self, deck: str, user: str = "", password: str = "", timeout_s: float = 5.0) -> ftplib.FTP:
        """A session in binary mode."""
        session = ftplib.FTP(timeout=timeout_s)
        try:
            session.connect(*self.at(deck))
            session.login(user, password)
            session.voidcmd("TYPE I")
        except BaseException:
            session.close()
            raise
        return session

    def turn(self, deck: str, fault: str, value: bool | float = True) -> None:
        client.set_fault(self.door, deck, fault, value)

    def faults(self, deck: str) -> list[str]:
        """Those that are on."""
        return [name for name, value in client.faults(self.door, deck).items() if value]

    def files(self, deck: str) -> dict[str, dict[str, Any]]:
        """The true files of a deck, by path."""
        return {str(each["path"]): each for each in client.store(self.door, deck)}

    def content(self, deck: str, path: str) -> bytes:
        """The true bytes of a file that grows no more."""
        file = self.files(deck)[path]
        return Media(file["identity"]).read(0, file["bytes"])

    def press(self, deck: str, act: str, **args: object) -> None:
        client.panel(self.door, deck, act, **args)

    def wait_for(self, deck: str, transport: str) -> dict[str, Any]:
        """Look at the truth until the deck is in a state; returns it."""
        end = time.monotonic() + 10
        while True:
            truth = client.truth(self.door, deck)
            if truth["transport"] == transport:
                return truth
            assert time.monotonic() < end, truth
            time.sleep(0.02)


def fetch(session: ftplib.FTP, path: str, rest: int | None = None) -> tuple[str, bytes]:
    """The bytes of a file, and the store's last word."""
    kept = io.BytesIO()
    word = session.retrbinary(f"RETR {path}", kept.write, rest=rest)
    return word, kept.getvalue()
