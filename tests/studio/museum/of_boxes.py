"""Old bugs on the way to a box: links, adoption, ages, replies, lines."""

import asyncio
from collections.abc import Sequence
from typing import Any

from stagectl.driverkit import box as kit
from stagectl.driverkit.asked import Reads
from stagectl.driverkit.box import Box
from stagectl.model.board import BoardWriter
from stagectl_drivers.text_deck import driver as deck
from stagectl_drivers.text_deck.codec import Request
from stagectl_drivers.text_deck.driver import TextDeckDriver
from tests.studio.museum.bug import Patch, bug


@bug("stop-on-connect", "the driver brings a deck into a known state when it connects")
def _() -> Sequence[Patch]:
    look = TextDeckDriver.look

    def first(self: Any, names: Any) -> Any:
        return (Request("stop"), *look(self, names)) if names is None else look(self, names)

    return [(TextDeckDriver, "look", first)]


@bug("no-stale-mark", "values of a silent or lost box stay good", first=31)
def _() -> Sequence[Patch]:
    return [(BoardWriter, "age", lambda self, now, heard_at, link_s: None), (BoardWriter, "lost", lambda self: None)]


@bug(
    "age-from-arrival",
    "the age of a value counts from when its answer came, not from when it was asked",
    "slow-link",
    first=53,
)
def _() -> Sequence[Patch]:
    commit = BoardWriter.commit
    return [(BoardWriter, "commit", lambda self, asked_at, read_at: commit(self, read_at, read_at))]


@bug(
    "place-dropped", "a reply that is late loses its place in the line, and all later ones shift", "slow-link", first=4
)
def _() -> Sequence[Patch]:
    tick = Box._tick

    def impatient(self: Any) -> None:
        now = self.clock.now()
        while self._inflight and now - self._inflight[0].asked_at > 1.5:
            self._inflight.pop(0)
        tick(self)

    return [(Box, "_tick", impatient)]


@bug("drives-unread-box", "a box may be driven as soon as its link is up, before it was read", "slow-link")
def _() -> Sequence[Patch]:
    begin = Box._begin

    def hasty(self: Any, link: Any) -> None:
        begin(self, link)
        if self.up:
            self._adopt()

    return [(Box, "_begin", hasty)]


@bug(
    "second-roll-after-reconnect", "what was on its way when the link was lost is sent again on the next one", first=54
)
def _() -> Sequence[Patch]:
    down, adopt, kept = Box._down, Box._adopt, {}  # type: ignore[var-annotated]

    def remember(self: Any, why: str) -> None:
        kept[self] = [sent.prepared for sent in self._inflight if sent.prepared is not None] or kept.get(self, [])
        down(self, why)

    def again(self: Any) -> None:
        adopt(self)
        for prepared in kept.pop(self, []) if self.adopted else []:
            self._link.write(b"".join(prepared.data))

    return [(Box, "_down", remember), (Box, "_adopt", again)]


@bug("looks-at-each-notice", "every notice asks for everything again, in a line without a bound", first=3)
def _() -> Sequence[Patch]:
    hear = TextDeckDriver._hear_notice
    boxes: dict[Any, Any] = {}
    begin = Box._begin

    def met(self: Any, link: Any) -> None:
        begin(self, link)
        boxes[self._driver] = self

    def noticed(self: Any, event: Any, board: Any) -> None:
        hear(self, event, board)
        if self in boxes:
            boxes[self]._ask_reads(self.look(None), Reads())

    return [(Box, "_begin", met), (TextDeckDriver, "_hear_notice", noticed), (kit, "QUEUE", 10**9)]


@bug("gives-up", "a box that was lost three times is not looked for any more", first=11)
def _() -> Sequence[Patch]:
    once = Box._once

    async def thrice(self: Any) -> Any:
        if self.counts.losses >= 3:
            await asyncio.Event().wait()
        return await once(self)

    return [(Box, "_once", thrice)]


@bug("unknown-is-idle", "a status word that nobody knows is taken as stopped", "deck", first=8)
def _() -> Sequence[Patch]:
    table = dict(deck.TRANSPORT_INFO)
    point, read = table["status"]

    def lenient(raw: Any) -> Any:
        try:
            return read(raw)
        except (KeyError, ValueError):
            return read("stopped")

    # shapes are remembered by the process: what an earlier run told apart must not hide the bug, nor keep it
    return [(deck, "TRANSPORT_INFO", table | {"status": (point, lenient)}), (deck, "_shape", deck._shape.__wrapped__)]


@bug("any-box-will-do", "who answers at an address is not looked at", "deck", first=15)
def _() -> Sequence[Patch]:
    init = Box.__init__

    def trusting(self: Any, *args: Any, **kwargs: Any) -> None:
        init(self, *args, **(kwargs | {"expect": {}}))

    return [(Box, "__init__", trusting)]


@bug(
    "silence-is-theirs",
    "a daemon that stood still takes the silence for the boxes', and calls them out of reach",
    first=3,
)
def _() -> Sequence[Patch]:
    tick = Box._tick

    def deaf(self: Any) -> None:
        self._tick_due = float("inf")
        tick(self)

    return [(Box, "_tick", deaf)]


@bug("remote-by-notice", "whether remote is on is told by notices alone", "remote-on-again-without-a-notice.json")
def _() -> Sequence[Patch]:
    looks = tuple(look for look in TextDeckDriver.looks if look.names != ("remote",))
    return [(TextDeckDriver, "looks", looks)]
