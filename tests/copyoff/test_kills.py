"""What if the process that copies is killed, or its machine gives way under it? A real process, SIGKILL, real disks."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from stagectl.copyoff.digests import digest
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.job import State, Wanted
from stagectl.copyoff.mhlverify import verify
from stagectl.copyoff.target import part_path
from tests.copyoff.copier import House, copying, run, started, tree
from tests.copyoff.servers import Server, bare, vsftpd
from tests.real.host import WallClock, small_disk

# seconds: a dozen processes one after another, or 4 GiB, on a machine that does other things too
pytestmark = [pytest.mark.slow, pytest.mark.timeout(180)]
MB = 1_000_000
KILLS: list[tuple[str, Any]] = [
    ("after", "stable"),
    ("after", "copying"),
    ("bytes", 1 * MB),  # in the middle of a write
    ("before", "copied"),
    ("after", "copied"),
    ("before", "verified"),
    ("after", "verified"),
    ("before", "published"),  # it has its name, and nobody knows
    ("after", "published"),
]


@pytest.fixture
def server() -> Iterator[Server]:
    with vsftpd() as server:
        yield server


@pytest.fixture
def house(tmp_path: Path) -> House:
    for name in ("data", "shuttle", "second"):
        (tmp_path / name).mkdir()
    targets = {name: str(tmp_path / name) for name in ("shuttle", "second")}
    return House(str(tmp_path / "data"), {}, targets)


def copies(top: str) -> dict[str, str]:
    """What stands under a name of its own, manifests left out."""
    return {path: whole for path, whole in tree(Path(top), parts=False).items() if not path.startswith("ascmhl/")}


def expected(server: Server) -> dict[str, str]:
    return {f"iso-1/{path.partition('/')[2]}": whole for path, whole in tree(server.top).items()}


def test_a_kill_at_any_state_costs_no_clip_and_names_no_half_one(server: Server, house: House) -> None:
    """Killed at each state in turn, each time in another clip, with two targets; then it is let go on to its end."""
    for number in range(len(KILLS) + 3):
        server.put(f"{1 + number % 2}/T{number:03d}.mov", os.urandom(2 * MB + number), age_s=3600 + number)
    source, wanted = tree(server.top), expected(server)
    house.decks["iso-1"] = server.address
    done: dict[str, set[str]] = {name: set() for name in house.targets}
    for kill in KILLS:
        code, _ = run(replace(house, die=kill))
        assert code == -9, f"it did not come to {kill}"
        for name, top in house.targets.items():
            standing = copies(top)
            assert standing.items() <= wanted.items(), f"a half clip has a name after {kill}"
            assert done[name] <= standing.keys(), f"a clip is gone after {kill}"
            done[name] = set(standing)
    for small in (1, 2, 3):  # as manifests and chains are written, of one target and of the other
        code, _ = run(replace(house, die=("small", small)))
        assert code in (-9, 0)
    code, told = run(house)
    assert code == 0
    assert {one["state"] for one in told} == {State.PUBLISHED}
    assert tree(server.top) == source
    for name, top in house.targets.items():
        assert copies(top) == wanted
        assert not [path for path in tree(Path(top)) if ".part-" in path], "no part is left over"
        report = verify(Folder(name, Path(top)))
        assert report.whole, report.findings
        assert report.good == len(wanted)


def test_a_clip_that_was_recorded_anew_after_a_kill_is_not_glued_to_the_old_one(server: Server, house: House) -> None:
    """REST past the end of a shorter clip is 226 and no data with vsftpd."""
    file = server.put("1/T001.mov", os.urandom(6 * MB))
    house.decks["iso-1"] = server.address
    assert run(replace(house, die=("bytes", 4 * MB)))[0] == -9
    server.put("1/T001.mov", os.urandom(2 * MB), age_s=60)
    code, told = run(house)
    assert (code, {one["state"] for one in told}) == (0, {State.PUBLISHED})
    assert (Path(house.targets["shuttle"]) / "iso-1" / "T001.mov").read_bytes() == file.read_bytes()


def test_a_full_disk_is_named_and_nothing_on_it_is_lost(server: Server, house: House, tmp_path: Path) -> None:
    """A real one of 6 MB; it can't tell its room, so the write itself fails."""
    for number in range(3):
        server.put(f"1/T{number:03d}.mov", os.urandom(2_500_000), age_s=3600 + number)
    house.decks["iso-1"] = server.address
    del house.targets["second"]
    source, wanted = tree(server.top), expected(server)
    for knows in (True, False):
        data = tmp_path / f"data-{knows}"
        data.mkdir()
        told = run(
            replace(house, data=str(data), knows_room=knows),
            within=small_disk(Path(house.targets["shuttle"]), "6m"),
        )[1]
        by_state = {one["source"]: (one["state"], one["reason"]) for one in told}
        assert sorted(by_state.values()) == [("failed", "full"), ("published", None), ("published", None)]
        lost = next(one for one in told if one["state"] == "failed")
        assert Path(lost["source"]).name in lost["why"]
        standing = {path: whole for path, whole in told[0]["tree"].items() if "ascmhl/" not in path}
        assert len(standing) == 2
        assert standing.items() <= wanted.items()
    assert tree(server.top) == source


def test_a_clock_that_is_set_back_a_year_in_between_costs_nothing(house: House, tmp_path: Path) -> None:
    """Of a store that tells years. Where a list leaves them out, a clip may look recorded anew and is copied again."""
    with bare() as server:
        for number in range(3):
            server.put(f"1/T{number:03d}.mov", os.urandom(MB), age_s=3600 + number)
        house.decks["iso-1"] = server.address
        source, wanted = tree(server.top), expected(server)
        clock = WallClock(tmp_path)
        assert run(replace(house, die=("after", "verified")), env=clock.env)[0] == -9
        clock.step(-365 * 86400)
        code, told = run(house, env=clock.env)
        assert (code, {one["state"] for one in told}) == (0, {State.PUBLISHED})
        assert tree(server.top) == source
    for name, top in house.targets.items():
        assert copies(top) == wanted
        assert verify(Folder(name, Path(top))).whole


def test_two_processes_that_copy_one_deck_to_one_place_overwrite_nothing(house: House, tmp_path: Path) -> None:
    """As two installations would: each has a database of its own, and a job of its own for the same file."""
    with bare(sessions=4) as server:
        for number in range(3):
            server.put(f"1/T{number:03d}.mov", os.urandom(3 * MB), age_s=3600 + number)
        house.decks["iso-1"] = server.address
        del house.targets["second"]
        (tmp_path / "other").mkdir()
        both = [started(house), started(replace(house, data=str(tmp_path / "other")))]
        told = [one.result() for one in both]
        assert [code for code, _ in told] == [0, 0]
        assert copies(house.targets["shuttle"]) == expected(server)
        for _, own in told:
            assert {(one["state"], one["reason"]) for one in own} <= {("published", None), ("failed", "occupied")}
        # a whole part is kept where another clip has its place: nothing of it need be read off again
        left = [
            path for path in tree(Path(house.targets["shuttle"])) if ".part-" in path and "/ascmhl/" not in f"/{path}"
        ]
        assert len(left) <= sum(one["state"] == "failed" for _, own in told for one in own)


async def test_a_clip_past_4_gib_goes_on_where_it_was(server: Server, house: House) -> None:
    """The first 4.3 GB are there already, as a hole: only the rest is read, from an offset of more than 32 bits."""
    size, kept = 4_300_000_000, 4_299_000_000
    server.put("1/Long.mov", size)
    with (server.top / "1" / "Long.mov").open("r+b") as out:
        out.seek(kept)
        out.write(b"tail" * 250_000)
    os.utime(server.top / "1" / "Long.mov", (1e9, 1e9))
    house.decks["iso-1"] = server.address
    del house.targets["second"]
    top = Path(house.targets["shuttle"])
    async with copying(house) as copier:
        await copier.engine.refresh(Wanted())
        job = copier.all()[0]
        part = top / part_path(job.copies[0].path, job.id)
        part.parent.mkdir()
        with part.open("wb") as out:
            out.truncate(kept)
        hole, zeros = digest("xxh128"), bytes(1 << 20)
        for _ in range(kept >> 20):
            hole.update(zeros)
        hole.update(zeros[: kept & 0xFFFFF])
        copier.jobs.looked(job.id, job.source.look)
        copier.jobs.put(
            job.id, "shuttle", State.COPYING, hash_kind="xxh128", kept=kept, kept_digest=hole.text(), started=job.mtime
        )
        await copier.whole_run()
        assert copier.all()[0].copies[0].state is State.PUBLISHED
        assert sum(meter.total for meter in copier.engine._decks["iso-1"].meters) == size - kept
    copy = top / "iso-1" / "Long.mov"
    assert copy.stat().st_size == size
    with copy.open("rb") as written:
        written.seek(kept - 8)
        assert written.read() == bytes(8) + b"tail" * 250_000
