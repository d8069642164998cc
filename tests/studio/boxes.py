"""How is a shipped simulator watched, and made to misbehave on the wire? A model around a model.

It keeps every request that reached the box and when each reply was said, apart from the simulator's own histories.
"""

from typing import Any, Final

from stagectl_simulators.model import FaultSet, Model, Opened, Sends
from stagectl_simulators.text_deck_wire import RequestReader
from stagectl_simulators.text_deck_words import REQUESTS

LONG: Final = b"599 " + b"x" * (1 << 20)  # a line without an end


class WatchedBox:
    """Fulfils `Model`.

    Attributes:
        asked: (at, client, command, names of its parameters) of each request, for a text deck.
        said: client -> when each of its replies was said, in order; notices are not replies.
        opened: (at, client) of each connection.
        twice: say each reply twice, as a broken serial bridge does.
        endless: say one line without an end to everybody, once.
        taken: somebody else holds its only session.
    """

    def __init__(self, model: Model, *, text: bool) -> None:
        self.model = model
        self.kind = model.kind
        self.refusal = model.refusal
        self.asked: list[tuple[float, int, str, str]] = []
        self.said: dict[int, list[float]] = {}
        self.opened: list[tuple[float, int]] = []
        self.twice = False
        self.endless = False
        self.taken = False
        self._text = text
        self._readers: dict[int, RequestReader] = {}

    def __getattr__(self, name: str) -> Any:
        """What a box has beyond the contract, such as its deck."""
        return getattr(self.model, name)

    @property
    def faults(self) -> FaultSet:
        return self.model.faults

    def open(self, client: int, peer: str, now_s: float) -> Opened:
        if self.taken:
            return Opened([(client, self.refusal)], refuse=True)
        self.opened.append((now_s, client))
        self._readers[client] = RequestReader(REQUESTS)
        opened = self.model.open(client, peer, now_s)
        return Opened(self._pass(opened.sends, now_s), opened.refuse)

    def feed(self, client: int, data: bytes, now_s: float) -> Sends:
        if self._text and client in self._readers:
            for request in self._readers[client].feed(data):
                names = ",".join(name for name, _ in request.parameters)
                self.asked.append((now_s, client, request.command, names))
        return self._pass(self.model.feed(client, data, now_s), now_s)

    def close(self, client: int, now_s: float) -> None:
        self._readers.pop(client, None)
        self.model.close(client, now_s)

    def advance(self, now_s: float) -> Sends:
        return self._pass(self.model.advance(now_s), now_s)

    def due_s(self) -> float | None:
        return self.model.due_s()

    def panel(self, act: str, args: dict[str, object], now_s: float) -> Sends:
        return self._pass(self.model.panel(act, args, now_s), now_s)

    def reboot(self, now_s: float) -> None:
        self.model.reboot(now_s)

    def truth(self, now_s: float) -> dict[str, Any]:
        return self.model.truth(now_s)

    def drop(self) -> list[int]:
        return self.model.drop()

    def _pass(self, sends: Sends, now_s: float) -> Sends:
        passed: Sends = []
        for client, data in sends:
            reply = self._text and data[:1] in (b"1", b"2")
            if reply:
                self.said.setdefault(client, []).append(now_s)
            passed.append((client, data))
            if reply and self.twice:
                passed.append((client, data))
                self.said[client].append(now_s)
        if self.endless:
            self.endless = False
            passed += [(client, LONG) for client in self._readers]
        return passed
