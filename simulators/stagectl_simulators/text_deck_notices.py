"""When does a text deck speak unasked? It compares what it told last with what is so, and keeps its tickers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from stagectl_simulators import text_deck_reports as reports
from stagectl_simulators.model import Sends
from stagectl_simulators.text_deck_answers import Session
from stagectl_simulators.text_deck_machine import Deck
from stagectl_simulators.text_deck_wire import block

SLOT_NOTICE_S: Final = 5.0  # between slot notices while it rolls; own choice
CATCH_UP_S: Final = 1.0  # a ticker that was not looked at for longer leaves out what it missed


@dataclass(slots=True)
class Ticker:
    """Something that is said again and again."""

    next_s: float | None = None

    def set(self, period_s: float, now_s: float) -> None:
        """Run with a period; 0 stops it. A running one keeps its next time."""
        if not period_s:
            self.next_s = None
        elif self.next_s is None:
            self.next_s = now_s + period_s

    def take(self, period_s: float, now_s: float) -> bool:
        """Is it due? If so, the next time is set."""
        if self.next_s is None or self.next_s > now_s:
            return False
        self.next_s += period_s
        return True

    def skip(self, now_s: float) -> None:
        """Leave out what nobody was there to say."""
        if self.next_s is not None:
            self.next_s = max(self.next_s, now_s - CATCH_UP_S)


class Notices:
    """The notices of one deck."""

    def __init__(self, deck: Deck) -> None:
        self._deck = deck
        self._storm, self._timecode, self._slots = Ticker(), Ticker(), Ticker()
        self._told: dict[str, dict[str, str]] = {}
        self._told = dict(self._now(0.0))

    def _now(self, now_s: float) -> Iterable[tuple[str, dict[str, str]]]:
        """What is worth a notice when it changes: flag, or flag and number -> names and values."""
        deck = self._deck
        yield "transport", reports.steady(deck, now_s)
        for slot in deck.slots:
            yield f"slot {slot.number}", {"status": slot.status, "video format": deck.setup.video_format}
        yield "remote", reports.remote(deck)
        yield "configuration", dict(deck.setup.configuration)
        yield "dropped frames", {"dropped frames": str(deck.dropped)}

    def changes(self, sessions: Iterable[Session], now_s: float) -> Sends:
        """Say what has changed since it was said last."""
        sends: Sends = []
        heard = list(sessions)
        for what, values in self._now(now_s):
            before = self._told[what]
            if values != before:
                self._told[what] = values
                changed = [name for name, value in values.items() if before.get(name) != value]
                flag = "slot" if what.startswith("slot") else what
                sends += self._send(heard, flag, self._block(what, changed, now_s))
        return sends

    def _block(self, what: str, changed: list[str], now_s: float) -> bytes:
        deck = self._deck
        if what == "transport":
            full = reports.transport(deck, now_s)
            short = deck.faults.short_notices
            return block(
                508, "transport info", {name: full[name] for name in changed if name in full} if short else full
            )
        if what.startswith("slot"):
            return block(502, "slot info", reports.slot(deck, deck.slots[int(what[5:]) - 1], now_s))
        if what == "remote":
            return block(510, "remote info", reports.remote(deck))
        if what == "configuration":
            return block(511, "configuration", deck.setup.configuration)
        return block(512, "dropped frames", {"dropped frames": str(deck.dropped)})  # the number is a guess (?)

    def _send(self, sessions: Iterable[Session], flag: str, data: bytes) -> Sends:
        if self._deck.faults.no_notices:
            return []
        return [(session.number, data) for session in sessions if session.notify[flag] and not session.leaving]

    def wind(self, sessions: Iterable[Session], now_s: float) -> None:
        """Start and stop the tickers after whatever happened."""
        flags = {flag for session in sessions for flag, on in session.notify.items() if on}
        faults = self._deck.faults
        wanted = set() if faults.no_notices else flags
        self._storm.set(1 / faults.notice_storm if faults.notice_storm and "transport" in wanted else 0.0, now_s)
        self._timecode.set(1 / self._deck.setup.timecode_hz if "display timecode" in wanted else 0.0, now_s)
        self._slots.set(SLOT_NOTICE_S if "slot" in wanted and self._deck.rolling is not None else 0.0, now_s)

    def skip(self, now_s: float) -> None:
        """Time is about to pass up to `now_s`, in one go."""
        for ticker in (self._storm, self._timecode):
            ticker.skip(now_s)

    def due_s(self) -> float | None:
        """When the next ticker is due."""
        times = [each.next_s for each in (self._storm, self._timecode, self._slots) if each.next_s is not None]
        return min(times, default=None)

    def ticks(self, sessions: Iterable[Session], now_s: float) -> Sends:
        """Say what the tickers have to say."""
        deck, sends, heard = self._deck, Sends(), list(sessions)
        if deck.faults.notice_storm and self._storm.take(1 / deck.faults.notice_storm, now_s):
            sends += self._send(heard, "transport", block(508, "transport info", reports.transport(deck, now_s)))
        if self._timecode.take(1 / deck.setup.timecode_hz, now_s):
            label = {"display timecode": deck.label(now_s), "timecode": deck.label(now_s)}
            sends += self._send(heard, "display timecode", block(513, "display timecode", label))  # a guess too (?)
        if self._slots.take(SLOT_NOTICE_S, now_s):
            sends += self._send(heard, "slot", block(502, "slot info", reports.slot(deck, deck.active, now_s)))
        return sends
