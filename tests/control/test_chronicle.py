"""Is everyone who follows told what was written, and does nobody who lags hold the others up?

Source of all rows: own construction; the form of times is RFC 3339.
"""

from datetime import UTC, datetime

from stagectl.control.chronicle import BACKLOG, KEEP, Chronicle, Entry, stamp
from tests.model.hand_clock import HandClock
from tests.shoot.hall import PaperJournal


def chronicle() -> tuple[Chronicle, PaperJournal]:
    paper = PaperJournal()
    return Chronicle(paper, HandClock()), paper


def test_what_is_written_goes_to_the_journal_first_and_gets_its_number() -> None:
    told, paper = chronicle()
    assert told.write("take", "ines", take=1) == 1
    assert told.write("later", "ines", seen="yes") == 2
    assert paper.records == [("take", "ines", {"take": 1}), ("later", "ines", {"seen": "yes"})]
    assert [(entry.n, entry.kind, entry.who, entry.data) for entry in told.recent] == [
        (1, "take", "ines", {"take": 1}),
        (2, "later", "ines", {"seen": "yes"}),
    ]


def test_a_follower_is_told_from_now_on_until_it_leaves() -> None:
    told, _ = chronicle()
    woken: list[int] = []
    told.write("take", "ines", take=1)
    follower = told.follow(lambda: woken.append(1))
    told.write("take", "ines", take=2)
    told.write("take", "ines", take=3)
    entries, gap = follower.take()
    assert ([entry.data["take"] for entry in entries], gap, len(woken)) == ([2, 3], False, 2)
    assert follower.take() == ([], False)
    told.unfollow(follower)
    told.unfollow(follower)
    told.write("take", "ines", take=4)
    assert follower.take() == ([], False)


def test_who_lags_is_told_of_a_gap_and_holds_nobody_up() -> None:
    told, _ = chronicle()
    slow, quick = told.follow(lambda: None), told.follow(lambda: None)
    for number in range(BACKLOG + 3):
        told.write("take", "ines", take=number)
        if number % 100 == 0:
            quick.take()
    entries, gap = slow.take()
    assert (len(entries), entries[0].data["take"], gap) == (BACKLOG, 3, True)
    assert quick.take()[1] is False
    told.write("take", "ines", take=0)
    assert slow.take()[1] is False


def test_only_the_newest_are_kept_in_memory() -> None:
    told, _ = chronicle()
    for number in range(KEEP + 5):
        told.write("take", "ines", take=number)
    assert (len(told.recent), told.recent[0].data["take"]) == (KEEP, 5)


def test_an_entry_as_json_has_a_utc_time_with_milliseconds() -> None:
    wall = datetime(2027, 3, 12, 14, 2, 5, 7999, tzinfo=UTC)
    assert stamp(wall) == "2027-03-12T14:02:05.007Z"
    assert Entry(7, wall, "take", "ines", {"take": 1}).plain() == {
        "n": 7,
        "at": "2027-03-12T14:02:05.007Z",
        "kind": "take",
        "who": "ines",
        "data": {"take": 1},
    }


async def test_whether_it_is_safe_is_the_journals_word() -> None:
    told, paper = chronicle()
    asked: list[int] = []

    async def synced(n: int) -> bool:
        asked.append(n)
        return False

    paper.synced = synced  # type: ignore[method-assign]
    assert await told.synced(5) is False
    assert asked == [5]
