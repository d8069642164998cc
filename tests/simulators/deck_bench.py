"""How does a test talk to a text deck without a socket? One deck, its clients and a time that the test sets."""

from __future__ import annotations

import random
from collections import defaultdict

from stagectl_simulators.house_clock import HouseClock
from stagectl_simulators.model import Sends
from stagectl_simulators.text_deck import TextDeck, build


class DeckBench:
    """A deck on the bench. `said` returns and forgets what a client heard, as text."""

    def __init__(self, **options: object) -> None:
        settings: dict[str, object] = {"roll_delay_s": 0.4, "stop_delay_s": 0.1}
        self.deck: TextDeck = build("iso-1", settings | options, random.Random(7), HouseClock())
        self.now_s = 0.0
        self._heard: dict[int, bytes] = defaultdict(bytes)

    def _keep(self, sends: Sends) -> None:
        for client, data in sends:
            self._heard[client] += data

    def join(self, client: int = 1, *notices: str) -> str:
        """Connect, ask for notices, return the greeting."""
        self._keep(self.deck.open(client, "127.0.0.1", self.now_s).sends)
        greeting = self.said(client)
        for flag in notices:
            assert self.ask(f"notify: {flag}: true", client) == "200 ok\r\n"
        return greeting

    def ask(self, request: str, client: int = 1) -> str:
        """Send a request with its line end; return all that this client heard meanwhile."""
        self._keep(self.deck.feed(client, request.encode() + b"\r\n", self.now_s))
        return self.said(client)

    def said(self, client: int = 1) -> str:
        return self._heard.pop(client, b"").decode("utf-8", "replace")

    def wait(self, seconds: float) -> None:
        """Let time pass in one go."""
        self.now_s = round(self.now_s + seconds, 6)
        self._keep(self.deck.advance(self.now_s))

    def press(self, act: str, **args: object) -> None:
        self._keep(self.deck.panel(act, args, self.now_s))

    def turn(self, fault: str, value: bool | float = True) -> None:
        """Turn a switch as the server does: the deck is told of it at once."""
        self.deck.faults.turn(fault, value)
        self._keep(self.deck.advance(self.now_s))

    def value(self, request: str, name: str, client: int = 1) -> str:
        """One value of the reply to a request that looks."""
        return values(self.ask(request, client))[name]

    @property
    def status(self) -> str:
        return self.value("transport info", "status")

    def history(self) -> list[tuple[object, object]]:
        """What really happened: (what, cause)."""
        entries = self.deck.truth(self.now_s)["history"]
        assert isinstance(entries, list)
        return [(entry["what"], entry["cause"]) for entry in entries]

    def clips(self) -> list[tuple[object, object, object]]:
        """The true clips: (name, slot, frames)."""
        clips = self.deck.truth(self.now_s)["clips"]
        assert isinstance(clips, list)
        return [(clip["name"], clip["slot"], clip["frames"]) for clip in clips]


def values(reply: str) -> dict[str, str]:
    """The `name: value` lines of a reply."""
    return dict(line.split(": ", 1) for line in reply.split("\r\n")[1:] if ": " in line)
