"""Is each damage of the journal named with its place, and are starts and numbers counted behind it?

Source of all rows: own construction; the layout is that of `stagectl/control/journal_lines.py`: three starts leave
three files of seven lines, a head, the start and five takes.
"""

from collections.abc import Callable

import pytest

from stagectl.control.journal import RETRY_MAX_S, RETRY_S
from stagectl.control.journal_lines import number_of, whole
from stagectl.control.journal_replay import Damage, Report, Walk, verify
from tests.control.disk import Disk, ManualClock
from tests.control.test_journal import forged, reread, running, takes, three_starts


def lines_of(disk: Disk, segment: int) -> list[bytes]:
    return disk.lines(disk.segments()[segment])


def put(disk: Disk, segment: int, lines: list[bytes]) -> None:
    disk.files[disk.segments()[segment]].seen[:] = b"".join(lines)


def flipped(line: bytes) -> bytes:
    return line[:20] + bytes([line[20] ^ 1]) + line[21:]


def told(report: Report) -> list[str]:
    return [str(damage) for damage in report.damage]


SECOND, THIRD = "journal-00000002.log", "journal-00000003.log"
APART = "this line is damaged, it doesn't follow from the lines before"


@pytest.mark.parametrize(
    ("segment", "spoil", "damage"),
    [
        (
            1,
            lambda lines: [*lines[:2], flipped(lines[2]), *lines[3:]],
            [
                f"{SECOND}:3: this line is damaged, its checksum is wrong, 4 lines after it are not read.",
                f"{THIRD}:1: it doesn't follow from the file before.",
            ],
        ),
        (
            1,
            lambda lines: [*lines[:3], *lines[4:]],
            [
                f"{SECOND}:4: {APART}, 2 lines after it are not read.",
                f"{THIRD}:1: it doesn't follow from the file before.",
            ],
        ),
        (2, lambda lines: [*lines[:6], lines[6][:-5]], [f"{THIRD}:7: the last line is torn."]),
        (
            2,
            lambda lines: [*lines[:6], flipped(lines[6])],
            [f"{THIRD}:7: this line is damaged, its checksum is wrong."],
        ),
        (2, lambda lines: [lines[0][:-5]], [f"{THIRD}:1: the first line is torn or damaged."]),
        (
            2,
            lambda lines: [flipped(lines[0]), *lines[1:]],
            [f"{THIRD}:1: the first line is torn or damaged, 6 lines after it are not read."],
        ),
        (2, lambda lines: [], [f"{THIRD}: it is empty."]),
        (
            2,
            lambda lines: [forged(lines[0], b'"journal":1', b'"journal":2'), *lines[1:]],
            [f"{THIRD}:1: a newer version wrote it (2), it is not read."],
        ),
    ],
)
async def test_a_damage_is_named_with_its_file_and_line(
    segment: int, spoil: Callable[[list[bytes]], list[bytes]], damage: list[str]
) -> None:
    disk = await three_starts()
    put(disk, segment, spoil(lines_of(disk, segment)))
    report = verify(disk)
    assert told(report) == damage
    assert not report.whole
    assert report.segments == 3


async def test_numbers_behind_a_damage_count_though_their_lines_are_not_read() -> None:
    disk = await three_starts()
    lines = lines_of(disk, 2)
    put(disk, 2, [*lines[:2], flipped(lines[2]), *lines[3:]])
    report = verify(disk)
    assert (report.records, report.last, report.epoch, report.newer) == (13, 18, 3, False)


async def test_each_file_whose_head_is_gone_may_be_a_start_and_a_later_head_says_what_was_so() -> None:
    disk = await three_starts()
    for segment in (1, 2):
        put(disk, segment, [flipped(lines_of(disk, segment)[0]), *lines_of(disk, segment)[1:]])
    report = verify(disk)
    assert (report.epoch, report.headless, report.unreadable) == (1, 2, 2)
    put(disk, 2, [flipped(lines_of(disk, 2)[0]), *lines_of(disk, 2)[1:]])  # its head is back
    report = verify(disk)
    assert (report.epoch, report.headless, report.unreadable) == (3, 0, 0)
    put(disk, 2, [])
    report = verify(disk)
    assert (report.epoch, report.headless, report.unreadable) == (1, 2, 1), "an empty file is a start, without records"


async def test_a_file_that_can_not_be_read_counts_as_a_start_and_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    disk = await three_starts()
    read = disk.read

    def refuse(name: str) -> bytes:
        if name == THIRD:
            raise PermissionError(13, "Permission denied", name)
        return read(name)

    monkeypatch.setattr(disk, "read", refuse)
    report = verify(disk)
    assert told(report) == [f"{THIRD}: it can't be read: Permission denied."]
    assert (report.segments, report.epoch, report.headless, report.unreadable) == (3, 2, 1, 1)
    disk.broken = {"names"}
    report = verify(disk)
    assert told(report) == ["the journal's folder: it can't be read: Input/output error."]
    assert (report.segments, report.epoch, report.headless, report.unreadable) == (0, 0, 1, 1)


async def test_what_a_later_start_went_on_from_is_no_news() -> None:
    disk = await three_starts()
    put(disk, 2, [*lines_of(disk, 2), b"half a li"])
    assert told(verify(disk)) == [f"{THIRD}:8: the last line is torn."]
    async with running(disk):
        pass
    report = verify(disk)
    assert [(damage.line, damage.known) for damage in report.damage] == [(8, True)]
    assert report.whole
    assert not Report(damage=[*report.damage, Damage(THIRD, 3, "x.")]).whole


async def test_records_that_come_a_second_time_are_counted_once() -> None:
    disk = await three_starts()
    put(disk, 2, lines_of(disk, 1))  # the second start's file again
    report = verify(disk)
    assert (report.records, report.doubled) == (12, 6)


async def test_a_walk_below_a_number_reads_what_earlier_starts_left() -> None:
    disk = await three_starts()
    assert takes(list(Walk(disk, below=3).records())) == list(range(10))
    assert takes(list(Walk(disk, below=1).records())) == []


def test_a_number_is_read_without_the_rest_or_it_is_none() -> None:
    assert [
        number_of(body) for body in (b'{"n":17,"wall":', b'{"n":1', b'{"n":x,"wall":', b'{"m":17,"wall":', b"")
    ] == [
        17,
        None,
        None,
        None,
        None,
    ]


async def test_a_line_is_whole_with_its_sum_and_not_a_byte_less() -> None:
    (line, *_) = (await three_starts()).lines(SECOND)
    assert whole(line[:-1]) is not None
    assert [whole(one) for one in (line[:-2], line[1:-1], line[:8] + b"_" + line[9:-1], line[:40], b"")] == [None] * 5


# -- a disk that refuses, and is well again


async def test_a_disk_that_was_well_in_between_is_tried_again_soon() -> None:
    disk, clock = Disk(), ManualClock()
    async with running(disk, clock) as journal:
        for _ in range(2):
            disk.broken = {"write"}
            n = journal.write("take", "", number=1)
            clock.advance(RETRY_S / 2)
            assert "memory only" in str(journal.trouble)
            clock.advance(4 * RETRY_MAX_S)  # by now it is tried seldom
            disk.broken = set()
            clock.advance(RETRY_MAX_S)
            assert await journal.synced(n)
            assert journal.trouble is None
        disk.broken = {"write"}
        n = journal.write("take", "", number=2)
        disk.broken = set()
        clock.advance(RETRY_S + 0.1)
        assert await journal.synced(n), "the first try comes soon"
    assert takes(await reread(disk.after_power_cut())) == [1, 1, 2]
