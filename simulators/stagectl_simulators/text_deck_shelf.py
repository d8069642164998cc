"""Which files are a text deck's clips, for its clip store? Their sizes and times, as functions of time.

A clip store asks from a thread of its own, so a file holds nothing that the deck changes afterwards.
"""

from __future__ import annotations

from stagectl_simulators.clip_store import StoredFile, StoreSetup
from stagectl_simulators.text_deck_machine import Deck
from stagectl_simulators.text_deck_media import Clip, Slot


class Shelf:
    """The files of one deck."""

    def __init__(self, deck: Deck) -> None:
        self._deck = deck
        self._known: object = None  # what the files of `_files` depend on
        self._files: tuple[StoredFile, ...] = ()

    def files(self) -> tuple[StoredFile, ...]:
        """The files as they lie there now; the same tuple until something happened to the clips."""
        deck, setup = self._deck, self._deck.setup.store
        if setup is None:
            return ()
        growing = deck.rolling.clip if deck.rolling is not None else None
        ends_s = deck.stopping.at_s if deck.stopping is not None else None
        known = (id(growing), ends_s, *((slot.status, len(slot.clips)) for slot in deck.slots))
        if known != self._known:
            self._known = known
            self._files = tuple(
                _growing(deck, setup) if clip is growing else _closed(slot, clip, deck, setup)
                for slot in deck.slots
                if slot.status == "mounted"
                for clip in slot.clips
            )
        return self._files


def _closed(slot: Slot, clip: Clip, deck: Deck, setup: StoreSetup) -> StoredFile:
    length_s = clip.frames * clip.rate.den / clip.rate.num
    size = int(length_s * setup.bytes_per_s) if clip.file_bytes is None else clip.file_bytes
    modified_s = clip.started_s + length_s
    return StoredFile(*_names(slot, clip, deck, setup), lambda _: size, lambda _: modified_s)


def _growing(deck: Deck, setup: StoreSetup) -> StoredFile:
    """It grows by whole frames, and not past the moment at which the stop it was told takes effect."""
    assert deck.rolling is not None
    clip, slot, first = deck.rolling.clip, deck.rolling.slot, deck.rolling.first
    ends_s = deck.stopping.at_s if deck.stopping is not None else float("inf")

    def size(now_s: float) -> int:
        frames = deck.frame(min(now_s, ends_s)) - first
        return int(max(0, frames) * clip.rate.den / clip.rate.num * setup.bytes_per_s)

    return StoredFile(*_names(slot, clip, deck, setup), size, lambda now_s: now_s)


def _names(slot: Slot, clip: Clip, deck: Deck, setup: StoreSetup) -> tuple[str, str, str]:
    """Folder, file name, and what its bytes come from."""
    identity = f"{deck.setup.unique_id} {slot.volume} {clip.name} {clip.start}"
    return setup.folders[slot.number - 1], clip.name + setup.extension, identity
