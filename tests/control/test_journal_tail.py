"""Can whoever copies the journal elsewhere read on from any record, while it grows and where it is damaged?

Source: own construction; what a replay of the same files gives is the other side.
"""

import pytest

from stagectl.control.journal_lines import Record
from stagectl.control.journal_replay import Walk
from stagectl.control.journal_tail import Tail
from tests.control.disk import Disk
from tests.control.test_journal import running, three_starts


def copied(disk: Disk, most: int, most_bytes: int = 1 << 20, since: int = 0) -> list[Record]:
    """All records, a piece after the other."""
    tail = Tail(disk)
    found: list[Record] = []
    while piece := tail.read(found[-1].n if found else since, most, most_bytes).records:
        assert len(piece) <= most
        found += piece
    return found


@pytest.mark.parametrize("most", [1, 5, 200])
async def test_piece_by_piece_it_is_what_a_replay_gives(most: int) -> None:
    disk = await three_starts()
    records = list(Walk(disk).records())
    assert len(records) == 18
    assert copied(disk, most) == records
    for since in range(19):
        assert copied(disk, most, since=since) == records[since:]


async def test_a_piece_has_a_size_and_one_record_at_least() -> None:
    disk = await three_starts()
    assert copied(disk, 200, most_bytes=1) == list(Walk(disk).records())
    assert len(Tail(disk).read(0, 200, 300).records) < 3


async def test_what_is_written_meanwhile_is_read_on_and_what_is_torn_is_not() -> None:
    disk = Disk()
    tail = Tail(disk)
    assert tail.read(0, 200, 1000).origin == ""
    async with running(disk) as journal:
        first = tail.read(0, 200, 1 << 20)
        assert [record.kind for record in first.records] == ["daemon"]
        journal.write("link", "", device="iso-1", what="up")
        (more,) = tail.read(first.records[-1].n, 200, 1 << 20).records
        assert more.data == {"device": "iso-1", "what": "up"}
        name = disk.segments()[-1]
        disk.files[name].seen += b'00000000 {"n":3,'
        assert tail.read(more.n, 200, 1 << 20).records == ()


async def test_a_journal_has_one_origin_for_all_its_starts_and_another_has_another() -> None:
    disk = await three_starts()
    origin = Tail(disk).read(17, 1, 1000).origin
    async with running(disk):
        assert Tail(disk).read(0, 1, 1000).origin == origin == next(Walk(disk).records()).chain
    other = Disk()
    async with running(other) as journal:
        journal.write("take", "", what="head")
        assert Tail(other).read(0, 1, 1000).origin != ""


async def test_behind_a_damage_the_next_segment_goes_on() -> None:
    disk = await three_starts()
    lines = bytes(disk.files[disk.segments()[1]].seen).split(b"\n")
    lines[3] = b"x" + lines[3][1:]
    disk.files[disk.segments()[1]].seen[:] = b"\n".join(lines)
    assert [record.n for record in copied(disk, 5)] == [1, 2, 3, 4, 5, 6, 7, 8, 13, 14, 15, 16, 17, 18]
