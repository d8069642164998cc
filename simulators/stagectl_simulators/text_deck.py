"""How does a disk recorder with a text protocol behave? The text deck: its clients, its time and its front panel.

Written from the text-deck sheet alone (from memory of public documentation, protocol versions 1.6 to 1.12). Its parts
are the modules beside it: wire (framing), words (tables), answers (requests), notices, reports (blocks), machine
(rolling and playing), media, playback, setup (options), faults.
"""

from __future__ import annotations

import random
from dataclasses import replace
from typing import ClassVar

from stagectl_simulators import text_deck_reports as reports
from stagectl_simulators.clip_store import StoredFile, StoreSetup
from stagectl_simulators.house_clock import HouseClock, label_of
from stagectl_simulators.model import Opened, Sends
from stagectl_simulators.text_deck_answers import Ask, Session, answer
from stagectl_simulators.text_deck_faults import TextDeckFaults
from stagectl_simulators.text_deck_machine import Deck
from stagectl_simulators.text_deck_media import Slot
from stagectl_simulators.text_deck_notices import Notices
from stagectl_simulators.text_deck_setup import read_setup
from stagectl_simulators.text_deck_shelf import Shelf
from stagectl_simulators.text_deck_wire import block, line
from stagectl_simulators.text_deck_words import FAILURES, VIDEO_FORMATS, Refusal

PANEL_ACTS: dict[str, tuple[str, ...]] = {
    # act: its arguments
    "record": ("name",),
    "stop": (),
    "play": (),
    "remote": ("on",),
    "eject": ("slot",),
    "insert": ("slot", "size_bytes"),  # with a size: another medium, with nothing on it
    "damage": ("slot",),  # the medium goes bad
    "picture": ("format",),  # what comes in is of another format
    "count": ("drop",),  # the timecode that comes in counts drop-frame, or not
}


def build(name: str, options: dict[str, object], rng: random.Random, house: HouseClock) -> TextDeck:
    """Build a deck.

    Raises: ValueError: an option that is unknown or wrong, in one sentence.
    """
    return TextDeck(name, Deck(read_setup(name, options, rng, house), house), rng)


class TextDeck:
    """The model; see `stagectl_simulators.model.Model`."""

    kind: ClassVar[str] = "text-deck"
    refusal: ClassVar[bytes] = line(120, FAILURES[120])

    def __init__(self, name: str, deck: Deck, rng: random.Random) -> None:
        self.name = name
        self.faults = TextDeckFaults()
        self.deck = deck
        self._rng = rng
        self._known = replace(self.faults)  # the switches as they stood at the last call
        self._notices = Notices(deck)
        self._sessions: dict[int, Session] = {}
        self._now_s = 0.0
        self._leaving: list[int] = []
        self._shelf = Shelf(deck)

    # --- clients ------------------------------------------------------------------------------------------------------

    def open(self, client: int, peer: str, now_s: float) -> Opened:
        sends = self._settle(now_s)
        limit = self.deck.setup.max_clients
        if limit and len(self._sessions) >= limit:
            return Opened([*sends, (client, self.refusal)], refuse=True)
        self._sessions[client] = Session(client, now_s)
        greeting = {"protocol version": self.deck.setup.protocol, "model": reports.identity(self.deck)[0]}
        return Opened([*sends, (client, block(500, "connection info", greeting))])

    def feed(self, client: int, data: bytes, now_s: float) -> Sends:
        sends = self._settle(now_s)
        session = self._sessions.get(client)
        if session is None:
            return sends
        session.heard_s = now_s
        for request in session.reader.feed(data):
            if session.leaving:
                break
            ask = Ask(self.deck, session, dict(request.parameters), now_s, self._rng)
            reply: Sends = [(client, answer(request, ask))]
            # After each request, so that no split of the stream changes the order.
            notices = self._say(now_s) + self._run_until(now_s)
            sends += notices + reply if self.faults.early_notices else reply + notices
        if session.leaving and client not in self._leaving:
            self._leaving.append(client)
        return [(number, said) for number, said in sends if said]

    def close(self, client: int, now_s: float) -> None:
        self._sessions.pop(client, None)
        self._notices.wind(self._sessions.values(), now_s)

    def drop(self) -> list[int]:
        leaving, self._leaving = self._leaving, []
        return leaving

    # --- time ---------------------------------------------------------------------------------------------------------

    def advance(self, now_s: float) -> Sends:
        return self._settle(now_s)

    def due_s(self) -> float | None:
        return self._now_s if self.faults != self._known else self._next_s()

    @staticmethod
    def _silent_s(session: Session) -> float | None:
        """When the watchdog of a client runs out."""
        return session.heard_s + session.watchdog_s if session.watchdog_s and not session.leaving else None

    def _settle(self, now_s: float) -> Sends:
        """Let everything happen that is due up to now, first under the switches as they were, then as they are."""
        sends = self._run_until(now_s)
        if self.faults != self._known:
            self._known = replace(self.faults)
            self.deck.adopt(self._known, now_s)
            if self.faults.garbage:
                sends += self._burst()
            sends += self._say(now_s) + self._run_until(now_s)
        return sends

    def _run_until(self, now_s: float) -> Sends:
        sends: Sends = []
        self._notices.skip(now_s)
        while (due_s := self._next_s()) is not None and due_s <= now_s:
            self._now_s = max(self._now_s, due_s)
            machine_s = self.deck.due_s()
            if machine_s is not None and machine_s <= self._now_s:
                self.deck.step(self._now_s)
                sends += self._say(self._now_s)
            for session in self._sessions.values():
                silent_s = self._silent_s(session)
                if silent_s is not None and silent_s <= self._now_s:
                    session.leaving = True
                    self._leaving.append(session.number)
            sends += self._notices.ticks(self._sessions.values(), self._now_s)
        self._now_s = max(self._now_s, now_s)
        return sends

    def _next_s(self) -> float | None:
        times = [self.deck.due_s(), self._notices.due_s(), *map(self._silent_s, self._sessions.values())]
        return min((at_s for at_s in times if at_s is not None), default=None)

    def _say(self, now_s: float) -> Sends:
        self._notices.wind(self._sessions.values(), now_s)
        return self._notices.changes(self._sessions.values(), now_s)

    def _burst(self) -> Sends:
        self.faults.garbage = self._known.garbage = False
        noise = self._rng.randbytes(self._rng.randint(64, 512)) + b"\r\n"
        return [(number, noise) for number in self._sessions]

    def reboot(self, now_s: float) -> None:
        self._settle(now_s)
        self._leaving.clear()
        self.deck.power_cycle(now_s)
        self._say(now_s)  # to nobody

    # --- the front panel ----------------------------------------------------------------------------------------------

    def panel(self, act: str, args: dict[str, object], now_s: float) -> Sends:
        if act not in PANEL_ACTS:
            raise ValueError(f"{self.name} has no panel act {act!r}. Known acts: {', '.join(PANEL_ACTS)}.")
        strange = [name for name in args if name not in PANEL_ACTS[act]]
        if strange:
            known = ", ".join(PANEL_ACTS[act]) or "none"
            raise ValueError(f"{self.name}: {act} takes no {strange[0]!r}. Known arguments: {known}.")
        sends = self._settle(now_s)
        try:
            self._press(act, args, now_s)
        except Refusal as refusal:
            raise ValueError(f"{self.name} refuses {act} at its panel: {refusal}.") from refusal
        return sends + self._say(now_s) + self._run_until(now_s)

    def _press(self, act: str, args: dict[str, object], now_s: float) -> None:
        deck = self.deck
        match act:
            case "record":
                deck.record(str(args.get("name", "")), now_s, "panel")
            case "stop":
                deck.stop(now_s, "panel")
            case "play":
                deck.play(100, False, False, now_s, "panel")
            case "remote":
                on = args.get("on")
                if not isinstance(on, bool):
                    raise ValueError(f'{self.name}: remote wants "on": true or false.')  # noqa: TRY004 - as asked
                deck.remote_enabled = on
                deck.history.note(now_s, "remote", "panel", enabled=on)
            case "eject":
                deck.eject(self._slot(args), now_s, "panel")
            case "picture" | "count":
                self._outside(act, args, now_s)
            case "damage":
                deck.eject(self._slot(args), now_s, "panel", "error")
            case _:
                slot = self._slot(args)
                if slot.status in {"mounted", "mounting"}:
                    raise ValueError(f"{self.name}: there is a medium in slot {slot.number}. Eject it first.")
                self._other_medium(slot, args)
                deck.mount(slot, now_s, "panel")

    def _outside(self, act: str, args: dict[str, object], now_s: float) -> None:
        """What comes in becomes otherwise: a hand on the camera, or on the generator."""
        setup = self.deck.setup
        if act == "picture":
            form = args.get("format")
            if form not in VIDEO_FORMATS:
                raise ValueError(f'{self.name}: picture wants "format", one of {", ".join(VIDEO_FORMATS)}.')
            setup.video_format = str(form)
        else:
            drop = args.get("drop")
            if not isinstance(drop, bool):
                raise ValueError(f'{self.name}: count wants "drop": true or false.')
            setup.drop = drop
        self.deck.history.note(now_s, act, "panel", **args)

    def _other_medium(self, slot: Slot, args: dict[str, object]) -> None:
        """The medium that is put in is another one, if its size is said."""
        size = args.get("size_bytes")
        if size is None:
            return
        if isinstance(size, bool) or not isinstance(size, int | float) or not 0 < size < 1e15:
            raise ValueError(f'{self.name}: insert wants "size_bytes" above 0.')
        slot.size_bytes, slot.clips, slot.foreign_bytes = float(size), [], 0.0

    def _slot(self, args: dict[str, object]) -> Slot:
        slot = next((each for each in self.deck.slots if each.number == args.get("slot")), None)
        if slot is None:
            raise ValueError(f'{self.name}: name a slot, "slot": 1 to {len(self.deck.slots)}.')
        return slot

    # --- the clip store -----------------------------------------------------------------------------------------------

    @property
    def store(self) -> StoreSetup | None:
        return self.deck.setup.store

    def shelf(self) -> tuple[StoredFile, ...]:
        return self._shelf.files()

    # --- the truth ----------------------------------------------------------------------------------------------------

    def truth(self, now_s: float) -> dict[str, object]:
        """Keys: transport, since_s, timecode, remote, slots, clips, dropped, roll_pending, clients, history."""
        deck = self.deck
        clips: list[dict[str, object]] = [
            {
                "name": clip.name,
                "slot": slot.number,
                "start": label_of(clip.start, clip.rate),
                "frames": deck.length(clip, now_s),
                "started_s": clip.started_s,
                "dropped": clip.dropped,
                "growing": deck.rolling is not None and deck.rolling.clip is clip,
            }
            for slot in deck.slots
            for clip in slot.clips
        ]
        slots = [
            {"slot": slot.number, "status": slot.status, "room_bytes": int(deck.room_bytes(slot, now_s))}
            for slot in deck.slots
        ]
        return {
            "transport": deck.status,
            "since_s": round(deck.since_s, 6),
            "timecode": deck.label(now_s),
            "remote": deck.remote_enabled and not self.faults.remote_off,
            "active_slot": deck.active.number,
            "slots": slots,
            "clips": clips,
            "dropped": deck.dropped,
            "roll_pending": deck.roll is not None,
            "clients": list(self._sessions),
            "history": list(deck.history.read()),
        }
