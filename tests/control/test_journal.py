"""Is what was called safe still there, whatever the disk, the power or a hand does to the files?

Source of all rows: own construction; the faults are P05 to P08, P17 and P18 of the reliability goals.
"""

import asyncio
import json
import random
import zlib
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from hashlib import blake2b
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagectl.control import journal as journal_module
from stagectl.control import journal_replay
from stagectl.control.journal import FLUSH_S, RETRY_MAX_S, RETRY_S, Journal
from stagectl.control.journal_lines import MAX_LINE, Record
from stagectl.control.journal_replay import verify
from stagectl.control.journal_reserve import RESERVE
from tests.control.disk import Disk, ManualClock


@asynccontextmanager
async def running(disk: Disk, clock: ManualClock | None = None, **settings_: Any) -> AsyncIterator[Journal]:
    """A journal between its start and a SIGKILL: nothing is closed in order."""
    journal = Journal(disk, clock or ManualClock(), **{"reserve_bytes": 0, **settings_})
    await journal.open()
    try:
        yield journal
    finally:
        if journal._commit is not None:
            journal._commit.cancel()
            await asyncio.gather(journal._commit, return_exceptions=True)


async def reread(disk: Disk) -> list[Record]:
    """What the next start of the daemon finds."""
    async with running(disk) as journal:
        return list(journal.replay())


def takes(records: list[Record]) -> list[int]:
    return [record.data["number"] for record in records if record.kind == "take"]


async def three_starts() -> Disk:
    """Three starts of five takes each, all safe."""
    disk = Disk()
    for start in range(3):
        async with running(disk) as journal:
            for number in range(5):
                journal.write("take", "ines", what="opened", number=5 * start + number)
            await journal.close()
    return disk


# -- a good disk


async def test_what_was_written_is_read_back_at_the_next_start() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        first = journal.write("command", "ines", id="A1", verb="roll", say="roll Größe 3")
        second = journal.write("verdict", "ines", id="A1", ended="verified")
        assert second == first + 1
        assert await journal.synced(second)
    records = await reread(disk.after_power_cut())
    start, command, verdict = records
    assert (start.kind, start.data) == ("daemon", {"what": "start", "epoch": 1})
    assert (command.n, command.kind, command.who, command.epoch) == (first, "command", "ines", 1)
    assert command.data == {"id": "A1", "verb": "roll", "say": "roll Größe 3"}
    assert command.wall == clock.wall_at
    assert verdict.n == second
    assert command.mono < verdict.mono


async def test_every_start_has_its_own_epoch_and_segment_and_numbers_go_on() -> None:
    disk = await three_starts()
    assert disk.segments() == [f"journal-0000000{n}.log" for n in (1, 2, 3)]
    records = await reread(disk)
    assert [record.n for record in records] == list(range(1, 19))
    assert [record.data["epoch"] for record in records if record.kind == "daemon"] == [1, 2, 3]
    assert takes(records) == list(range(15))
    async with running(disk) as journal:
        assert journal.epoch == 5
        assert journal.damage == ()


async def test_a_start_that_the_disk_took_no_line_of_still_counts() -> None:
    disk, epochs = Disk(), []
    for room in (None, 0, 0, None):
        disk.room = room
        async with running(disk) as journal:
            epochs.append(journal.epoch)
        disk = disk.after_power_cut()
    assert epochs == [1, 2, 3, 4]
    assert [name for name in disk.names() if "epoch" in name] == ["journal.epoch-4"]


async def test_what_a_killed_daemon_had_not_synced_is_safe_once_the_next_one_has_read_it() -> None:
    disk = Disk()
    async with running(disk) as journal:
        journal.write("link", "", device="iso-1", what="up")
    disk = disk.after_kill()
    async with running(disk) as journal:
        assert journal.past_safe
    assert [record.kind for record in await reread(disk.after_power_cut())] == ["daemon", "link", "daemon"]


async def test_a_past_that_the_disk_does_not_make_safe_is_not_called_so() -> None:
    disk = Disk()
    async with running(disk) as journal:
        journal.write("link", "", device="iso-1", what="up")
    disk = disk.after_kill()
    disk.broken.add("sync")
    async with running(disk) as journal:
        assert not journal.past_safe


async def test_replay_does_not_give_what_this_start_writes() -> None:
    async with running(Disk()) as journal:
        journal.write("take", "", number=1)
        assert list(journal.replay()) == []


async def test_the_start_says_more_if_asked() -> None:
    disk, clock = Disk(), ManualClock()
    journal = Journal(disk, clock, reserve_bytes=0)
    assert journal.epoch == 0
    await journal.open(version="0.1")
    await journal.close()
    assert (await reread(disk))[0].data == {"what": "start", "epoch": 1, "version": "0.1"}


async def test_a_line_is_what_the_format_says() -> None:
    # Checked with zlib and hashlib alone, as somebody would who has only the description.
    disk = await three_starts()
    chain = "0" * 32
    for name in disk.segments():
        for index, line in enumerate(disk.lines(name)):
            crc, body = line[:8], line[9:-1]
            assert int(crc, 16) == zlib.crc32(body)
            fields = json.loads(body)
            without = body[: body.rindex(b',"chain"')] + b"}"
            if index:
                chain = blake2b(chain.encode() + without, digest_size=16).hexdigest()
            assert fields["chain"] == chain


async def test_many_who_wait_share_few_syncs_and_one_is_in_flight() -> None:
    disk = Disk()
    async with running(disk) as journal:
        before = disk.calls.count("sync")
        disk.most_in_flight = 0

        async def command(number: int) -> bool:
            return await journal.synced(journal.write("take", "", number=number))

        assert await asyncio.gather(*(command(number) for number in range(50))) == [True] * 50
        assert disk.calls.count("sync") - before <= 2
        assert disk.most_in_flight == 1
    assert takes(await reread(disk.after_power_cut())) == list(range(50))


async def test_one_who_comes_during_a_sync_is_not_told_of_that_one() -> None:
    disk = Disk()
    async with running(disk) as journal:
        disk.gate = asyncio.Event()
        first = asyncio.ensure_future(journal.synced(journal.write("take", "", number=1)))
        await disk.entered.wait()
        second = asyncio.ensure_future(journal.synced(journal.write("take", "", number=2)))
        disk.gate.set()
        assert await first
        assert 1 in takes(await reread(disk.after_power_cut()))
        assert await second
        assert takes(await reread(disk.after_power_cut())) == [1, 2]


async def test_a_record_nobody_waits_for_is_safe_after_a_moment() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        journal.write("hand", "box", number=1)
        assert [record.kind for record in await reread(disk.after_power_cut())] == ["daemon"]
        for count in (1, 2, 3):
            clock.advance(FLUSH_S)
            assert journal._commit is not None
            await journal._commit
            assert [record.kind for record in list_of(disk.after_power_cut())] == ["daemon", *["hand"] * count]
            journal.write("hand", "box", number=count)


async def test_what_is_safe_already_asks_the_disk_nothing() -> None:
    disk = Disk()
    async with running(disk) as journal:
        n = journal.write("take", "", number=1)
        assert await journal.synced(n)
        calls = len(disk.calls)
        assert await journal.synced(n)
        assert await journal.synced(1)
        assert len(disk.calls) == calls


async def test_a_full_segment_is_followed_by_another_and_nothing_is_lost_between() -> None:
    disk = Disk()
    async with running(disk, segment_bytes=2000) as journal:
        for number in range(40):
            assert await journal.synced(journal.write("take", "", number=number))
            assert takes(list_of(disk.after_power_cut()))[-1] == number
    assert len(disk.segments()) > 3
    assert all(len(disk.files[name].seen) <= 2000 for name in disk.segments())
    assert takes(await reread(disk.after_power_cut())) == list(range(40))
    assert verify(disk).damage == []


def list_of(disk: Disk) -> list[Record]:
    return list(Journal(disk, ManualClock()).replay())


async def test_a_burst_over_segments_before_any_sync_is_safe_as_a_whole() -> None:
    disk = Disk()
    async with running(disk, segment_bytes=1000) as journal:
        for number in range(40):
            last = journal.write("take", "", number=number)
        assert len(disk.segments()) == 2  # a third waits until the first is safe: files in hand are bounded
        assert await journal.synced(last)
        assert takes(await reread(disk.after_power_cut())) == list(range(40))


async def test_a_line_that_came_while_its_full_segment_was_being_synced_is_synced_with_the_next() -> None:
    disk = Disk()
    async with running(disk, segment_bytes=1000) as journal:
        disk.gate = asyncio.Event()
        waiting = [asyncio.ensure_future(journal.synced(journal.write("take", "", number=0)))]
        await disk.entered.wait()
        number = 0
        while len(disk.segments()) == 1:  # more lines, until the segment under way is full and another one begun
            number += 1
            last = journal.write("take", "", number=number)
        waiting.append(asyncio.ensure_future(journal.synced(last)))
        disk.gate.set()
        assert await asyncio.gather(*waiting) == [True, True]
        assert takes(await reread(disk.after_power_cut())) == list(range(number + 1))


async def test_a_segment_that_cannot_be_begun_leaves_the_old_one_in_use() -> None:
    disk = Disk()
    async with running(disk, segment_bytes=1000) as journal:
        disk.broken = {"append_to"}
        for number in range(10):
            assert await journal.synced(journal.write("take", "", number=number))
        assert len(disk.segments()) == 1
        disk.broken = set()
        for number in range(10, 20):
            assert await journal.synced(journal.write("take", "", number=number))
        assert len(disk.segments()) > 1
        assert journal.trouble is None
    assert takes(await reread(disk.after_power_cut())) == list(range(20))


async def test_closing_makes_the_last_records_safe() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        journal.write("daemon", "", what="stop")
        await journal.close()
        clock.advance(60)
        assert journal.write("take", "", number=1) == 3
        assert not await journal.synced(3)
    assert [record.data["what"] for record in await reread(disk.after_power_cut())] == ["start", "stop"]


async def test_closing_leaves_no_timer_and_no_file_open() -> None:
    for broken in (set[str](), {"write"}):
        disk, clock = Disk(), ManualClock()
        async with running(disk, clock) as journal:
            journal.write("hand", "box", number=1)  # a flush waits...
            disk.broken = broken
            journal.write("hand", "box", number=2)  # ...or another try
            assert clock.waiting
            await journal.close()
            assert clock.waiting == 0
            assert disk.calls.count("close") == disk.calls.count("append_to")


async def test_the_wall_clock_may_jump_and_both_clocks_are_written() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        journal.write("take", "", number=1)
        clock.wall_at -= timedelta(hours=2)
        assert await journal.synced(journal.write("take", "", number=2))
    _, first, second = await reread(disk)
    assert second.wall < first.wall
    assert second.mono > first.mono
    assert second.wall == datetime(2027, 3, 12, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "read_back"),
    [
        (float("inf"), None),
        ({1: "a"}, {"1": "a"}),
        (datetime(2027, 3, 12, tzinfo=UTC), "2027-03-12 00:00:00+00:00"),
        ("\ud800", "\ud800"),
        ("line\r\nend", "line\r\nend"),
        ({(1, 2): "a"}, None),
    ],
    ids=["infinity", "number as key", "time", "lone surrogate", "line end", "pair as key"],
)
async def test_no_content_can_lose_its_own_record(value: Any, read_back: Any) -> None:
    disk = Disk()
    async with running(disk) as journal:
        assert await journal.synced(journal.write("take", "", value=value))
    record = (await reread(disk))[-1]
    assert record.data["value"] == read_back if read_back is not None else "unwritable" in record.data


async def test_a_record_too_long_is_cut_and_says_so() -> None:
    disk = Disk()
    async with running(disk) as journal:
        assert await journal.synced(journal.write("setup", "", wants="x" * (MAX_LINE + 2000)))
        assert await journal.synced(journal.write("take", "", number=1))
    records = await reread(disk)
    assert records[1].data["too long"] > MAX_LINE
    assert takes(records) == [1]


# -- a disk that refuses


async def test_a_full_disk_never_stops_a_roll_and_the_memory_is_written_first_when_it_is_back() -> None:
    disk, clock, told = Disk(), ManualClock(), list[str | None]()
    async with running(disk, clock, on_trouble=told.append) as journal:
        assert await journal.synced(journal.write("take", "", number=0))
        disk.room = 100
        for number in range(1, 4):
            assert not await journal.synced(journal.write("take", "", number=number))
        assert len(told) == 1
        assert told[0] is not None
        assert "No space left on device" in told[0]
        clock.advance(RETRY_S)  # still full
        assert "memory only" in str(journal.trouble)
        disk.room = None
        clock.advance(RETRY_MAX_S)
        assert None not in told  # written, and not yet known to be safe
        assert await journal.synced(journal.write("take", "", number=4))
        assert journal.trouble is None
        assert told[-1] is None
    assert takes(await reread(disk.after_power_cut())) == [0, 1, 2, 3, 4]


async def test_a_full_disk_is_not_littered_with_attempts() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        disk.room = 10
        journal.write("take", "", number=1)
        clock.advance(300)
        assert disk.segments() == ["journal-00000001.log"]
        assert 8 <= disk.calls.count("append_to") <= 20  # more and more seldom
        assert disk.calls.count("close") == disk.calls.count("append_to")  # no handle of an attempt is left open


async def test_the_reserve_is_given_to_the_takes_that_run() -> None:
    disk, clock, told = Disk(), ManualClock(), list[str | None]()
    async with running(disk, clock, on_trouble=told.append, reserve_bytes=5000) as journal:
        assert len(disk.files[RESERVE].seen) == 5000
        disk.room = 50
        for number in range(10):
            assert await journal.synced(journal.write("take", "", number=number))
        assert RESERVE not in disk.files
        assert "in its reserve" in str(journal.trouble)
        clock.advance(RETRY_MAX_S)
        assert "no room for its reserve" in str(journal.trouble)
        disk.room = None
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(journal.write("take", "", number=10))
        assert journal.trouble is None
        assert RESERVE in disk.files
    assert takes(await reread(disk.after_power_cut())) == list(range(11))


async def test_a_disk_that_fills_up_over_the_reserve_too_is_tried_more_and_more_seldom() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock, reserve_bytes=2000) as journal:
        disk.room = 50
        for number in range(30):
            journal.write("take", "", number=number)
        assert "memory only" in str(journal.trouble)
        before = disk.calls.count("append_to")
        clock.advance(300)
        assert 8 <= disk.calls.count("append_to") - before <= 20
        disk.room = None
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(journal.write("take", "", number=30))
    assert takes(await reread(disk.after_power_cut())) == list(range(31))


async def test_a_disk_that_refuses_the_reserves_room_too_is_told_as_memory_only() -> None:
    disk = Disk()
    async with running(disk, reserve_bytes=2000) as journal:
        disk.broken = {"write"}
        n = journal.write("take", "", number=1)
        assert RESERVE not in disk.files
        assert "memory only" in str(journal.trouble)
        assert not await journal.synced(n)


async def test_a_start_without_room_for_a_reserve_says_so() -> None:
    disk = Disk()
    disk.room = 1000
    async with running(disk, reserve_bytes=5000) as journal:
        assert "no room for its reserve" in str(journal.trouble)
        assert RESERVE not in disk.files
        assert await journal.synced(journal.write("take", "", number=1))


async def test_the_memory_has_a_bound_and_what_falls_out_is_counted_and_never_called_safe() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock, ring=10) as journal:
        disk.broken = {"write"}
        numbers = [journal.write("take", "", number=number) for number in range(25)]
        assert journal.dropped == 15
        assert len(journal._ring) == 10
        clock.advance(RETRY_S)
        assert "15 records are lost" in str(journal.trouble)
        disk.broken = set()
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(numbers[-1])
        assert not await journal.synced(numbers[0])
        assert not await journal.synced(numbers[14])
        assert await journal.synced(numbers[15])
        assert journal.dropped == 15
    after = disk.after_power_cut()
    assert takes(list_of(after)) == list(range(15, 25))
    assert any("records 2 to 16 are missing" in str(damage) for damage in verify(after).damage)


async def test_records_that_leave_the_memory_while_a_sync_is_slow_are_in_the_file() -> None:
    disk = Disk()
    async with running(disk, ring=10) as journal:
        numbers = [journal.write("take", "", number=number) for number in range(25)]
        assert journal.dropped == 0
        assert all([await journal.synced(n) for n in numbers])
    assert takes(await reread(disk.after_power_cut())) == list(range(25))


async def test_a_failed_sync_ends_the_trust_in_that_file() -> None:
    disk, clock, told = Disk(), ManualClock(), list[str | None]()
    async with running(disk, clock, on_trouble=told.append) as journal:
        assert await journal.synced(journal.write("take", "", number=0))
        old = disk.segments()[-1]
        journal.write("take", "", number=1)
        n = journal.write("take", "", number=2)
        disk.fail_at = len(disk.calls) + 1  # the sync, once: the kernel forgets those pages
        assert await journal.synced(n)
        size = len(disk.files[old].seen)
        assert await journal.synced(journal.write("take", "", number=3))
        assert len(disk.files[old].seen) == size
        assert [text is None for text in told] == [False, True]
        assert old in str(told[0])
    assert takes(await reread(disk.after_power_cut())) == [0, 1, 2, 3]
    # After a kill both files hold takes 1 and 2: they come once.
    assert takes(await reread(disk.after_kill())) == [0, 1, 2, 3]
    assert verify(disk).doubled == 2


async def test_one_failed_sync_after_another_is_got_over_while_people_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    disk = Disk()
    async with running(disk) as journal:
        wait, waits = disk._wait, 0
        second: list[asyncio.Future[bool]] = []

        async def waited() -> None:
            # in turn: sync fails, sync of the new file, its name, sync fails, sync of the next file, its name
            nonlocal waits
            waits += 1
            disk.broken = {"sync"} if waits in {1, 4} else set()
            if waits == 2:
                second.append(asyncio.ensure_future(journal.synced(journal.write("take", "", number=1))))
            await wait()

        monkeypatch.setattr(disk, "_wait", waited)
        assert await journal.synced(journal.write("take", "", number=0))
        assert await second[0]
        assert waits == 6
        assert journal.trouble is None
    assert takes(await reread(disk.after_power_cut())) == [0, 1]


async def test_any_failure_of_a_sync_counts_as_one() -> None:
    disk = Disk()
    async with running(disk) as journal:

        def shut() -> None:
            disk.on_call = None
            raise RuntimeError("the pool is shut down")

        n = journal.write("take", "", number=0)
        disk.on_call = shut
        assert await journal.synced(n)
        assert len(disk.segments()) == 2
    assert takes(await reread(disk.after_power_cut())) == [0]


async def test_one_who_waits_for_a_record_that_fell_out_is_told_so() -> None:
    disk = Disk()
    async with running(disk, ring=3) as journal:
        disk.gate = asyncio.Event()
        n = journal.write("take", "", number=0)
        waiting = asyncio.ensure_future(journal.synced(n))
        await disk.entered.wait()
        numbers = [journal.write("take", "", number=number) for number in range(1, 6)]
        disk.fail_at = len(disk.calls) + 1
        disk.gate.set()
        assert not await waiting
        assert await journal.synced(numbers[-1])
        assert journal.dropped == 3
    assert takes(list_of(disk.after_power_cut())) == [3, 4, 5]


async def test_those_who_wait_learn_at_once_that_the_disk_refuses() -> None:
    disk = Disk()
    async with running(disk) as journal:
        disk.gate = asyncio.Event()
        first = asyncio.ensure_future(journal.synced(journal.write("take", "", number=0)))
        await disk.entered.wait()
        second = asyncio.ensure_future(journal.synced(journal.write("take", "", number=1)))
        await asyncio.sleep(0)
        disk.broken = {"write"}
        journal.write("take", "", number=2)
        assert not await second
        disk.gate.set()
        assert not await first
        assert "memory only" in str(journal.trouble)


async def test_a_disk_that_never_syncs_is_not_asked_in_a_circle() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        disk.broken = {"sync"}
        before = disk.calls.count("sync")
        n = journal.write("take", "", number=0)
        assert not await journal.synced(n)
        assert disk.calls.count("sync") - before == 2
        assert journal.trouble is not None
        assert not await journal.synced(n)
        disk.broken = set()
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(n)
        assert journal.trouble is None


async def test_those_who_wait_learn_at_once_that_no_sync_succeeds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "SYNCED_S", 3600.0)
    for broken in ({"sync"}, {"sync", "append_to"}):
        disk = Disk()
        async with running(disk) as journal:
            disk.broken = broken
            async with asyncio.timeout(30):
                assert not await journal.synced(journal.write("take", "", number=0))


async def test_a_new_name_that_cannot_be_synced_is_not_safe() -> None:
    disk = Disk()
    disk.broken = {"sync_names"}
    async with running(disk) as journal:
        assert not await journal.synced(journal.write("take", "", number=0))
        assert journal.trouble is not None


async def test_a_disk_that_hangs_is_named_and_holds_nobody_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "SYNCED_S", 0.01)
    disk = Disk()
    async with running(disk) as journal:
        disk.gate = asyncio.Event()
        n = journal.write("take", "", number=0)
        assert not await journal.synced(n)
        assert "has not answered" in str(journal.trouble)
        later = journal.write("take", "", number=1)
        assert not await journal.synced(later)
        assert disk.in_flight == 1
        disk.gate.set()
        assert await journal.synced(later)
        assert journal.trouble is None
    assert takes(await reread(disk.after_power_cut())) == [0, 1]


async def test_closing_over_a_disk_that_hangs_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "SYNCED_S", 0.01)
    disk = Disk()
    async with running(disk) as journal:
        disk.gate = asyncio.Event()
        journal.write("take", "", number=0)
        await journal.close()
        disk.gate.set()
        await disk.idle.wait()


async def test_a_write_refused_under_a_sync_leaves_the_file_open_until_the_sync_is_back() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        disk.gate = asyncio.Event()
        first = asyncio.ensure_future(journal.synced(journal.write("take", "", number=0)))
        await disk.entered.wait()
        disk.fail_at = len(disk.calls) + 1
        n = journal.write("take", "", number=1)  # the disk asserts that nothing is closed under its sync
        disk.gate.set()
        assert await first in {True, False}
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(n)
        assert disk.calls.count("append_to") - disk.calls.count("close") == 1  # the one in use
    assert takes(await reread(disk.after_power_cut())) == [0, 1]


async def test_a_waiter_that_is_cancelled_leaves_nothing_behind() -> None:
    disk = Disk()
    async with running(disk) as journal:
        disk.gate = asyncio.Event()
        waiting = asyncio.ensure_future(journal.synced(journal.write("take", "", number=0)))
        await disk.entered.wait()
        waiting.cancel()
        with pytest.raises(asyncio.CancelledError):
            await waiting
        assert not journal._waiters
        disk.gate.set()
        assert await journal.synced(journal.write("take", "", number=1))


# -- a start over damage


@pytest.mark.parametrize("broken", ["names", "read", "append_to", "write", "sync", "sync_names"])
async def test_a_journal_that_cannot_be_opened_never_stops_the_start(broken: str) -> None:
    disk, clock = await three_starts(), ManualClock()
    disk.broken = {broken}
    async with running(disk, clock) as journal:
        n = journal.write("take", "", number=15)
        if broken != "read":
            assert not await journal.synced(n)
            assert journal.trouble is not None
        else:
            assert len(journal.damage) == 3
        disk.broken = set()
        clock.advance(RETRY_MAX_S)
        assert await journal.synced(n)
        assert journal.epoch > (0 if broken == "names" else 3)
    assert takes(await reread(disk.after_power_cut())) == list(range(16))


async def test_a_tail_torn_anywhere_keeps_what_is_whole_and_is_named_once() -> None:
    whole = await three_starts()
    name = whole.segments()[-1]
    content = bytes(whole.files[name].seen)
    ends = {index + 1 for index, sign in enumerate(content) if sign == ord("\n")}
    for length in sorted({*range(0, len(content), 4), *ends, *(end - 1 for end in ends), *(end + 1 for end in ends)}):
        if length > len(content):
            break
        disk = whole.after_kill()
        del disk.files[name].seen[length:]
        lines = sum(end <= length for end in ends)  # head, start, takes
        async with running(disk) as journal:
            assert takes(list(journal.replay())) == list(range(10 + max(0, lines - 2))), length
            assert bool(journal.damage) == (length not in ends), length
            n = journal.write("take", "", number=99)
            assert await journal.synced(n)
        async with running(disk) as journal:
            assert journal.damage == ()
            assert takes(list(journal.replay()))[-1] == 99
            assert journal.epoch == 5


async def test_a_flipped_bit_keeps_the_lines_before_it_and_the_other_segments() -> None:
    whole = await three_starts()
    name = whole.segments()[1]
    content = bytes(whole.files[name].seen)
    for place in range(0, len(content), 5):
        disk = whole.after_kill()
        disk.files[name].seen[place] ^= 1 << place % 8
        line = content[:place].count(b"\n")  # 0: head, 1: start, from 2: takes
        async with running(disk) as journal:
            found = takes(list(journal.replay()))
            assert found == [*range(5 + max(0, min(5, line - 2))), *range(10, 15)], place
            assert any(str(damage).startswith(name) for damage in journal.damage)
            assert journal.epoch >= 4
            assert journal._next > 18


async def test_a_missing_segment_is_named_with_its_records() -> None:
    for gone, said in ((0, "records 1 to 6 are missing"), (1, "records 7 to 12 are missing")):
        disk = await three_starts()
        del disk.files[disk.segments()[gone]]
        async with running(disk) as journal:
            assert len(list(journal.replay())) == 12
            assert [said in str(damage) for damage in journal.damage] == [True]
            assert journal.epoch == 4


async def test_a_start_that_left_an_empty_file_and_no_mark_still_counts() -> None:
    disk = await three_starts()
    disk.files[disk.segments()[-1]].seen.clear()
    del disk.files["journal.epoch-3"]
    async with running(disk) as journal:
        assert journal.epoch == 4
        assert [str(damage).partition(": ")[2] for damage in journal.damage] == ["it is empty."]


async def test_numbers_behind_damage_are_not_given_out_again() -> None:
    disk = await three_starts()
    name = disk.segments()[-1]
    disk.files[name].seen[len(b"".join(disk.lines(name)[:2])) + 20] ^= 1  # its first take; four more follow
    async with running(disk) as journal:
        assert journal.write("take", "", number=99) == 20


async def test_a_head_alone_says_which_numbers_were_given_out() -> None:
    disk = await three_starts()
    _, middle, last = disk.segments()
    del disk.files[middle]
    disk.files[last].seen = bytearray(disk.lines(last)[0])
    async with running(disk) as journal:
        assert journal.write("take", "", number=99) == 14
        await journal.close()
    assert [damage.segment for damage in verify(disk).damage] == [last]


async def test_known_chains_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_replay, "_REMEMBERED", 7)
    walk = journal_replay.Walk(await three_starts())
    assert len(list(walk.records())) == 18
    assert len(walk._known) == len(walk._recent) == 7


async def test_a_file_that_cannot_be_read_gives_no_number_a_second_life(monkeypatch: pytest.MonkeyPatch) -> None:
    disk = await three_starts()
    bad = disk.segments()[-1]
    read = disk.read

    def refuse(name: str) -> bytes:
        if name == bad:
            raise PermissionError(13, "Permission denied", name)
        return read(name)

    monkeypatch.setattr(disk, "read", refuse)
    async with running(disk) as journal:
        assert journal.damage[0].segment == bad
        assert journal.epoch == 4
        n = journal.write("take", "", number=15)
        await journal.close()
    monkeypatch.undo()
    records = await reread(disk)
    assert len({record.n for record in records}) == len(records)
    assert takes(records) == list(range(16))
    assert n > 18


async def test_strangers_in_the_folder_are_left_alone() -> None:
    disk = Disk()
    for name in ("journal-1.log", "journal-00000001.log.bak", "people.json"):
        disk.append_to(name).write(b"mine")
    async with running(disk) as journal:
        assert journal.damage == ()
        assert list(journal.replay()) == []
        await journal.close()
    assert all(bytes(disk.files[name].seen) == b"mine" for name in ("journal-1.log", "people.json"))


def forged(line: bytes, old: bytes, new: bytes) -> bytes:
    """A line changed by somebody who puts the checksum right."""
    body = line[9:-1].replace(old, new)
    return b"%08x %b\n" % (zlib.crc32(body), body)


def hands(lines: list[bytes]) -> Iterator[tuple[str, list[bytes], int]]:
    """Name, lines and how many takes of the segment stay: what hands do to a segment of a start and five takes."""
    yield "another person", [*lines[:4], forged(lines[4], b"ines", b"jo"), *lines[5:]], 2
    yield "a line less", [*lines[:4], *lines[5:]], 2
    yield "a line twice", [*lines[:4], lines[3], *lines[4:]], 2
    yield "two swapped", [*lines[:3], lines[4], lines[3], *lines[5:]], 1
    yield "a line from elsewhere", [*lines[:4], forged(lines[4], b'"number":', b'"number":1'), *lines[5:]], 2
    yield "not json", [*lines[:4], b"%08x %b\n" % (zlib.crc32(b"x" * 80), b"x" * 80), *lines[5:]], 2
    yield "two heads", [lines[0], *lines], -1


@pytest.mark.parametrize("name", [name for name, _, _ in hands([b" " * 60] * 8)])
async def test_a_hand_in_the_files_is_found_by_the_chain(name: str) -> None:
    disk = await three_starts()
    middle = disk.segments()[1]
    lines, kept = next((lines, kept) for one, lines, kept in hands(disk.lines(middle)) if one == name)
    disk.files[middle].seen = bytearray(b"".join(lines))
    report = verify(disk)
    assert not report.whole
    assert middle in str(report.damage[0])
    assert takes(list_of(disk)) == [*range(5 + max(0, kept)), *range(10, 15)]


async def test_a_whole_journal_is_called_whole() -> None:
    report = verify(await three_starts())
    assert report.whole
    assert (report.segments, report.records, report.last, report.epoch, report.doubled) == (3, 18, 18, 3, 0)


async def test_a_journal_of_a_newer_version_is_left_alone() -> None:
    disk, clock = await three_starts(), ManualClock()
    name = disk.segments()[-1]
    lines = disk.lines(name)
    disk.files[name].seen = bytearray(b"".join([forged(lines[0], b'"journal":1', b'"journal":2'), *lines[1:]]))
    before = {one: bytes(file.seen) for one, file in disk.files.items()}
    async with running(disk, clock) as journal:
        assert "newer version" in str(journal.trouble)
        assert takes(list(journal.replay())) == list(range(10))
        assert not await journal.synced(journal.write("take", "", number=15))
        clock.advance(300)
        await journal.close()
    assert {one: bytes(file.seen) for one, file in disk.files.items()} == before


# -- crashes everywhere


class Story:
    """A short day on one disk: what was written, and what was called safe by when."""

    def __init__(self, disk: Disk) -> None:
        self.disk = disk
        self.written: list[int] = []
        self.safe: list[int] = []

    async def tell(self) -> None:
        clock = ManualClock()
        for start in range(2):
            async with running(self.disk, clock, segment_bytes=1500, reserve_bytes=300) as journal:
                for number in range(100 * start, 100 * start + 12):
                    self.written.append(number)
                    n = journal.write("take", "ines", what="opened", number=number)
                    if number % 3 == 2 and await journal.synced(n):
                        # a sync covers what was written before it, as far as memory and disk had it
                        self.safe.append(number)
                    if number % 5 == 0:
                        clock.advance(RETRY_MAX_S)
                        await asyncio.sleep(0)
                if start:
                    await journal.close()


async def check(disk: Disk, written: list[int], safe: list[int]) -> None:
    """A start over what is left: it starts, has all that was safe, nothing else, nothing twice, in order."""
    async with running(disk) as journal:
        found = takes(list(journal.replay()))
        assert await journal.synced(journal.write("take", "", number=999))
    assert set(safe) <= set(found)
    assert found == sorted(set(found))
    assert set(found) <= set(written)
    # and once more: what was found stays, and the damage was seen
    async with running(disk) as journal:
        assert takes(list(journal.replay())) == [*found, 999]


async def count_calls() -> int:
    story = Story(Disk())
    await story.tell()
    assert story.safe == [2, 5, 8, 11, 101, 104, 107, 110]
    return len(story.disk.calls)


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
async def test_any_call_of_the_disk_may_fail_and_nothing_safe_is_lost(for_ever: bool) -> None:
    failed_at_all = 0
    for n in range(1, await count_calls() + 1):
        story = Story(Disk())
        story.disk.fail_at, story.disk.for_ever = n, for_ever
        await story.tell()
        failed_at_all += len(story.disk.calls) >= n
        await check(story.disk.after_kill(), story.written, story.safe)
        for seed in range(3):
            await check(story.disk.after_power_cut(random.Random(seed)), story.written, story.safe)
        await check(story.disk.after_power_cut(), story.written, story.safe)
    assert failed_at_all > 50


async def test_power_may_go_before_any_call_of_the_disk_and_nothing_safe_is_lost() -> None:
    story = Story(Disk())
    moments: list[tuple[Disk, list[int], list[int]]] = []
    story.disk.on_call = lambda: moments.append((story.disk.after_kill(), [*story.written], [*story.safe]))
    await story.tell()
    assert len(moments) > 60
    for index, (disk, written, safe) in enumerate(moments):
        await check(disk.after_power_cut(), written, safe)
        await check(disk.after_power_cut(random.Random(index)), written, safe)
        await check(disk, written, safe)


async def test_power_may_go_again_during_the_start_after_a_power_cut() -> None:
    story = Story(Disk())
    await story.tell()
    torn = story.disk.after_power_cut(random.Random(7))
    torn.files[torn.segments()[-1]].seen += b"half a li"
    torn.files[torn.segments()[-1]].safe += b"half a li"
    expected = takes(list_of(torn))
    moments: list[Disk] = []
    second = torn.after_kill()
    second.on_call = lambda: moments.append(second.after_kill())
    async with running(second):
        pass
    for index, disk in enumerate(moments):
        again = disk.after_power_cut(random.Random(index))
        assert takes(await reread(again)) == expected


async def damaged(whole: Disk, changes: list[tuple[int, int, int, bytes]]) -> None:
    disk = whole.after_kill()
    for segment, place, length, new in changes:
        content = disk.files[disk.segments()[segment % 3]].seen
        start = place % (len(content) + 1)
        content[start : start + length] = new
    async with running(disk) as journal:
        found = takes(list(journal.replay()))
        assert found == sorted(set(found))
        assert set(found) <= set(range(15))
        assert await journal.synced(journal.write("take", "", number=99))
    assert takes(await reread(disk)) == [*found, 99]


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2000), st.integers(0, 40), st.binary(max_size=12)), max_size=4)
)
def test_whatever_is_done_to_the_files_the_start_finds_true_records_only(
    changes: list[tuple[int, int, int, bytes]],
) -> None:
    asyncio.run(_damaged_from_scratch(changes))


async def _damaged_from_scratch(changes: list[tuple[int, int, int, bytes]]) -> None:
    await damaged(await three_starts(), changes)
