"""Do clips come off whole, give way to every roll, and lose nothing? Real engine, disk and threads; decks in memory."""

import asyncio
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from stagectl.copyoff.errors import CopyError, DatabaseError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.job import State, Wanted
from stagectl.copyoff.source import Look
from stagectl.model.errors import RefusedError
from tests.copyoff.deckstore import NOON, QUICK, DeckStore, house

TAKE = bytes(range(256)) * 2048  # 512 KiB


def files(top: Path) -> dict[str, bytes]:
    return {str(one.relative_to(top)): one.read_bytes() for one in sorted(top.rglob("*")) if one.is_file()}


async def test_all_clips_stand_verified_and_in_a_manifest(tmp_path: Path) -> None:
    decks = {
        "iso-1": DeckStore({"1/a.mov": TAKE, "2/b & [c]; d%.mov": b"", "1/Grüße.mov": b"x"}),
        "iso-2": DeckStore({"1/a.mov": TAKE[::-1]}),
    }
    async with house(tmp_path, decks) as hall:
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {
            "iso-1/a.mov": TAKE,
            "iso-1/b & [c]; d%.mov": b"",
            "iso-1/Grüße.mov": b"x",
            "iso-2/a.mov": TAKE[::-1],
        }
        assert {job.state for job in hall.all()} == {State.PUBLISHED}
        (manifest,) = hall.manifests
        assert sorted(manifest[1]) == sorted(files(tmp_path / "shelf"))
        assert {copy.path for copy in hall.published} == set(manifest[1])
        assert all(job.copy("shelf").manifest == "ascmhl/0001.mhl" for job in hall.all())
        assert (tmp_path / "shelf" / "iso-1" / "a.mov").stat().st_mtime == NOON.timestamp()
        assert hall.engine.progress().says == ""
        assert (decks["iso-1"].sessions, decks["iso-1"].most) == (0, 1)
        # a second run reads nothing off anybody
        reads = [list(deck.reads) for deck in decks.values()]
        await hall.whole_run()
        assert [list(deck.reads) for deck in decks.values()] == reads
        assert len(hall.manifests) == 1


async def test_the_second_copy_is_made_of_the_first_not_off_the_deck(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}, ("shelf", "safe")) as hall:
        await hall.whole_run()
        assert files(tmp_path / "shelf") == files(tmp_path / "safe") == {"iso-1/a.mov": TAKE}
        assert deck.reads == [("1/a.mov", 0)]
        job = hall.job("1/a.mov")
        assert [copy.state for copy in job.copies] == [State.PUBLISHED] * 2
        assert job.copies[0].digest == job.copies[1].digest
        assert not job.safe_to_clear  # one disk
        assert len(hall.manifests) == 2


async def test_a_copy_that_went_bad_on_its_disk_is_found_when_it_is_doubled(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
    bad = bytearray(TAKE)
    bad[1000] ^= 1
    (tmp_path / "shelf" / "iso-1" / "a.mov").write_bytes(bad)
    async with house(tmp_path, {"iso-1": deck}, ("shelf", "safe")) as hall:
        await hall.whole_run()
        job = hall.job("1/a.mov")
        assert (job.copy("shelf").state, job.copy("shelf").reason) == (State.FAILED, Reason.SPOILT)
        assert files(tmp_path / "safe") == {"iso-1/a.mov": TAKE}
        assert deck.reads == [("1/a.mov", 0)] * 2
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": bytes(bad)}  # a person's to move away


async def test_a_roll_stops_the_reading_at_once_and_it_goes_on_where_it_was(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    reading, rolled = threading.Event(), threading.Event()

    def on_block(_: str, at: int) -> None:
        if not rolled.is_set() and at >= len(TAKE) // 2:
            reading.set()
            assert rolled.wait(10)

    deck.on_block = on_block
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.engine.run(Wanted())
        await asyncio.to_thread(reading.wait, 10)
        hall.rests["iso-1"] = False
        hall.engine.give_way("iso-1")
        rolled.set()
        await hall.until(lambda: hall.engine.progress().decks["iso-1"].busy == "waiting" and not deck.sessions)
        assert files(tmp_path / "shelf").keys() == {f"iso-1/.a.mov.part-{hall.job('1/a.mov').id}"}
        assert hall.job("1/a.mov").copies[0].tries == 0  # it was nobody's fault
        deck.clips["1/b.mov"] = b"the take that rolled"
        hall.engine._decks["iso-1"]._held_until = 0  # instead of ten seconds
        hall.rests["iso-1"] = True
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE, "iso-1/b.mov": b"the take that rolled"}
        (resumed_at,) = [at for path, at in deck.reads if path == "1/a.mov" and at]
        assert 0 < resumed_at <= len(TAKE) // 2
        assert deck.lists == 2


@pytest.mark.slow
async def test_a_roll_does_not_wait_for_a_deck_that_sends_nothing(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE}, stalls={"1/a.mov"})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: bool(deck.reads))
        hall.engine.give_way("iso-1")
        hall.engine.give_way("no deck of ours")
        await hall.until(lambda: hall.engine.progress().decks["iso-1"].busy == "waiting" and not deck.sessions)
        assert len(deck.reads) == 1  # it says that it rests, and is held all the same: the roll is on its way
        deck.stalls.clear()
        hall.engine.rolls("iso-1")
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}


@pytest.mark.slow
async def test_a_clip_is_read_only_if_a_second_look_finds_it_as_the_first(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    care = replace(QUICK, look_apart_s=(0.3, 60.0))
    async with house(tmp_path, {"iso-1": deck}, care=care) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().decks["iso-1"].busy == "looking")
        deck.clips["1/a.mov"] = TAKE * 2
        await hall.until(lambda: "has changed since" in hall.engine.progress().decks["iso-1"].why)
        assert deck.reads == []
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE * 2}
        assert deck.reads == [("1/a.mov", 0)]


async def test_a_target_that_is_not_there_is_named_and_nothing_is_made(tmp_path: Path) -> None:
    deck = DeckStore({f"1/{number}.mov": TAKE for number in range(6)})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        (tmp_path / "shelf").rmdir()
        await hall.whole_run()
        assert "shelf can't be used: No such file or directory" in hall.engine.progress().says
        assert not (tmp_path / "shelf").exists()
        assert deck.reads == []
        (tmp_path / "shelf").mkdir()
        await hall.whole_run()
        assert len(files(tmp_path / "shelf")) == 6


@pytest.mark.slow
async def test_a_deck_that_begins_to_record_by_its_front_is_left_alone(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    seen = threading.Event()
    deck.on_block = lambda path, at: hall.rests.__setitem__("iso-1", False) if not seen.is_set() else None
    async with house(tmp_path, {"iso-1": deck}, care=replace(QUICK, bytes_per_s=len(TAKE))) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().decks["iso-1"].busy == "waiting" and not deck.sessions)
        seen.set()
        assert "read when it rests" in hall.engine.progress().decks["iso-1"].why
        hall.rests["iso-1"] = True
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}


@pytest.mark.parametrize("rests", [False, None])
async def test_a_deck_that_records_or_can_t_be_seen_is_not_read(tmp_path: Path, rests: bool | None) -> None:
    decks = {"iso-1": DeckStore({"1/a.mov": TAKE}), "iso-2": DeckStore({"1/a.mov": TAKE})}
    async with house(tmp_path, decks, rests={"iso-1": rests}) as hall:
        silent = await hall.engine.refresh(Wanted())
        assert list(silent) == ["iso-1"]
        await hall.engine.run(Wanted())
        await hall.until(lambda: len(hall.published) == 1)
        assert hall.engine.progress().decks["iso-1"].busy == "waiting"
        assert hall.engine.halt()
        await hall.ended()
        assert (decks["iso-1"].lists, decks["iso-1"].reads) == (0, [])
        assert not hall.engine.halt()


async def test_a_run_that_was_stopped_goes_on_after_a_restart(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE, "1/b.mov": TAKE})
    care = replace(QUICK, bytes_per_s=len(TAKE))
    async with house(tmp_path, {"iso-1": deck}, care=care) as hall:
        run = await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().done > 0)
        with pytest.raises(RefusedError, match="goes already"):
            await hall.engine.run(Wanted())
    async with house(tmp_path, {"iso-1": deck}) as hall:
        assert hall.engine.progress().running
        assert hall.engine.progress().run == run
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE, "iso-1/b.mov": TAKE}
        assert any(at > 0 for _, at in deck.reads)
    async with house(tmp_path, {"iso-1": deck}) as hall:
        assert not hall.engine.progress().running
        assert hall.engine.progress().run == run


async def test_a_part_that_holds_something_else_than_it_should_is_begun_anew(tmp_path: Path) -> None:
    """A power cut may leave a part of the right length that holds anything."""
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}, care=replace(QUICK, bytes_per_s=len(TAKE))) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().done > 0)
    (part,) = (tmp_path / "shelf" / "iso-1").iterdir()
    part.write_bytes(bytes(part.stat().st_size))
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        assert deck.reads == [("1/a.mov", 0)] * 2


async def test_a_part_of_what_a_clip_was_is_no_part_of_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed at the worst moment: the change of a clip is noted, and its part is not yet discarded."""
    monkeypatch.setattr("stagectl.copyoff.piece.KEEP_EVERY", 1 << 17)
    deck = DeckStore({"1/a.mov": TAKE}, times_listed=False)

    def anew(path: str, at: int) -> None:
        if at == len(TAKE):
            deck.clips[path], deck.mtimes[path] = TAKE[::-1], NOON + timedelta(seconds=2)

    deck.on_block = anew
    async with house(tmp_path, {"iso-1": deck}) as hall:
        looked = hall.jobs.looked

        def killed(job: str, look: Look) -> None:
            looked(job, look)
            if look.mtime != NOON:
                raise DatabaseError("killed")

        monkeypatch.setattr(hall.jobs, "looked", killed)
        await hall.engine.run(Wanted())
        await hall.ended()
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE[::-1]}


async def test_a_store_that_can_t_begin_elsewhere_is_read_from_the_start(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE}, resumes=False)
    async with house(tmp_path, {"iso-1": deck}, care=replace(QUICK, bytes_per_s=len(TAKE))) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().done > 0)
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        assert deck.reads[-1][1] > 0


async def test_a_clip_that_grows_while_it_is_read_is_read_anew(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})

    def on_block(path: str, _: int) -> None:
        if len(deck.clips[path]) == len(TAKE):
            deck.clips[path] = TAKE + b"index"

    deck.on_block = on_block
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE + b"index"}


async def test_a_clip_touched_while_it_is_read_is_read_anew(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    deck.on_block = lambda path, at: deck.mtimes.update({path: NOON + timedelta(seconds=2)})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        assert hall.job("1/a.mov").state is State.PUBLISHED
        assert len(deck.reads) == 2


async def test_fewer_bytes_than_the_clip_has_are_never_a_copy(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE, "1/b.mov": TAKE}, ends_early={"1/a.mov": 1 << 17})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        failed = hall.job("1/a.mov").copies[0]
        assert (failed.state, failed.reason) == (State.FAILED, Reason.SHORT)
        assert "524288 bytes, 131072 came" in failed.why
        assert files(tmp_path / "shelf") == {"iso-1/b.mov": TAKE}


async def test_another_file_in_the_way_is_named_and_left(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE, "1/b.mov": TAKE, "1/c.mov": TAKE})
    shelf = tmp_path / "shelf" / "iso-1"
    shelf.mkdir(parents=True)
    (shelf / "a.mov").write_bytes(b"another")
    (shelf / "b.mov").write_bytes(TAKE[::-1])
    (shelf / "c.mov").write_bytes(TAKE)
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        for clip in ("1/a.mov", "1/b.mov"):
            copy = hall.job(clip).copies[0]
            assert (copy.state, copy.reason) == (State.FAILED, Reason.OCCUPIED)
            assert "Nothing was overwritten" in copy.why
        same = hall.job("1/c.mov").copies[0]
        assert (same.state, same.doubt) == (State.PUBLISHED, "It stood there before, and is the same.")
        assert files(tmp_path / "shelf") == {
            "iso-1/a.mov": b"another",
            "iso-1/b.mov": TAKE[::-1],
            "iso-1/c.mov": TAKE,
        }


async def test_a_clip_that_only_tells_another_time_is_not_copied_twice(tmp_path: Path) -> None:
    """Summer time, a clock set right, a list that leaves the year out."""
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        deck.mtimes["1/a.mov"] = NOON + timedelta(hours=1)
        await hall.whole_run()
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        assert len(hall.all()) == 1
        assert len(deck.reads) == 2  # the second time to know
        assert hall.job("1/a.mov").present


async def test_a_clip_recorded_anew_under_the_same_name_and_size_is_another_one(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        deck.clips["1/a.mov"] = TAKE[::-1]
        deck.mtimes["1/a.mov"] = NOON + timedelta(hours=1)
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE, "iso-1/a_2.mov": TAKE[::-1]}


async def test_a_copy_that_somebody_took_away_is_no_reason_not_to_copy(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        (tmp_path / "shelf" / "iso-1" / "a.mov").unlink()
        deck.mtimes["1/a.mov"] = NOON + timedelta(hours=1)
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {"iso-1/a_2.mov": TAKE}


@pytest.mark.parametrize("data", [TAKE, TAKE[::-1]], ids=["the same", "another"])
async def test_what_came_to_stand_there_meanwhile_is_compared_and_left(tmp_path: Path, data: bytes) -> None:
    """A kill between the naming and its note leaves the copy there; a stranger may put anything there."""
    deck = DeckStore({"1/a.mov": TAKE})
    place = tmp_path / "shelf" / "iso-1" / "a.mov"
    deck.on_block = lambda path, at: place.write_bytes(data) and None
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        copy = hall.job("1/a.mov").copies[0]
        assert place.read_bytes() == data
        if data == TAKE:
            assert copy.state is State.PUBLISHED
            assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        else:
            assert (copy.state, copy.reason) == (State.FAILED, Reason.OCCUPIED)
            place.rename(tmp_path / "moved away")
            await hall.whole_run()
            assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
            assert len(deck.reads) == 1


class FullFolder(Folder):
    """A folder with no room."""

    def free(self) -> int:
        return 0


async def test_a_full_target_is_named_and_the_other_one_still_gets_its_copy(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})

    def make(name: str, top: Path) -> Folder:
        return FullFolder(name, top) if name == "shelf" else Folder(name, top)

    async with house(tmp_path, {"iso-1": deck}, ("shelf", "safe"), make=make) as hall:
        await hall.whole_run()
        job = hall.job("1/a.mov")
        assert (job.copy("shelf").state, job.copy("shelf").reason) == (State.FAILED, Reason.FULL)
        assert "Make room" in job.copy("shelf").why
        assert job.copy("safe").state is State.PUBLISHED
        assert files(tmp_path / "shelf") == {}
    async with house(tmp_path, {"iso-1": deck}, ("shelf", "safe")) as hall:
        await hall.whole_run()
        assert {copy.state for copy in hall.job("1/a.mov").copies} == {State.PUBLISHED}
        assert len(deck.reads) == 1  # the missing one was made of the one that stood


class LyingFolder(Folder):
    """A folder whose medium gives back one byte wrong, the first time."""

    lied = False

    def read_part(self, path, job):  # type: ignore[no-untyped-def]
        for block in super().read_part(path, job):
            if LyingFolder.lied:
                yield block
            else:
                LyingFolder.lied = True
                yield block[:-1] + bytes([block[-1] ^ 1])


async def test_a_medium_that_gives_back_something_else_is_not_believed(tmp_path: Path) -> None:
    LyingFolder.lied = False
    deck = DeckStore({"1/a.mov": TAKE})
    async with house(tmp_path, {"iso-1": deck}, make=LyingFolder) as hall:
        await hall.whole_run()
        assert len(deck.reads) == 2
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        copy = hall.job("1/a.mov").copies[0]
        assert (copy.state, copy.tries) == (State.PUBLISHED, 1)


async def test_a_kill_while_a_bad_part_is_taken_away_is_gone_on_from(tmp_path: Path) -> None:
    LyingFolder.lied = False
    deck = DeckStore({"1/a.mov": TAKE})

    class Killed(LyingFolder):
        def discard(self, path: str, job: str) -> None:
            super().discard(path, job)
            raise DatabaseError("killed")

    async with house(tmp_path, {"iso-1": deck}, make=Killed) as hall:
        await hall.whole_run()
        assert hall.engine.progress().says == "killed"
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE}
        assert hall.job("1/a.mov").state is State.PUBLISHED


async def test_a_second_read_off_the_deck_finds_what_the_wire_did(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})

    def flip(path: str, _: int) -> None:  # other bytes of the same number, from the second read on
        if len(deck.reads) == 2:
            deck.clips[path] = TAKE[::-1]

    deck.on_block = flip
    async with house(tmp_path, {"iso-1": deck}, care=replace(QUICK, double_read=True)) as hall:
        await hall.whole_run()
        assert len(deck.reads) == 4
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE[::-1]}


async def test_a_deck_that_never_says_that_this_was_all_leaves_a_doubt(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE}, says_all=False)
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        copy = hall.job("1/a.mov").copies[0]
        assert copy.state is State.PUBLISHED
        assert "never said" in copy.doubt


async def test_a_deck_that_is_busy_or_lost_is_tried_again(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE}, refuses=[Reason.BUSY, Reason.LINK])
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        assert hall.job("1/a.mov").state is State.PUBLISHED


async def test_a_deck_that_stays_lost_is_named_and_the_others_are_copied(tmp_path: Path) -> None:
    decks = {"iso-1": DeckStore(refuses=[Reason.LINK] * 99), "iso-2": DeckStore({"1/a.mov": TAKE})}
    async with house(tmp_path, decks) as hall:
        await hall.whole_run()
        assert files(tmp_path / "shelf") == {"iso-2/a.mov": TAKE}
        assert hall.engine.progress().says == "It does not answer."
        assert len(decks["iso-1"].refuses) == 99 - 1 - QUICK.tries


@pytest.mark.slow
async def test_one_clip_that_can_t_be_read_does_not_end_the_night(tmp_path: Path) -> None:
    deck = DeckStore({f"1/{name}.mov": TAKE for name in "abcd"})

    def broken(path: str, at: int) -> None:
        if path == "1/b.mov" and at > 1 << 17:
            raise CopyError(Reason.LINK, "It broke off.")

    deck.on_block = broken
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        assert [job.source.path for job in hall.all() if job.state is State.PUBLISHED] == [
            "1/a.mov",
            "1/c.mov",
            "1/d.mov",
        ]
        bad = hall.job("1/b.mov").copies[0]
        assert (bad.state, bad.why) == (State.FAILED, "It broke off.")
        deck.on_block = lambda path, at: None
        await hall.whole_run()
        assert hall.job("1/b.mov").state is State.PUBLISHED


@pytest.mark.slow
async def test_a_fault_of_ours_in_one_clip_is_named_and_the_next_is_copied(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE, "1/b.mov": TAKE})

    def bug(path: str, _: int) -> None:
        if path == "1/a.mov":
            raise ZeroDivisionError("a bug")

    deck.on_block = bug
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        bad = hall.job("1/a.mov").copies[0]
        assert (bad.state, bad.reason) == (State.FAILED, Reason.FAULT)
        assert "nobody foresaw (a bug)" in bad.why
        assert hall.job("1/b.mov").state is State.PUBLISHED


@pytest.mark.slow
async def test_a_database_that_can_t_be_written_ends_the_run_and_no_thread_goes_on(tmp_path: Path) -> None:
    decks = {"iso-1": DeckStore({"1/a.mov": TAKE}, stalls={"1/a.mov"}), "iso-2": DeckStore({"1/a.mov": TAKE})}
    async with house(tmp_path, decks) as hall:

        def locked(*_: object) -> None:
            assert decks["iso-1"].reading.wait(10)
            hall.jobs._db.execute("PRAGMA query_only = 1")

        decks["iso-2"].on_block = locked
        await hall.engine.run(Wanted())
        await hall.ended()
        assert "copy.db in the data folder can't be used" in hall.engine.progress().says
        assert await asyncio.to_thread(decks["iso-1"].cut.wait, 10), "its thread goes on"
        hall.jobs._db.execute("PRAGMA query_only = 0")
        decks["iso-1"].stalls.clear()
        decks["iso-2"].on_block = lambda path, at: None
    async with house(tmp_path, decks) as hall:  # the run was never ended: it goes on
        await hall.ended()
        assert files(tmp_path / "shelf") == {"iso-1/a.mov": TAKE, "iso-2/a.mov": TAKE}


async def test_only_what_is_wanted_is_copied(tmp_path: Path) -> None:
    decks = {name: DeckStore({"1/a.mov": TAKE}) for name in ("iso-1", "iso-2")}
    async with house(tmp_path, decks) as hall:
        await hall.whole_run(Wanted(recorders=("iso-2",)))
        assert files(tmp_path / "shelf") == {"iso-2/a.mov": TAKE}
        assert decks["iso-1"].lists == 0


async def test_newest_day_first(tmp_path: Path) -> None:
    deck = DeckStore({f"1/{name}.mov": TAKE for name in "abc"})
    deck.mtimes = {"1/a.mov": NOON - timedelta(days=1), "1/c.mov": NOON + timedelta(days=1)}
    async with house(tmp_path, {"iso-1": deck}) as hall:
        await hall.whole_run()
        assert [path for path, _ in deck.reads] == ["1/c.mov", "1/b.mov", "1/a.mov"]


async def test_two_sessions_read_two_clips_and_none_twice(tmp_path: Path) -> None:
    deck = DeckStore({f"1/{number}.mov": TAKE for number in range(8)})
    async with house(tmp_path, {"iso-1": deck}, sessions=2) as hall:
        await hall.whole_run()
        assert sorted(path for path, _ in deck.reads) == sorted(deck.clips)
        assert deck.most <= 2
        assert len(hall.published) == 8


@pytest.mark.slow
async def test_progress_tells_clip_bytes_rate_and_time_left(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE, "1/b.mov": TAKE})
    care = replace(QUICK, bytes_per_s=len(TAKE))
    async with house(tmp_path, {"iso-1": deck}, care=care) as hall:
        await hall.engine.run(Wanted())

        def told() -> bool:
            now = hall.engine.progress()
            return bool(now.rate and now.left_s and now.decks["iso-1"].clip)

        await hall.until(told)
        now = hall.engine.progress()
        assert now.decks["iso-1"].busy == "copying"
        assert now.decks["iso-1"].of == len(TAKE)
        seen = set()

        def ends() -> bool:
            now = hall.engine.progress()
            if now.running:
                assert now.done <= now.of
                seen.add(now.of)
            return not now.running

        await hall.until(ends)
        assert max(seen) == 2 * len(TAKE)
        assert hall.engine.progress().of == 0


@pytest.mark.slow
async def test_a_store_that_tells_no_state_is_looked_at_longer(tmp_path: Path) -> None:
    deck = DeckStore({"1/a.mov": TAKE})
    care = replace(QUICK, look_apart_s=(0.0, 60.0))
    async with house(tmp_path, {"iso-1": deck}, care=care, rests={"iso-1": None}, tells_state=False) as hall:
        await hall.engine.run(Wanted())
        await hall.until(lambda: hall.engine.progress().decks["iso-1"].busy == "looking")
        assert deck.reads == []
    async with house(tmp_path, {"iso-1": deck}, rests={"iso-1": None}, tells_state=False) as hall:
        await hall.ended()
        assert hall.job("1/a.mov").state is State.PUBLISHED
