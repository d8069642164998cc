"""Which reply does each request get from a text deck? One function per row of the sheet's table."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from stagectl_simulators import text_deck_reports as reports
from stagectl_simulators.house_clock import LABEL, frame_of
from stagectl_simulators.text_deck_machine import Deck
from stagectl_simulators.text_deck_media import Slot, clip_name
from stagectl_simulators.text_deck_playback import span, start_of
from stagectl_simulators.text_deck_wire import Request, RequestReader, block, line, truth_word
from stagectl_simulators.text_deck_words import (
    CODECS,
    CONFIGURATION,
    FAILURES,
    NOTIFY_FLAGS,
    REQUESTS,
    VIDEO_FORMATS,
    Refusal,
)

OK: Final = line(200, "ok")
FILE_SYSTEMS: Final = ("exFAT", "HFS+")
SPEED_LIMIT: Final = 5000  # percent


@dataclass(slots=True)
class Session:
    """What a deck keeps for one client."""

    number: int
    heard_s: float
    reader: RequestReader = field(default_factory=lambda: RequestReader(REQUESTS))
    notify: dict[str, bool] = field(default_factory=lambda: dict.fromkeys(NOTIFY_FLAGS, False))
    watchdog_s: int = 0  # 0: off
    token: str = ""  # of a format that was prepared
    leaving: bool = False


@dataclass(slots=True)
class Ask:
    """One request with what is needed to answer it."""

    deck: Deck
    session: Session
    values: dict[str, str]
    now_s: float
    rng: random.Random

    @property
    def cause(self) -> str:
        return f"wire:{self.session.number}"

    def switch(self, name: str, default: bool | None = None) -> bool:
        """Raises Refusal: 102 not true or false, 100 missing without a default."""
        value = self.values.get(name, None if default is None else truth_word(default))
        if value is None:
            raise Refusal(100)
        if value not in {"true", "false"}:
            raise Refusal(102)
        return value == "true"

    def whole(self, name: str, low: int, high: int, default: int | None = None) -> int:
        """Raises Refusal: 102 no number, 109 out of range, 100 missing without a default."""
        text = self.values.get(name, None if default is None else str(default))
        if text is None:
            raise Refusal(100)
        if not re.fullmatch(r"[+-]?[0-9]{1,12}", text):
            raise Refusal(102)
        if not low <= int(text) <= high:
            raise Refusal(109)
        return int(text)

    def slot(self) -> Slot:
        """The slot that is named, or the active one."""
        slots = self.deck.slots
        return slots[self.whole("slot id", 1, len(slots), self.deck.active.number) - 1]


def answer(request: Request, ask: Ask) -> bytes:
    """Carry out one request and return its reply; nothing for one that says goodbye."""
    try:
        return _answer(request, ask)
    except Refusal as refusal:
        return line(refusal.code, FAILURES[refusal.code])


def _answer(request: Request, ask: Ask) -> bytes:
    if request.broken or request.command not in REQUESTS:
        raise Refusal(100)
    if request.command in ask.deck.setup.unsupported:
        raise Refusal(103)
    if any(name not in REQUESTS[request.command] for name in ask.values):
        raise Refusal(101)
    if request.command in LOOKS:
        return LOOKS[request.command](ask)
    if request.command == "configuration" and not ask.values:
        return block(211, "configuration", ask.deck.setup.configuration)
    if not (ask.deck.remote_enabled or ask.deck.override) or ask.deck.faults.remote_off:
        raise Refusal(111)
    if ask.deck.faults.internal_error:
        raise Refusal(108)
    return ACTS[request.command](ask) or OK


# --- what only looks, or concerns the connection: allowed with remote off ---------------------------------------------


def _remote(ask: Ask) -> bytes:
    if not ask.values:
        return block(210, "remote info", reports.remote(ask.deck))
    enable = ask.switch("enable", ask.deck.remote_enabled)
    override = ask.switch("override", ask.deck.override)
    if enable and ask.deck.faults.remote_off:
        raise Refusal(111)
    ask.deck.remote_enabled, ask.deck.override = enable, override
    ask.deck.history.note(ask.now_s, "remote", ask.cause, enabled=enable, override=override)
    return OK


def _notify(ask: Ask) -> bytes:
    if not ask.values:
        return block(209, "notify", {name: truth_word(on) for name, on in ask.session.notify.items()})
    ask.session.notify |= {name: ask.switch(name) for name in ask.values}
    return OK


def _watchdog(ask: Ask) -> bytes:
    ask.session.watchdog_s = ask.whole("period", 0, 86400)
    return OK


def _quit(ask: Ask) -> bytes:
    ask.session.leaving = True
    return b""


def _clips_count(ask: Ask) -> bytes:
    ask.deck.require_medium(ask.deck.active)
    return block(214, "clips count", {"clip count": str(len(ask.deck.listed(ask.deck.active)))})


def _clips_get(ask: Ask) -> bytes:
    deck = ask.deck
    deck.require_medium(deck.active)
    clips = deck.listed(deck.active)
    first = ask.whole("clip id", 1, 10**9, 1)
    count = ask.whole("count", 1, 10**9, 10**9)
    version = ask.whole("version", 1, 2, 1)
    if "clip id" in ask.values and first > len(clips):
        raise Refusal(112)
    window = list(enumerate(clips, 1))[first - 1 : first - 1 + count]
    lines = [reports.clip_line(deck, number, clip, version, ask.now_s) for number, clip in window]
    return block(205, "clips info", [f"clip count: {len(clips)}", *lines])


def _disk_list(ask: Ask) -> bytes:
    deck, slot = ask.deck, ask.slot()
    deck.require_medium(slot)
    lines = [reports.disk_line(deck, number, clip, ask.now_s) for number, clip in enumerate(deck.listed(slot), 1)]
    return block(206, "disk list", [f"slot id: {slot.number}", *lines])


LOOKS: Final[dict[str, Callable[[Ask], bytes]]] = {
    "ping": lambda _: OK,
    "device info": lambda ask: block(204, "device info", reports.device(ask.deck)),
    "uptime": lambda ask: block(215, "uptime", {"uptime": str(int(ask.now_s - ask.deck.booted_s))}),
    "remote": _remote,
    "notify": _notify,
    "transport info": lambda ask: block(208, "transport info", reports.transport(ask.deck, ask.now_s)),
    "slot info": lambda ask: block(202, "slot info", reports.slot(ask.deck, ask.slot(), ask.now_s)),
    "clips count": _clips_count,
    "clips get": _clips_get,
    "disk list": _disk_list,
    "watchdog": _watchdog,
    "quit": _quit,
}


# --- what acts: refused with remote off -------------------------------------------------------------------------------


def _slot_select(ask: Ask) -> None:
    if not ask.values:
        raise Refusal(100)
    video = ask.values.get("video format")
    if video is not None and video not in VIDEO_FORMATS:
        raise Refusal(160)
    if ask.deck.busy:
        raise Refusal(150)
    if "slot id" in ask.values:
        ask.deck.select(ask.slot(), ask.now_s, ask.cause)
    if video is not None:
        ask.deck.setup.video_format = video
        ask.deck.history.note(ask.now_s, "video format", ask.cause, value=video)


def _configure(ask: Ask) -> None:
    for name, value in ask.values.items():
        _check_setting(name, value)
    if ask.deck.busy:
        raise Refusal(150)
    ask.deck.setup.configuration |= ask.values
    ask.deck.history.note(ask.now_s, "configuration", ask.cause, values=dict(ask.values))


def _check_setting(name: str, value: str) -> None:
    if name == "file format" and value not in CODECS:
        raise Refusal(151)
    if name == "timecode preset" and not LABEL.fullmatch(value):
        raise Refusal(102)
    if name == "record prefix":
        try:
            clip_name(value, ())
        except ValueError:
            raise Refusal(102) from None
    if CONFIGURATION[name] and value not in CONFIGURATION[name]:
        raise Refusal(102)


def _record(ask: Ask) -> None:
    if ask.values.get("name") == "":
        raise Refusal(102)
    ask.deck.record(ask.values.get("name", ""), ask.now_s, ask.cause)


def _spill(ask: Ask) -> None:
    ask.deck.spill(ask.now_s, ask.cause, ask.slot() if "slot id" in ask.values else None)


def _play(ask: Ask) -> None:
    speed = ask.whole("speed", -SPEED_LIMIT, SPEED_LIMIT, 100)
    ask.deck.play(speed, ask.switch("loop", False), ask.switch("single clip", False), ask.now_s, ask.cause)


def _shuttle(ask: Ask) -> None:
    ask.deck.shuttle(ask.whole("speed", -SPEED_LIMIT, SPEED_LIMIT), ask.now_s, ask.cause)


def _goto(ask: Ask) -> None:
    deck = ask.deck
    if not ask.values:
        raise Refusal(100)
    if "slot id" in ask.values:
        deck.select(ask.slot(), ask.now_s, ask.cause)
    if "clip id" in ask.values:
        deck.go_to(_clip_position(ask, ask.values["clip id"]), ask.now_s, ask.cause)
    if "timecode" in ask.values:
        deck.go_to(_label_position(deck, ask.values["timecode"]), ask.now_s, ask.cause)


def _clip_position(ask: Ask, wanted: str) -> int:
    """The position of `N`, `+N`, `-N` clips from here, or of the start or end of this clip (own reading of the two)."""
    deck = ask.deck
    clips, here = deck.active.clips, deck.clip_id(ask.now_s) or 1
    if wanted in {"start", "end"}:
        first, frames = span(deck.playback.where(ask.now_s, deck.setup.rate, clips), clips)
        return first if wanted == "start" else first + frames - 1
    number = ask.whole("clip id", -(10**9), 10**9)
    if wanted[0] in "+-":
        number += here
    elif number < 1:
        raise Refusal(109)
    if clips and not 1 <= number <= len(clips):
        raise Refusal(112)
    return start_of(number, clips)


def _frames(deck: Deck, label: str) -> int:
    try:
        return frame_of(label, deck.setup.rate)
    except ValueError:
        raise Refusal(102) from None


def _label_position(deck: Deck, label: str) -> int:
    """The position of the first clip that holds a label."""
    wanted, day = _frames(deck, label), deck.setup.rate.day
    for number, clip in enumerate(deck.active.clips, 1):
        into = (wanted - clip.start) % day
        if into < clip.frames:
            return start_of(number, deck.active.clips) + into
    raise Refusal(109 if deck.active.clips else 107)


def _jog(ask: Ask) -> None:
    deck, label = ask.deck, ask.values.get("timecode", "")
    if not label:
        raise Refusal(100)
    if label[0] in "+-":
        moved = _frames(deck, label[1:]) * (-1 if label[0] == "-" else 1)
        position = deck.playback.where(ask.now_s, deck.setup.rate, deck.active.clips) + moved
    else:
        position = _label_position(deck, label)
    deck.go_to(position, ask.now_s, ask.cause, "jog")


def _format(ask: Ask) -> bytes | None:
    deck, session = ask.deck, ask.session
    if not ask.values:
        raise Refusal(100)
    if deck.busy:
        raise Refusal(150)
    if "prepare" in ask.values:
        deck.require_medium(deck.active)
        if ask.values["prepare"] not in FILE_SYSTEMS:
            raise Refusal(160)
        session.token = f"{ask.rng.getrandbits(32):08x}"
        return block(216, "format ready", [session.token])
    if not session.token:
        raise Refusal(162)
    if ask.values["confirm"] != session.token:
        raise Refusal(161)
    session.token = ""
    deck.require_medium(deck.active)
    deck.erase(deck.active, ask.now_s, ask.cause)
    return None


def _identify(ask: Ask) -> None:
    ask.deck.history.note(ask.now_s, "identify", ask.cause, on=ask.switch("enable"))


ACTS: Final[dict[str, Callable[[Ask], bytes | None]]] = {
    "slot select": _slot_select,
    "configuration": _configure,
    "record": _record,
    "record spill": _spill,
    "stop": lambda ask: ask.deck.stop(ask.now_s, ask.cause),
    "play": _play,
    "goto": _goto,
    "jog": _jog,
    "shuttle": _shuttle,
    "format": _format,
    "identify": _identify,
}
