"""What is a central log sent, and when is it sent nothing? The feed over a real journal, without a broker in sight.

Source: own construction, after docs/mqtt.md, "A central log"; the whole way is a story in tests/stories/test_mqtt.py.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from types import SimpleNamespace
from typing import Any

import pytest

from stagectl.control.chronicle import Chronicle
from stagectl.inlets import mqtt_log
from stagectl.inlets.mqtt_log import LogFeed
from stagectl.inlets.mqtt_payloads import MESSAGE_BYTES, packed
from tests.control.disk import Disk, ManualClock
from tests.control.test_journal import running

WITHIN_S = 10.0


class Inline:
    async def run(self, name: str, do: Any, *args: Any) -> Any:
        return do(*args)


class Trouble(dict[str, str]):
    """The house's, which tells when something is wrong."""

    def __init__(self) -> None:
        self.told = asyncio.Event()

    def __setitem__(self, part: str, text: str) -> None:
        super().__setitem__(part, text)
        self.told.set()


class Line:
    """A feed at work, and what it published."""

    def __init__(self, disk: Disk, chronicle: Chronicle) -> None:
        self.chronicle = chronicle
        self.trouble = Trouble()
        world = SimpleNamespace(storage=disk, offload=Inline())
        house: Any = SimpleNamespace(world=world, chronicle=chronicle, trouble=self.trouble)
        self.feed = LogFeed(house)
        self.sent: list[Mapping[str, Any]] = []
        self._news = asyncio.Event()

    async def publish(self, topic: str, payload: Mapping[str, Any]) -> None:
        assert topic == "log"
        self.sent.append(payload)
        self._news.set()

    def ack(self, log: str, seq: object) -> None:
        self.feed.hear(json.dumps({"v": 1, "log": log, "seq": seq}).encode())

    async def next(self) -> list[int]:
        """The numbers of the next batch."""
        async with asyncio.timeout(WITHIN_S):
            await self._news.wait()
            self._news.clear()
        return [record["seq"] for record in self.sent[-1]["recs"]]


@asynccontextmanager
async def feeding(disk: Disk) -> AsyncIterator[Line]:
    async with running(disk) as journal:
        line = Line(disk, Chronicle(journal, ManualClock()))
        line.chronicle.write("link", "", device="iso-1", what="up")
        task = asyncio.create_task(line.feed.run(line.publish))
        try:
            yield line
        finally:
            task.cancel()
            await asyncio.wait([task])


async def test_what_was_committed_is_not_sent_again_and_what_follows_is() -> None:
    async with feeding(Disk()) as line:
        line.ack("", 0)
        assert await line.next() == [1, 2]
        line.chronicle.write("take", "ines", what="head")
        line.ack(line.sent[0]["log"], 2)
        assert await line.next() == [3]


async def test_who_has_another_journal_gets_this_one_from_its_first_record() -> None:
    async with feeding(Disk()) as line:
        line.ack("f" * 32, 700)
        assert await line.next() == [1, 2]
        assert line.trouble == {}


async def test_to_who_has_more_than_there_is_nothing_is_sent_and_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_log, "LOOK_S", 0.01)
    async with feeding(Disk()) as line:
        line.ack("", 0)
        await line.next()
        line.ack(line.sent[0]["log"], 9)
        async with asyncio.timeout(WITHIN_S):
            await line.trouble.told.wait()
        assert "an older copy" in line.trouble["mqtt-log"]
        assert len(line.sent) == 1
        line.ack(line.sent[0]["log"], 1)
        assert await line.next() == [2]
        assert line.trouble == {}


async def test_what_may_not_survive_a_power_cut_is_not_sent() -> None:
    disk = Disk()
    async with feeding(disk) as line:
        disk.gate = asyncio.Event()
        line.chronicle.write("take", "ines", what="head")
        line.ack("", 0)
        async with asyncio.timeout(WITHIN_S):
            await disk.entered.wait()
        assert line.sent == []
        disk.gate.set()
        assert await line.next() == [1, 2, 3]


async def test_a_record_too_long_for_a_message_does_not_hold_up_the_rest() -> None:
    async with feeding(Disk()) as line:
        n = line.chronicle.write("setup", "ines", before="x" * 200_000)
        line.ack("", 0)
        assert await line.next() == [1, 2]
        line.ack(line.sent[-1]["log"], 2)
        assert await line.next() == [n]
        assert line.sent[-1]["recs"][0]["data"]["too long"] > 200_000
        assert len(packed(line.sent[-1])) < MESSAGE_BYTES


@pytest.mark.parametrize("payload", [b"{", b"[]", b'{"log":1,"seq":2}', b'{"log":"","seq":true}', b"\xff", b"{}"])
async def test_what_is_no_answer_of_a_central_log_starts_nothing(payload: bytes) -> None:
    async with feeding(Disk()) as line:
        line.feed.hear(payload)
        line.ack("", 1)
        assert await line.next() == [2]
        assert len(line.sent) == 1
