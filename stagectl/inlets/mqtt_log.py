"""How does the journal reach a central log over MQTT? In batches, each sent again until somebody has written it down.

The journal itself is what waits to be sent: no second queue. What a central log has committed stands, retained, at
`ack/log`; nothing is sent before one has said so there, and a broker's own acknowledgement means nothing.
"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.control.journal_lines import Record
from stagectl.control.journal_tail import Piece, Tail
from stagectl.inlets.mqtt_payloads import MESSAGE_BYTES, packed
from stagectl.inlets.strict_json import StrictError, read
from stagectl.shoot.house import House

TOPIC: Final = "log"
ACK: Final = "ack/log"
RECORDS: Final = 200  # in one batch
BYTES: Final = MESSAGE_BYTES // 2  # of one batch, as the journal's lines
RECORD_BYTES: Final = MESSAGE_BYTES - 4096  # data longer than this stays in the journal alone; a set-up of 1,000 points
LOOK_S: Final = 1.0  # how often new records are looked for
AGAIN_S: Final = 10.0  # without an answer a batch is sent again
_TROUBLE: Final = "mqtt-log"


class LogFeed:
    """What a central log is sent of the journal."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._tail = Tail(house.world.storage)
        self._acked: tuple[str, int] | None = None  # which journal, and up to which record; None: nobody is there
        self._news = asyncio.Event()

    def hear(self, payload: bytes) -> None:
        """A central log says what it has; empty: it is gone. What can't be read is passed over."""
        try:
            said = read(payload) if payload else None
        except StrictError:
            return
        if said is None:
            self._acked = None
        elif isinstance(said, dict) and isinstance(said.get("log"), str) and type(said.get("seq")) is int:
            self._acked = (said["log"], max(0, said["seq"]))
        self._news.set()

    async def run(self, publish: Callable[[str, Mapping[str, Any]], Awaitable[None]]) -> None:
        """Send what is not acknowledged, for as long as the connection lives."""
        while True:
            self._news.clear()
            piece = await self._next()
            if piece is not None:
                await publish(TOPIC, self._batch(piece))
            try:
                async with asyncio.timeout(AGAIN_S if piece is not None else LOOK_S):
                    await self._news.wait()
            except TimeoutError:
                continue

    async def _next(self) -> Piece | None:
        """The records to be sent now; None: none, or nobody takes them."""
        recent = self._house.chronicle.recent
        if self._acked is None or not recent:
            return None
        log, seq = self._acked
        last = recent[-1].n
        try:
            piece = await self._read(seq)
            if log not in ("", piece.origin):
                piece = await self._read(0)  # it has another journal's: of this one nothing
            elif log and seq > last:
                self._house.trouble[_TROUBLE] = (
                    f"The central log has record {seq} of this journal, which ends at {last}: an older copy of it was "
                    "brought back. Nothing is sent there. Bring the newer copy back, or begin a new data folder."
                )
                return None
        except OSError:
            return None  # the journal itself says what is wrong with its disk
        self._house.trouble.pop(_TROUBLE, None)
        # what a power cut may still take back must not stand elsewhere
        if not piece.records or not await self._house.chronicle.synced(piece.records[-1].n):
            return None
        return piece

    async def _read(self, n: int) -> Piece:
        piece = await self._house.world.offload.run("journal-tail", self._tail.read, n, RECORDS, BYTES)
        assert isinstance(piece, Piece)
        return piece

    def _batch(self, piece: Piece) -> dict[str, Any]:
        return {
            "v": 1,
            "log": piece.origin,
            "first": piece.records[0].n,
            "recs": [_plain(record) for record in piece.records],
        }


def _plain(record: Record) -> dict[str, Any]:
    size = len(packed(record.data))
    return {
        "seq": record.n,
        "at": stamp(record.wall),
        "epoch": record.epoch,
        "kind": record.kind,
        "who": record.who,
        "data": record.data if size <= RECORD_BYTES else {"too long": size},
        "h": record.chain,
    }
