"""Does a folder never lose, never overwrite, and say what is wrong? Real disk; source of all: own construction."""

import errno
import os
import stat
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from stagectl.copyoff import folder as folder_module
from stagectl.copyoff import noreplace
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.target import part_path

JOB = "01J0000000000000000000000A"
NOON = datetime(2027, 3, 12, 12, tzinfo=UTC)


@pytest.fixture
def top(tmp_path: Path) -> Path:
    made = tmp_path / "shelf"
    made.mkdir()
    return made


@pytest.fixture
def shelf(top: Path) -> Folder:
    return Folder("shelf", top)


def fill(shelf: Folder, path: str, data: bytes = b"frames", job: str = JOB) -> None:
    with closing(shelf.open_part(path, job)) as part:
        part.write(memoryview(data))
        part.sync()


def files(top: Path) -> dict[str, bytes]:
    return {str(file.relative_to(top)): file.read_bytes() for file in sorted(top.rglob("*")) if file.is_file()}


def reason_of(caught: pytest.ExceptionInfo[CopyError]) -> Reason:
    return caught.value.reason


def test_a_part_gets_its_name_in_the_end_and_leaves_nothing_beside(shelf: Folder, top: Path) -> None:
    fill(shelf, "iso-1/a.mov")
    assert list(files(top)) == [f"iso-1/.a.mov.part-{JOB}"]
    assert shelf.at("iso-1/a.mov") is None
    assert b"".join(shelf.read_part("iso-1/a.mov", JOB)) == b"frames"
    shelf.publish("iso-1/a.mov", JOB, NOON)
    assert files(top) == {"iso-1/a.mov": b"frames"}
    assert b"".join(shelf.read_back("iso-1/a.mov")) == b"frames"
    standing = shelf.at("iso-1/a.mov")
    assert standing is not None
    assert (standing.size, standing.mtime) == (6, NOON)


@pytest.mark.parametrize("kernel", ["renames without replacing", "has no such rename", "file system has none"])
def test_another_file_is_never_overwritten(
    shelf: Folder, top: Path, monkeypatch: pytest.MonkeyPatch, kernel: str
) -> None:
    if kernel == "has no such rename":
        monkeypatch.setattr(noreplace.ctypes, "CDLL", lambda *_, **__: object())
    elif kernel == "file system has none":
        monkeypatch.setattr(noreplace, "_LACKING", frozenset(errno.errorcode))
    fill(shelf, "a.mov", b"ours")
    (top / "a.mov").write_bytes(b"theirs")
    with pytest.raises(CopyError, match=r"another a\.mov stands there") as caught:
        shelf.publish("a.mov", JOB, NOON)
    assert reason_of(caught) is Reason.OCCUPIED
    assert files(top) == {"a.mov": b"theirs", f".a.mov.part-{JOB}": b"ours"}
    (top / "a.mov").unlink()
    shelf.publish("a.mov", JOB, None)
    assert files(top) == {"a.mov": b"ours"}


@pytest.mark.parametrize("thing", ["folder", "link to nowhere"])
def test_what_is_no_file_is_in_the_way_too(shelf: Folder, top: Path, thing: str) -> None:
    fill(shelf, "a.mov")
    if thing == "folder":
        (top / "a.mov").mkdir()
    else:
        (top / "a.mov").symlink_to("nowhere")
    standing = shelf.at("a.mov")
    assert standing is not None
    assert standing.size == -1
    with pytest.raises(CopyError) as caught:
        shelf.publish("a.mov", JOB, None)
    assert reason_of(caught) is Reason.OCCUPIED


def test_a_part_is_gone_on_with(shelf: Folder) -> None:
    fill(shelf, "a.mov", b"abc")
    with closing(shelf.open_part("a.mov", JOB)) as part:
        assert part.size == 3
        assert b"".join(part.read(2)) == b"ab"
        part.cut(2)
        part.write(memoryview(b"CD"))
        assert part.size == 4
        part.sync()
    assert b"".join(shelf.read_part("a.mov", JOB)) == b"abCD"


def test_a_part_that_is_shorter_than_it_should_be_is_an_error(shelf: Folder) -> None:
    fill(shelf, "a.mov", b"abc")
    with closing(shelf.open_part("a.mov", JOB)) as part, pytest.raises(CopyError, match="ends too early"):
        list(part.read(4))


def test_discarding_takes_the_job_s_own_part_alone(shelf: Folder, top: Path) -> None:
    fill(shelf, "a.mov", b"whole", "OTHER")
    shelf.publish("a.mov", "OTHER", None)
    fill(shelf, "a.mov", b"part of another job", "THIRD")
    fill(shelf, "a.mov")
    shelf.discard("a.mov", JOB)
    shelf.discard("a.mov", JOB)
    assert files(top) == {"a.mov": b"whole", ".a.mov.part-THIRD": b"part of another job"}
    with pytest.raises(CopyError, match="never removed"):
        shelf.withdraw("a.mov", JOB)


def test_a_folder_that_is_not_there_is_an_error_and_is_not_made(tmp_path: Path) -> None:
    with pytest.raises(CopyError, match="can't be used") as caught:
        Folder("shelf", tmp_path / "not mounted")
    assert reason_of(caught) is Reason.TARGET
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "file").touch()
    with pytest.raises(CopyError, match="Not a directory"):
        Folder("shelf", tmp_path / "file")


def test_copies_don_t_land_beneath_a_mount_that_is_missing(top: Path) -> None:
    with pytest.raises(CopyError, match="nothing is mounted at"):
        Folder("shelf", top, mounted=True)


@pytest.mark.parametrize("path", ["/etc/passwd", "../a.mov", "a/../../b"])
def test_no_path_leaves_the_folder(shelf: Folder, path: str) -> None:
    for do in (shelf.at, shelf.read_small, lambda one: shelf.open_part(one, JOB)):
        with pytest.raises(CopyError, match="is no path below it"):
            do(path)


def test_a_part_is_never_written_through_a_link(shelf: Folder, top: Path, tmp_path: Path) -> None:
    theirs = tmp_path / "theirs"
    theirs.write_bytes(b"theirs")
    (top / part_path("a.mov", JOB)).symlink_to(theirs)
    with pytest.raises(CopyError) as caught:
        shelf.open_part("a.mov", JOB)
    assert reason_of(caught) is Reason.TARGET
    assert theirs.read_bytes() == b"theirs"


def test_a_full_disk_is_told_from_a_broken_one(shelf: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    for code, reason in ((errno.ENOSPC, Reason.FULL), (errno.EDQUOT, Reason.FULL), (errno.EIO, Reason.TARGET)):
        with closing(shelf.open_part("a.mov", JOB)) as part:

            def refuse(*_: object, code: int = code) -> int:
                raise OSError(code, os.strerror(code))

            monkeypatch.setattr(folder_module.os, "write", refuse)
            with pytest.raises(CopyError, match="shelf can't write") as caught:
                part.write(memoryview(b"x"))
            monkeypatch.undo()
        assert reason_of(caught) is reason


def test_small_files_are_whole_or_not_there(shelf: Folder) -> None:
    shelf.write_small("ascmhl/chain.xml", b"one", replace=False)
    with pytest.raises(CopyError, match="is there already") as caught:
        shelf.write_small("ascmhl/chain.xml", b"two", replace=False)
    assert reason_of(caught) is Reason.OCCUPIED
    assert shelf.read_small("ascmhl/chain.xml") == b"one"
    shelf.write_small("ascmhl/chain.xml", b"three", replace=True)
    assert shelf.read_small("ascmhl/chain.xml") == b"three"
    assert shelf.read_small("ascmhl/none") is None
    assert shelf.read_small("none/none") is None


def test_a_file_too_large_to_be_a_manifest_is_not_read(shelf: Folder, top: Path) -> None:
    with (top / "big").open("wb") as file:
        file.truncate(folder_module.SMALL_MOST + 1)
    with pytest.raises(CopyError, match="is over 64 MiB"):
        shelf.read_small("big")


def test_the_tree_holds_files_alone_in_order(shelf: Folder, top: Path) -> None:
    for path in ("b/2", "b/1", "a", "c/d/e"):
        (top / path).parent.mkdir(parents=True, exist_ok=True)
        (top / path).write_bytes(b"x")
    fill(shelf, "b/3")
    (top / "link").symlink_to("a")
    assert [one.path for one in shelf.tree()] == ["a", "b/1", "b/2", "c/d/e"]
    assert [one.path for one in shelf.tree("c")] == ["c/d/e"]
    assert list(shelf.tree("none")) == []


def test_room_and_medium_are_those_of_its_disk(shelf: Folder, top: Path, tmp_path: Path) -> None:
    free = os.statvfs(top)
    assert shelf.free() == pytest.approx(free.f_bavail * free.f_frsize, rel=0.2)
    assert Folder("other", tmp_path).medium == shelf.medium
    device = top.stat().st_dev
    assert shelf.medium == f"disk {os.major(device)}:{os.minor(device)}"


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was synced, in order: the kind and last name of each."""
    told: list[str] = []
    real = os.fsync

    def fsync(handle: int) -> None:
        kind = "folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file"
        name = Path(f"/proc/self/fd/{handle}").readlink().name
        told.append(f"{kind} {name}")
        real(handle)

    monkeypatch.setattr(folder_module.os, "fsync", fsync)
    return told


def test_data_is_synced_before_its_name_and_the_name_after(shelf: Folder, synced: list[str]) -> None:
    fill(shelf, "day/iso-1/a.mov")
    part = f".a.mov.part-{JOB}"
    assert synced == ["folder shelf", "folder day", f"file {part}"]
    synced.clear()
    shelf.publish("day/iso-1/a.mov", JOB, NOON)
    assert synced == [f"file {part}", "folder iso-1"]
    synced.clear()
    shelf.write_small("m.mhl", b"x", replace=True)
    assert [what.split(" ")[0] for what in synced] == ["file", "folder"]
