"""Does the database know, after a restart too, what is copied and what is due next?"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.job import State, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import Layout, Planned, Shots, planned
from stagectl.copyoff.source import Found, Look, ToldBy
from stagectl.model.errors import SiteError

NOON = datetime(2027, 3, 12, 12, tzinfo=UTC)
ALL = Wanted()
LAYOUT = Layout()
TARGETS = ("shelf", "safe")


def clip(
    path: str, size: int = 100, mtime: datetime | None = NOON, told_by: ToldBy = ToldBy.FACTS, deck: str = "iso-1"
) -> Planned:
    return planned(deck, Found(path, 1, Look(size, mtime, told_by)), LAYOUT, Shots([]))


@pytest.fixture
def jobs(tmp_path: Path) -> Iterator[Jobs]:
    made = Jobs(tmp_path / "copy.db")
    yield made
    made.close()


NUMBERS = count(1)


def new_id() -> str:
    return f"J{next(NUMBERS):025d}"


def discover(jobs: Jobs, *clips: Planned, deck: str = "iso-1") -> int:
    return jobs.discover(deck, deck.upper(), clips, TARGETS, new_id)


def publish(jobs: Jobs, job: str, target: str, medium: str = "disk 8:1") -> None:
    told = {"hash_kind": "md5", "digest": "d41d8cd98f00b204e9800998ecf8427e", "medium": medium}
    jobs.put(job, target, State.PUBLISHED, started=NOON, verified=NOON, published=NOON, **told)


def test_each_clip_is_one_job_with_a_copy_a_target(jobs: Jobs) -> None:
    assert discover(jobs, clip("1/a.mov"), clip("1/b.mov")) == 2
    assert discover(jobs, clip("1/a.mov"), clip("1/b.mov")) == 2
    page = jobs.page(ALL)
    assert [job.source.path for job in page] == ["1/a.mov", "1/b.mov"]
    assert [(copy.target, copy.path, copy.state) for copy in page[0].copies] == [
        ("shelf", "iso-1/a.mov", State.DISCOVERED),
        ("safe", "iso-1/a.mov", State.DISCOVERED),
    ]
    assert page[0].state is State.DISCOVERED


def test_what_is_written_is_there_after_a_restart(jobs: Jobs, tmp_path: Path) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    jobs.looked(job.id, Look(100, NOON, ToldBy.ASKED))
    jobs.put(job.id, "shelf", State.COPYING, started=NOON, hash_kind="xxh128", kept=64, kept_digest="ab")
    jobs.begin_run("RUN", Wanted(recorders=("iso-1",), takes=(3,)), NOON)
    jobs.close()
    again = Jobs(tmp_path / "copy.db")
    copy = again.page(ALL)[0].copy("shelf")
    assert (copy.state, copy.started, copy.kept, copy.kept_digest) == (State.COPYING, NOON, 64, "ab")
    assert again.page(ALL)[0].asked == Look(100, NOON, ToldBy.ASKED)
    assert again.last_run() == ("RUN", Wanted(recorders=("iso-1",), takes=(3,)), NOON, None, "")
    again.end_run("RUN", NOON, "all")
    assert again.last_run() == ("RUN", Wanted(recorders=("iso-1",), takes=(3,)), NOON, NOON, "all")
    again.close()


@pytest.mark.usefixtures("jobs")
def test_the_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    assert (tmp_path / "copy.db").stat().st_mode & 0o077 == 0


def test_what_is_said_to_be_written_is_on_the_medium(jobs: Jobs) -> None:
    assert jobs._db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL, by sqlite's documentation of the pragma
    assert jobs._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_file_that_is_no_database_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "copy.db").write_bytes(b"no database at all, but long enough to be looked at" * 40)
    with pytest.raises(SiteError, match="Move it away"):
        Jobs(tmp_path / "copy.db")


def test_a_newer_version_s_database_is_left_alone(jobs: Jobs, tmp_path: Path) -> None:
    jobs._db.execute("PRAGMA user_version = 99")
    jobs.close()
    with pytest.raises(SiteError, match="newer version"):
        Jobs(tmp_path / "copy.db")


def test_a_clip_that_grew_before_its_copy_is_the_same_job(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    jobs.looked(job.id, Look(100, NOON, ToldBy.ASKED))
    jobs.put(job.id, "shelf", State.COPYING, kept=50, kept_digest="x")
    discover(jobs, clip("1/a.mov", 200))
    (same,) = jobs.page(ALL)
    assert (same.id, same.size, same.asked, same.copy("shelf").state) == (job.id, 200, None, State.DISCOVERED)


def test_a_clip_recorded_anew_under_a_copied_name_is_another_job_beside_it(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    publish(jobs, job.id, "shelf")
    discover(jobs, clip("1/a.mov", 300))
    old, new = sorted(jobs.page(ALL), key=lambda one: one.id)
    assert old.id == job.id
    assert old.copy("shelf").state is State.PUBLISHED
    assert not old.present
    assert new.present
    assert [copy.path for copy in new.copies] == ["iso-1/a_2.mov"] * 2


def test_two_slots_with_one_clip_name_stand_beside_each_other_whatever_the_case(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"), clip("2/A.MOV"), clip("3/a.mov"))
    assert {job.source.path: job.copies[0].path for job in jobs.page(ALL)} == {
        "1/a.mov": "iso-1/a.mov",
        "2/A.MOV": "iso-1/A_2.MOV",
        "3/a.mov": "iso-1/a_3.mov",
    }


@pytest.mark.parametrize(
    ("mtime", "told_by", "jobs_then"),
    [
        (NOON + timedelta(seconds=20), ToldBy.LIST, 1),  # to the minute: not comparable
        (None, ToldBy.NOBODY, 1),
        (NOON, ToldBy.FACTS, 1),
        (NOON + timedelta(seconds=1), ToldBy.FACTS, 2),
    ],
)
def test_times_of_different_lists_are_never_compared(
    jobs: Jobs, mtime: datetime | None, told_by: ToldBy, jobs_then: int
) -> None:
    discover(jobs, clip("1/a.mov"))
    publish(jobs, jobs.page(ALL)[0].id, "shelf")
    discover(jobs, clip("1/a.mov", 100, mtime, told_by))
    assert len(jobs.page(ALL)) == jobs_then


def test_what_is_not_listed_any_more_has_failed_and_comes_back_with_its_medium(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))
    discover(jobs, clip("1/b.mov"))
    gone, there = jobs.page(ALL)
    assert (gone.present, gone.state, gone.copies[0].reason) == (False, State.FAILED, Reason.GONE)
    assert gone.copies[0].why == "ISO-1 does not list it any more."
    assert there.present
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))
    assert [job.state for job in jobs.page(ALL)] == [State.DISCOVERED] * 2


def test_a_list_that_breaks_off_counts_nothing_as_gone(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))

    def broken() -> Iterator[Planned]:
        yield clip("1/b.mov")
        raise CopyError(Reason.LINK, "It broke.")

    with pytest.raises(CopyError):
        jobs.discover("iso-1", "ISO-1", broken(), TARGETS, new_id)
    discover_states = [job.state for job in jobs.page(ALL)]
    assert discover_states == [State.DISCOVERED] * 2
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))
    assert all(job.present for job in jobs.page(ALL))


def test_a_copied_clip_that_was_cleared_stays_in_the_books(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    publish(jobs, job.id, "shelf")
    publish(jobs, job.id, "safe", "disk 8:2")
    discover(jobs)
    (job,) = jobs.page(ALL)
    assert (job.state, job.present, job.safe_to_clear) == (State.PUBLISHED, False, True)


def test_two_copies_on_one_disk_are_one(jobs: Jobs) -> None:
    """Source: "clear source only when two verified copies exist", clip-store sheet section 7 step 8."""
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    publish(jobs, job.id, "shelf")
    publish(jobs, job.id, "safe")
    (job,) = jobs.page(ALL)
    assert (job.verified_copies, job.safe_to_clear) == (1, False)
    assert jobs.sums(ALL)["iso-1"].safe == 0
    publish(jobs, job.id, "safe", "sftp vault")
    assert jobs.page(ALL)[0].safe_to_clear
    assert jobs.sums(ALL)["iso-1"].safe == 1


def test_clips_come_off_one_by_one_in_their_order_and_once(jobs: Jobs) -> None:
    yesterday = NOON - timedelta(days=1)
    discover(jobs, clip("1/old.mov", mtime=yesterday), clip("1/new.mov"))
    first = jobs.to_fetch("iso-1", ALL, ())
    assert first is not None
    job, copy = first
    assert (job.source.path, copy.target) == ("1/new.mov", "shelf")
    second = jobs.to_fetch("iso-1", ALL, (job.id,))
    assert second is not None
    assert second[0].source.path == "1/old.mov"
    jobs.put(job.id, "shelf", State.COPIED)
    third = jobs.to_fetch("iso-1", ALL, ())
    assert third is not None
    assert third[0].source.path == "1/old.mov"
    assert jobs.to_fetch("iso-2", ALL, ()) is None


def test_where_the_first_target_failed_the_clip_is_read_for_the_second(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    jobs.put(job.id, "shelf", State.FAILED, reason=Reason.FULL, why="It is full.")
    due = jobs.to_fetch("iso-1", ALL, ())
    assert due is not None
    assert due[1].target == "safe"
    assert jobs.ask_again(ALL) == 1
    due = jobs.to_fetch("iso-1", ALL, ())
    assert due is not None
    assert due[1].target == "shelf"


def test_a_second_copy_is_made_of_one_that_stands(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    (job,) = jobs.page(ALL)
    jobs.put(job.id, "shelf", State.COPIED)
    assert jobs.to_double("safe", ("shelf",), ALL, ()) is None
    finish = jobs.to_finish("iso-1", ())
    assert finish is not None
    assert finish[1].target == "shelf"
    publish(jobs, job.id, "shelf")
    assert jobs.to_finish("iso-1", ()) is None
    due = jobs.to_double("safe", ("shelf",), ALL, ())
    assert due is not None
    assert (due[1].target, due[2].target) == ("safe", "shelf")
    assert jobs.to_double("safe", ("elsewhere",), ALL, ()) is None
    assert jobs.to_double("shelf", ("safe",), ALL, ()) is None


def test_only_what_is_wanted_is_due(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"))
    discover(jobs, replace(clip("1/b.mov", deck="iso-2"), take=4), deck="iso-2")
    for wanted, paths in [
        (ALL, ["1/a.mov", "1/b.mov"]),
        (Wanted(recorders=("iso-2",)), ["1/b.mov"]),
        (Wanted(takes=(4, 5)), ["1/b.mov"]),
        (Wanted(days=("2027-03-12",), recorders=("iso-1",)), ["1/a.mov"]),
        (Wanted(days=("2027-03-13",)), []),
    ]:
        assert [job.source.path for job in jobs.page(wanted)] == paths
        assert sum(one.clips for one in jobs.sums(wanted).values()) == len(paths)


def test_what_looks_like_a_query_is_a_name(jobs: Jobs) -> None:
    bad = "a'); DROP TABLE jobs; -- \" OR 1=1"
    discover(jobs, clip("1/a.mov"))
    discover(jobs, clip(f"1/{bad}.mov", deck=bad), deck=bad)
    assert [job.source.path for job in jobs.page(Wanted(recorders=(bad,)))] == [f"1/{bad}.mov"]
    assert list(jobs.sums(Wanted(recorders=(bad, "x' OR '1'='1")))) == [bad]
    assert jobs.page(Wanted(days=("2027-03-12' OR '1'='1",))) == []
    assert jobs.ask_again(Wanted(recorders=("' OR 1=1 --",))) == 0
    assert len(jobs.page(ALL)) == 2


def test_pages_go_through_all_in_order(jobs: Jobs) -> None:
    discover(jobs, *(clip(f"1/{number:03d}.mov") for number in range(450)))
    after, paths = None, []
    while page := jobs.page(ALL, after=after, most=100):
        paths += [job.source.path for job in page]
        after = page[-1]
    assert paths == [f"1/{number:03d}.mov" for number in range(450)]


def test_sums_say_what_waits_what_failed_and_what_must_still_be_read(jobs: Jobs) -> None:
    discover(jobs, *(clip(f"1/{name}.mov", 10 * number) for number, name in enumerate("abcd", 1)))
    ids = [job.id for job in jobs.page(ALL)]
    publish(jobs, ids[0], "shelf")
    publish(jobs, ids[0], "safe", "other")
    publish(jobs, ids[1], "shelf")
    jobs.put(ids[2], "shelf", State.FAILED)
    jobs.put(ids[2], "safe", State.FAILED)
    sums = jobs.sums(ALL)["iso-1"]
    assert (sums.clips, sums.bytes) == (4, 100)
    assert (sums.published, sums.failed, sums.waiting, sums.safe) == (1, 1, 2, 1)
    assert (sums.waiting_bytes, sums.unread_bytes) == (60, 40)


def test_published_copies_come_for_a_manifest_once(jobs: Jobs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagectl.copyoff.jobs.PAGE", 5)
    discover(jobs, *(clip(f"1/{number:03d}.mov") for number in range(12)))
    for job in jobs.page(ALL, most=1000):
        publish(jobs, job.id, "shelf")
    records = list(jobs.unlisted("shelf"))
    assert [record.path for record in records] == [f"iso-1/{number:03d}.mov" for number in range(12)]
    assert (records[0].called, records[0].source, records[0].mtime) == ("ISO-1", "1/000.mov", NOON)
    jobs.listed("shelf", (record.job for record in records[:11]), "ascmhl/0001.mhl")
    assert [record.path for record in jobs.unlisted("shelf")] == ["iso-1/011.mov"]
    assert list(jobs.unlisted("safe")) == []
    assert jobs.page(ALL)[0].copy("shelf").manifest == "ascmhl/0001.mhl"


def test_the_same_bytes_twice_are_named(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"), clip("2/a.mov"), clip("2/b.mov"))
    one, two, three = sorted(jobs.page(ALL), key=lambda job: job.source.path)
    for job, found in ((one, "aa"), (two, "aa"), (three, "bb")):
        publish(jobs, job.id, "shelf")
        jobs.note(job.id, "shelf", digest=found)
        jobs.looked(job.id, Look(100, NOON, ToldBy.ASKED))
    assert [[job.source.path for job in same] for same in jobs.doubles()] == [["1/a.mov", "2/a.mov"]]


def test_a_target_that_the_site_file_lost_is_forgotten_unless_a_copy_stands_there(jobs: Jobs) -> None:
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))
    one, two = jobs.page(ALL)
    publish(jobs, one.id, "safe")
    jobs.keep_to(("shelf",))
    assert [copy.target for copy in jobs.job(one.id).copies] == ["shelf", "safe"]  # type: ignore[union-attr]
    assert [copy.target for copy in jobs.job(two.id).copies] == ["shelf"]  # type: ignore[union-attr]
    discover(jobs, clip("1/a.mov"), clip("1/b.mov"))
    assert {copy.target for copy in jobs.job(two.id).copies} == set(TARGETS)  # type: ignore[union-attr]


def test_a_file_s_time_is_that_of_the_answer_most_to_be_trusted(jobs: Jobs) -> None:
    hour = timedelta(hours=1)
    discover(jobs, clip("1/a.mov", mtime=NOON), clip("1/b.mov", mtime=NOON, told_by=ToldBy.LIST))
    for job in jobs.page(ALL):
        jobs.looked(job.id, Look(100, NOON + hour, ToldBy.ASKED))
    facts, listed = jobs.page(ALL)
    assert facts.mtime == NOON
    assert listed.mtime == NOON + hour
