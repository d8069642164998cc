"""Does the history of a tree say what was copied, and does a verification see whatever was done to it since?

Own construction, from the rules of the ASC MHL specification 1.0; the schemas and the standard's own tool judge the
same trees in test_mhl_oracle.py.
"""

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from stagectl.copyoff import mhlverify
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.mhlhistory import Wrong, manifest_name
from stagectl.copyoff.mhlignore import DEFAULT, Ignore
from stagectl.copyoff.mhlledger import Ledger
from stagectl.copyoff.mhlread import read_chain
from stagectl.copyoff.mhlverify import Progress, verify
from stagectl.copyoff.mhlxml import FileEntry, Generation, Hash, Head, write_chain, write_manifest
from stagectl.copyoff.target import Standing, part_path
from tests.copyoff.historytree import CLIPS, MOMENT, SEALING, copy, hash_of, put, sealed, told, verified
from tests.copyoff.mhlschema import check_chain, check_manifest

CHAIN = "ascmhl/ascmhl_chain.xml"
FIRST = "ascmhl/0001_rushes_2026-11-25_051312Z.mhl"
SECOND = "ascmhl/0002_rushes_2026-11-25_051312Z.mhl"
LATER = {"iso-3/CAM3_T002.mov": b"later"}


def test_a_run_is_a_generation_of_the_target_s_history(tmp_path: Path) -> None:
    assert sealed(tmp_path, CLIPS) == FIRST
    assert sealed(tmp_path, LATER) == SECOND
    check_manifest((tmp_path / FIRST).read_bytes())
    check_manifest((tmp_path / SECOND).read_bytes())
    check_chain((tmp_path / CHAIN).read_bytes())
    assert [one.name for one in read_chain((tmp_path / CHAIN).read_bytes())] == [Path(FIRST).name, Path(SECOND).name]
    assert not [path for path in tmp_path.rglob("*") if ".part-" in path.name]
    report = verified(tmp_path)
    assert report.whole
    assert (report.histories, report.generations, report.good) == (1, 2, len(CLIPS) + 1)
    assert report.read == sum(map(len, [*CLIPS.values(), *LATER.values()]))


@pytest.mark.parametrize("kind", ["md5", "xxh64", "xxh3", "sha1", "c4"])
def test_any_format_of_the_standard_will_do(tmp_path: Path, kind: str) -> None:
    sealed(tmp_path, CLIPS, kind)
    assert verified(tmp_path).whole


def test_a_run_that_is_told_again_is_written_once(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    before = {path: path.read_bytes() for path in (tmp_path / "ascmhl").iterdir()}
    assert sealed(tmp_path, CLIPS) == ""
    assert {path: path.read_bytes() for path in (tmp_path / "ascmhl").iterdir()} == before
    assert sealed(tmp_path, {**CLIPS, **LATER}) == SECOND
    assert (tmp_path / SECOND).read_bytes().count(b"<path ") == 1


def test_a_copy_named_twice_in_a_run_stands_once(tmp_path: Path) -> None:
    put(tmp_path, CLIPS)
    one = copy("iso-1/CAM1_T001.mov", b"abcd")
    SEALING(Folder("rushes", tmp_path), [one, one])
    assert (tmp_path / FIRST).read_bytes().count(b"<path ") == 1


def test_nothing_copied_writes_nothing(tmp_path: Path) -> None:
    assert SEALING(Folder("rushes", tmp_path), []) == ""
    assert list(tmp_path.iterdir()) == []


def test_another_file_under_an_old_name_is_told(tmp_path: Path) -> None:
    """Somebody took the copy away, and another clip came under its name: the history knows that it is another."""
    sealed(tmp_path, CLIPS)
    sealed(tmp_path, {"iso-1/CAM1_T001.mov": b"efgh"})
    assert b'action="failed"' in (tmp_path / SECOND).read_bytes()
    assert told(verified(tmp_path)) == {(Wrong.CHANGED, "iso-1/CAM1_T001.mov")}


# --- what a verification sees -----------------------------------------------------------------------------------------


def flip(top: Path, path: str, at: int = 0) -> None:
    data = bytearray((top / path).read_bytes())
    data[at] ^= 1
    (top / path).write_bytes(data)


def taken_away(top: Path) -> None:
    (top / "iso-2/CAM2_T001.mov").unlink()


def added(top: Path) -> None:
    (top / "iso-2/stranger.mov").write_bytes(b"x")


def emptied(top: Path) -> None:
    (top / "iso-2/CAM2_T001.mov").write_bytes(b"")


def filled(top: Path) -> None:
    (top / "iso-2/empty.mov").write_bytes(b"x")


def linked(top: Path) -> None:
    """A link is no copy, wherever it leads."""
    (top / "iso-2/CAM2_T001.mov").rename(top.parent / "elsewhere.mov")
    (top / "iso-2/CAM2_T001.mov").symlink_to(top.parent / "elsewhere.mov")


def edited(top: Path) -> None:
    manifest = top / FIRST
    manifest.write_text(manifest.read_text().replace("24B", "25B"))


def without_manifest(top: Path) -> None:
    (top / FIRST).unlink()


def without_chain(top: Path) -> None:
    (top / CHAIN).unlink()


def unchained(top: Path) -> None:
    (top / SECOND).write_bytes((top / FIRST).read_bytes())


def torn(top: Path) -> None:
    manifest = top / FIRST
    manifest.write_bytes(manifest.read_bytes()[:-200])


def torn_chain(top: Path) -> None:
    chain = top / CHAIN
    chain.write_bytes(chain.read_bytes()[:-20])


NEW = {(Wrong.NEW, path) for path in CLIPS}
DONE: list[tuple[Callable[[Path], None], set[tuple[Wrong, str]]]] = [
    (lambda top: flip(top, "iso-1/CAM1_T001.mov"), {(Wrong.CHANGED, "iso-1/CAM1_T001.mov")}),
    (lambda top: flip(top, "iso-2/CAM2_T001.mov", 99_999), {(Wrong.CHANGED, "iso-2/CAM2_T001.mov")}),
    (emptied, {(Wrong.CHANGED, "iso-2/CAM2_T001.mov")}),
    (filled, {(Wrong.CHANGED, "iso-2/empty.mov")}),
    (taken_away, {(Wrong.MISSING, "iso-2/CAM2_T001.mov")}),
    (linked, {(Wrong.MISSING, "iso-2/CAM2_T001.mov")}),
    (added, {(Wrong.NEW, "iso-2/stranger.mov")}),
    (edited, {(Wrong.HISTORY, FIRST)}),
    (without_manifest, {(Wrong.HISTORY, FIRST), *NEW}),
    (without_chain, {(Wrong.HISTORY, CHAIN), (Wrong.HISTORY, FIRST)}),
    (unchained, {(Wrong.HISTORY, SECOND)}),
    (torn_chain, {(Wrong.HISTORY, CHAIN), (Wrong.HISTORY, FIRST)}),
]


@pytest.mark.parametrize(("do", "found"), DONE)
def test_whatever_was_done_to_the_tree_is_found(
    tmp_path: Path, do: Callable[[Path], None], found: set[tuple[Wrong, str]]
) -> None:
    sealed(tmp_path, CLIPS)
    do(tmp_path)
    report = verified(tmp_path)
    assert told(report) == found
    assert not report.whole
    assert sum(report.counts.values()) == len(found)


def test_a_torn_manifest_is_found_and_the_rest_of_the_tree_is_judged(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    sealed(tmp_path, LATER)
    torn(tmp_path)
    assert {(Wrong.HISTORY, FIRST)} <= told(verified(tmp_path))
    flip(tmp_path, "iso-3/CAM3_T002.mov")
    assert {(Wrong.HISTORY, FIRST), (Wrong.CHANGED, "iso-3/CAM3_T002.mov")} <= told(verified(tmp_path))


def test_every_generation_counts(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    sealed(tmp_path, LATER)
    flip(tmp_path, "iso-1/CAM1_T001.mov")
    flip(tmp_path, "iso-3/CAM3_T002.mov")
    assert told(verified(tmp_path)) == {
        (Wrong.CHANGED, "iso-1/CAM1_T001.mov"),
        (Wrong.CHANGED, "iso-3/CAM3_T002.mov"),
    }


def test_a_tree_without_a_history_is_no_good_tree(tmp_path: Path) -> None:
    put(tmp_path, {**LATER, "ascmhl/README.txt": b"for people"})
    report = verified(tmp_path)
    assert not report.whole
    assert told(report) == {(Wrong.HISTORY, "ascmhl"), (Wrong.NEW, "iso-3/CAM3_T002.mov")}


def test_an_empty_tree_is_no_good_tree(tmp_path: Path) -> None:
    assert not verified(tmp_path).whole


def test_a_copy_under_way_and_what_the_history_leaves_out_are_not_new(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    put(tmp_path, {"iso-1/.CAM1_T002.mov.part-01KB": b"half", "iso-1/.DS_Store": b"x"})
    assert verified(tmp_path).whole


def foreign(top: Path, folder: str, entry: FileEntry, number: int = 1) -> None:
    """A manifest as another program might have written it, alone and without a chain."""
    head = Head(MOMENT, "elsewhere", "other", "1")
    place = top / folder / "ascmhl" / manifest_name(number, "other", MOMENT)
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(b"".join(write_manifest(head, [entry])))


def test_two_generations_with_two_hashes_are_a_doubt(tmp_path: Path) -> None:
    sealed(tmp_path, LATER)
    foreign(tmp_path, "", FileEntry("iso-3/CAM3_T002.mov", (Hash("xxh128", "0" * 32),)), 2)
    assert (Wrong.DOUBT, "iso-3/CAM3_T002.mov") in told(verified(tmp_path))


def test_a_file_is_judged_by_every_format_that_is_known_of_it(tmp_path: Path) -> None:
    sealed(tmp_path, LATER)
    path = "iso-3/CAM3_T002.mov"
    foreign(tmp_path, "", FileEntry(path, (Hash("md5", hash_of("md5", b"later"), "verified"),)), 2)
    assert told(verified(tmp_path)) == {(Wrong.HISTORY, "ascmhl/0002_other_2026-11-25_051312Z.mhl")}
    foreign(tmp_path, "", FileEntry(path, (Hash("md5", hash_of("md5", b"other"), "verified"),)), 2)
    assert (Wrong.CHANGED, path) in told(verified(tmp_path))


def test_a_renamed_file_keeps_its_history(tmp_path: Path) -> None:
    sealed(tmp_path, LATER)
    (tmp_path / "iso-3/CAM3_T002.mov").rename(tmp_path / "iso-3/better.mov")
    entry = FileEntry(
        "iso-3/better.mov", (Hash("md5", hash_of("md5", b"later"), "verified"),), previous="iso-3/CAM3_T002.mov"
    )
    foreign(tmp_path, "", entry, 2)
    assert told(verified(tmp_path)) == {(Wrong.HISTORY, "ascmhl/0002_other_2026-11-25_051312Z.mhl")}
    flip(tmp_path, "iso-3/better.mov")
    assert (Wrong.CHANGED, "iso-3/better.mov") in told(verified(tmp_path))


class Busy(Folder):
    """A folder that a run copies into and seals, right after its tree was listed."""

    def tree(self, under: str = "") -> Iterator[Standing]:
        yield from super().tree(under)
        if not under:
            sealed(self._top, LATER)


def test_a_copy_that_came_while_the_tree_was_listed_is_not_missing(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    report = verify(Busy("rushes", tmp_path))
    assert report.whole
    assert report.good == len(CLIPS) + 1


def test_a_history_inside_another_is_verified_with_it(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    sealed(tmp_path / "iso-9", {"day/clip.mov": b"inner"})
    report = verified(tmp_path)
    assert report.whole
    assert report.histories == 2
    flip(tmp_path, "iso-9/day/clip.mov")
    assert told(verified(tmp_path)) == {(Wrong.CHANGED, "iso-9/day/clip.mov")}


# --- the power goes ---------------------------------------------------------------------------------------------------


def test_a_manifest_that_the_chain_missed_is_taken_in(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    chain = (tmp_path / CHAIN).read_bytes()
    sealed(tmp_path, LATER)
    (tmp_path / CHAIN).write_bytes(chain)  # the power went before the chain was written
    assert told(verified(tmp_path)) == {(Wrong.HISTORY, SECOND)}
    assert sealed(tmp_path, LATER) == SECOND  # the engine tells the run again
    assert verified(tmp_path).whole


def test_the_very_first_manifest_without_a_chain_is_taken_in(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    (tmp_path / CHAIN).unlink()
    sealed(tmp_path, LATER)
    report = verified(tmp_path)
    assert report.whole
    assert report.generations == 2


@pytest.mark.parametrize("do", [torn_chain, torn])
def test_no_generation_follows_what_can_t_be_read(tmp_path: Path, do: Callable[[Path], None]) -> None:
    sealed(tmp_path, CLIPS)
    do(tmp_path)
    if do is torn:
        (tmp_path / CHAIN).unlink()
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    with pytest.raises(CopyError, match="another name") as caught:
        sealed(tmp_path, LATER)
    assert caught.value.reason is Reason.TARGET
    assert all(path.read_bytes() == data for path, data in before.items())


def test_a_chain_that_somebody_took_away_is_not_made_anew(tmp_path: Path) -> None:
    """Else an altered manifest would pass for the one that was written."""
    sealed(tmp_path, CLIPS)
    sealed(tmp_path, LATER)
    (tmp_path / CHAIN).unlink()
    with pytest.raises(CopyError, match="chain file is missing"):
        sealed(tmp_path, {"iso-4/x.mov": b"x"})


def test_an_altered_generation_keeps_no_new_one_out(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    edited(tmp_path)
    sealed(tmp_path, LATER)
    assert told(verified(tmp_path)) == {(Wrong.HISTORY, FIRST)}


def test_a_manifest_out_of_its_place_is_not_taken_in(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    foreign(tmp_path, "", FileEntry("x.mov", (Hash("md5", "0" * 32),)), 5)
    with pytest.raises(CopyError, match="not number 2"):
        sealed(tmp_path, LATER)


def test_what_a_power_cut_left_of_a_manifest_is_no_part_of_the_next(tmp_path: Path) -> None:
    left = tmp_path / part_path(FIRST, "manifest")
    left.parent.mkdir()
    left.write_bytes(b"<?xml version")
    sealed(tmp_path, CLIPS)
    assert verified(tmp_path).whole


class Lying(Folder):
    """A disk that keeps another manifest than it was given."""

    def read_back(self, path: str) -> Iterator[bytes]:
        return (block.replace(b"24B", b"25B") for block in super().read_back(path))


def test_a_manifest_that_reads_back_as_another_does_not_go_into_the_chain(tmp_path: Path) -> None:
    with pytest.raises(CopyError, match="reads back as another") as caught:
        SEALING(Lying("rushes", tmp_path), [copy("iso-1/CAM1_T001.mov", b"abcd")])
    assert caught.value.reason is Reason.DIFFERS
    assert not (tmp_path / CHAIN).exists()


def test_what_was_left_out_once_is_left_out_for_good(tmp_path: Path) -> None:
    """The list of patterns only grows: implementation guidelines 1.0, 2.4."""
    head = Head(MOMENT, "elsewhere", "other", "1", ignore=("*.tmp",))
    entry = FileEntry("a.mov", (Hash("md5", hash_of("md5", b"a")),))
    put(tmp_path, {"a.mov": b"a", "b.tmp": b"b", FIRST: b"".join(write_manifest(head, [entry]))})
    sealed(tmp_path, LATER)
    assert b"<pattern>*.tmp</pattern>" in (tmp_path / SECOND).read_bytes()
    assert verified(tmp_path).whole


# --- how it goes about it ---------------------------------------------------------------------------------------------


def test_a_verification_says_how_far_it_is_and_can_be_stopped(tmp_path: Path) -> None:
    sealed(tmp_path, {f"iso-1/{number}.mov": bytes(3_000_000) for number in range(3)})
    seen: list[Progress] = []
    verify(Folder("rushes", tmp_path), tell=seen.append)
    assert seen[-1].read == seen[-1].of_bytes == 9_000_000
    assert [(one.files, one.of_files) for one in seen if one.path][:: max(1, len(seen))] == [(0, 3)]
    assert {one.path for one in seen if one.path} == {f"iso-1/{number}.mov" for number in range(3)}
    stop: list[Progress] = []
    with pytest.raises(CopyError, match="stopped") as caught:
        verify(Folder("rushes", tmp_path), tell=stop.append, stop=lambda: bool(stop and stop[-1].read))
    assert caught.value.reason is Reason.STOPPED
    assert 0 < stop[-1].read < 9_000_000


def test_more_findings_than_anybody_reads_are_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mhlverify, "MAX_TOLD", 20)
    sealed(tmp_path, {f"{number}.mov": b"" for number in range(25)})
    for number in range(25):
        (tmp_path / f"{number}.mov").unlink()
    report = verified(tmp_path)
    assert report.counts == {Wrong.MISSING: 25}
    assert len(report.findings) == 20


def test_a_hash_that_this_machine_can_t_reckon_is_a_doubt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sealed(tmp_path, LATER)

    def absent(kind: str) -> None:
        raise ImportError(kind)

    monkeypatch.setattr("stagectl.copyoff.mhlverify.digest", absent)
    report = verified(tmp_path)
    assert told(report) == {(Wrong.DOUBT, "iso-3/CAM3_T002.mov")}
    assert "stagectl[hash]" in report.findings[0].why


def test_a_chain_in_a_format_that_this_machine_can_t_reckon_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sealed(tmp_path, LATER, "md5")
    xxh = hash_of("xxh64", (tmp_path / FIRST).read_bytes())
    (tmp_path / CHAIN).write_bytes(write_chain([Generation(1, Path(FIRST).name, "xxh64", xxh)]))
    assert verified(tmp_path).whole
    monkeypatch.setitem(sys.modules, "xxhash", None)
    assert (Wrong.HISTORY, FIRST) in told(verified(tmp_path))


@pytest.mark.slow
def test_fifty_thousand_files_take_no_more_memory_than_a_few(tmp_path: Path) -> None:
    peaks = []
    for count in (500, 50_000):
        (top := tmp_path / str(count)).mkdir()
        command = [sys.executable, "-m", "tests.copyoff.manyfiles", str(top), str(count)]
        peaks.append(int(subprocess.run(command, capture_output=True, check=True, timeout=50).stdout))
    assert peaks[1] < peaks[0] + (16 << 20)  # 7 here, the caches of sqlite; kept in lists it would be over 40


class Shut(Folder):
    """A folder on a medium that does not give the bytes of one file."""

    def read_back(self, path: str) -> Iterator[bytes]:
        if path == "iso-2/CAM2_T001.mov":
            raise CopyError(Reason.TARGET, "rushes can't read iso-2/CAM2_T001.mov: Input/output error.")
        return super().read_back(path)


def test_a_file_that_can_t_be_read_is_named_and_the_others_are_judged(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    report = verify(Shut("rushes", tmp_path))
    assert told(report) == {(Wrong.UNREADABLE, "iso-2/CAM2_T001.mov")}
    assert report.good == len(CLIPS) - 1


# what the lines of gitignore(5) mean, each with a path and whether it is left out; its words under "Pattern format"
PATTERNS = [
    ("*.tmp", "a/b.tmp", True),
    ("*.tmp", "b.tmp/clip.mov", True),
    ("/tmp", "tmp", True),
    ("/tmp", "a/tmp", False),
    ("a/b", "a/b", True),
    ("a/b", "x/a/b", False),
    ("cache/", "a/cache/clip.mov", True),
    ("cache/", "a/cache", False),
    ("**/cache", "a/b/cache", True),
    ("a/**", "a/b/c", True),
    ("a/**/c", "a/c", True),
    ("a/**/c", "a/b/b/c", True),
    ("a?c", "abc", True),
    ("a?c", "a/c", False),
    ("a[0-9].mov", "a7.mov", True),
    ("a[!0-9].mov", "a7.mov", False),
    ("# comment", "# comment", False),
    ("\\#clip", "#clip", True),
    ("a*c", "a/b/c", False),
    ("[", "[", False),
    ("a+(b|c).mov", "a+(b|c).mov", True),
    ("a+(b|c).mov", "aab.mov", False),
    ("a.mov", "a_mov", False),
    ("a**/b", "axx/b", True),  # only between slashes two stars are more than one
    ("a**/b", "a/x/b", False),
    ("**/**/a", "b/c/a", True),
    ("a/***/b", "a/x/b", True),
    ("a*b*c", "axbxbxc", True),
    ("**/a*b/**/c", "x/a1/ab/y/c", True),
    ("a/**/b/**/c", "a/b/x/b/c", True),
]


@pytest.mark.parametrize(("pattern", "path", "out"), PATTERNS)
def test_a_pattern_leaves_out_what_gitignore_does(pattern: str, path: str, out: bool) -> None:
    assert Ignore([pattern])(path) is out


@pytest.mark.parametrize("line", ["**/" * 8 + "x", "a/**/" * 8 + "x", "*a" * 30 + "b", "**/*a*a*/" * 6 + "x"])
def test_a_line_that_is_made_to_hold_us_up_does_not(line: str) -> None:
    """Hash lists come from anybody. Tried again and again, one of these lines takes longer than a test may."""
    ignore = Ignore([line])
    assert not ignore("/".join(["aaaaaa"] * 40))
    assert not ignore("a" * 250)


def test_a_later_pattern_takes_back() -> None:
    ignore = Ignore(["*.tmp", "!keep.tmp"])
    assert (ignore("a.tmp"), ignore("keep.tmp")) == (True, False)


def test_what_every_history_leaves_out() -> None:
    ignore = Ignore(DEFAULT)
    assert [
        path for path in (".DS_Store", "a/.DS_Store", "a/.clip.mov.part-01KB", "clip.part-1.mov") if ignore(path)
    ] == [
        ".DS_Store",
        "a/.DS_Store",
        "a/.clip.mov.part-01KB",
    ]


def test_the_ledger_s_file_is_gone_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SQLITE_TMPDIR", str(tmp_path))
    with Ledger() as ledger:
        ledger.stand((f"{number}.mov", 1) for number in range(20_000))
        assert list(tmp_path.iterdir()) == []  # it has no name while it is there
    assert list(tmp_path.iterdir()) == []
