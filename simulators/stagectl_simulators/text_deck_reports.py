"""What does a text deck report of itself? Each block of the wire as names and values, in the sheet's order."""

from __future__ import annotations

from typing import Final

from stagectl_simulators.house_clock import label_of
from stagectl_simulators.text_deck_machine import Deck
from stagectl_simulators.text_deck_media import Clip, Slot
from stagectl_simulators.text_deck_wire import truth_word

RUNNING: Final = ("display timecode", "timecode")  # parameters that change by themselves; no notice for them
NEWER_STATUS: Final = {
    # status: the word of a firmware that nobody has seen yet (fault unknown_words); own construction
    "preview": "monitoring",
    "stopped": "parked",
    "play": "playout",
    "forward": "playout",
    "rewind": "reverse",
    "jog": "nudge",
    "shuttle": "sweep",
    "record": "capturing",
}
OTHER_DECK: Final = ("One-slot deck", "0badc0ffee00")  # who answers when two decks are swapped (fault wrong_model)


def identity(deck: Deck) -> tuple[str, str]:
    """Model and unique id, or those of the deck that took this one's address."""
    return OTHER_DECK if deck.faults.wrong_model else (deck.setup.model, deck.setup.unique_id)


def device(deck: Deck) -> dict[str, str]:
    """204 device info."""
    model, unique_id = identity(deck)
    return {
        "protocol version": deck.setup.protocol,
        "model": model,
        "unique id": unique_id,
        "slot count": str(len(deck.slots)),
        "software version": deck.setup.software,
    }


def transport(deck: Deck, now_s: float) -> dict[str, str]:
    """208 and 508 transport info."""
    clip_id, label = deck.clip_id(now_s), deck.label(now_s)
    head = deck.playback
    input_format = "none" if deck.faults.no_input else deck.setup.video_format
    report = {
        "status": NEWER_STATUS[deck.status] if deck.faults.unknown_words else deck.status,
        "speed": str(100 if deck.status == "record" else head.speed),
        "slot id": str(deck.active.number) if deck.active.status == "mounted" else "none",
        "clip id": "none" if clip_id is None else str(clip_id),
        "single clip": truth_word(head.single),
        "display timecode": label,
        "timecode": label,
        "video format": _shown_format(deck, clip_id, input_format),
        "loop": truth_word(head.loop),
    }
    if not deck.setup.older:
        report |= {"input video format": input_format, "dynamic range": "none"}
    if deck.faults.unknown_words:
        report["cloud state"] = "idle"
    return report


def _shown_format(deck: Deck, clip_id: int | None, input_format: str) -> str:
    """The clip's while it plays or stands; what comes in while the deck looks at its input."""
    if deck.status in {"preview", "record"} or clip_id is None:
        return input_format if deck.status == "preview" else deck.setup.video_format
    return deck.active.clips[clip_id - 1].video_format


def steady(deck: Deck, now_s: float) -> dict[str, str]:
    """Transport info without what runs by itself: a change of it is worth a notice."""
    return {name: value for name, value in transport(deck, now_s).items() if name not in RUNNING}


def slot(deck: Deck, which: Slot, now_s: float) -> dict[str, str]:
    """202 and 502 slot info. Room and time left fall while it rolls."""
    room, ready = deck.room_bytes(which, now_s), which.status == "mounted"
    report = {
        "slot id": str(which.number),
        "status": which.status,
        "volume name": which.volume if ready else "",
        "recording time": str(int(room / deck.bytes_per_s())),
        "video format": deck.setup.video_format,
    }
    if not deck.setup.older:
        total = int(which.size_bytes) if ready else 0
        report |= {"blocked": "false", "remaining size": str(int(room)), "total size": str(total)}
    return report


def remote(deck: Deck) -> dict[str, str]:
    """210 and 510 remote info."""
    enabled = deck.remote_enabled and not deck.faults.remote_off
    return {"enabled": truth_word(enabled), "override": truth_word(deck.override)}


def clip_line(deck: Deck, number: int, clip: Clip, version: int, now_s: float) -> str:
    """One line of 205 clips info. In and out of version 2: labels of the first and the last frame (own choice)."""
    frames = deck.length(clip, now_s)
    start, length = label_of(clip.start, clip.rate), label_of(frames, clip.rate)
    if version == 1:
        return f"{number}: {clip.name} {start} {length}"
    last = label_of(clip.start + max(0, frames - 1), clip.rate)
    return f"{number}: {start} {length} {start} {last} {clip.name}"


def disk_line(deck: Deck, number: int, clip: Clip, now_s: float) -> str:
    """One line of 206 disk list."""
    length = label_of(deck.length(clip, now_s), clip.rate)
    return f"{number}: {clip.name} {clip.codec} {clip.video_format} {length}"
