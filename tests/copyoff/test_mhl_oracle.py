"""Do we and the standard's own tool say the same of the same trees?

Source: PyPI `ascmhl` 1.2, the reference implementation of ASC MHL; its exit codes as its `errors.py` has them.
`make .venv-oracle/.installed` makes the venv it runs from.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from stagectl.copyoff.c4 import c4_of
from stagectl.copyoff.mhlhistory import Wrong
from stagectl.copyoff.mhlignore import Ignore
from stagectl.copyoff.mhlread import read_chain
from tests.copyoff.historytree import CLIPS, put, sealed, told, verified
from tests.copyoff.mhlschema import check_chain, check_manifest
from tests.copyoff.reftool import left_out, reference
from tests.copyoff.test_mhl import FIRST, LATER, PATTERNS, added, edited, flip, taken_away

pytestmark = pytest.mark.slow

GOOD, MISSING, DIFFERS, NEW, ALTERED = 0, 10, 11, 21, 31  # exit codes of the reference tool


def test_the_reference_tool_verifies_what_we_wrote(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    sealed(tmp_path, LATER, "md5")
    done = reference("ascmhl-debug", "verify", "-v", tmp_path)
    assert done.returncode == GOOD, done.stderr
    assert done.stdout.count(": OK") == len(CLIPS) + 1


DONE: list[tuple[Callable[[Path], None], int, Wrong, str]] = [
    (lambda top: flip(top, "iso-1/CAM1_T001.mov"), DIFFERS, Wrong.CHANGED, "iso-1/CAM1_T001.mov"),
    (lambda top: flip(top, "iso-2/CAM2_T001.mov", 99_999), DIFFERS, Wrong.CHANGED, "iso-2/CAM2_T001.mov"),
    (taken_away, MISSING, Wrong.MISSING, "iso-2/CAM2_T001.mov"),
    (added, NEW, Wrong.NEW, "iso-2/stranger.mov"),
    (edited, ALTERED, Wrong.HISTORY, FIRST),
]


@pytest.mark.parametrize(("do", "code", "what", "path"), DONE)
def test_both_find_what_was_done(tmp_path: Path, do: Callable[[Path], None], code: int, what: Wrong, path: str) -> None:
    sealed(tmp_path, CLIPS)
    do(tmp_path)
    done = reference("ascmhl-debug", "verify", tmp_path)
    assert done.returncode == code, done.stdout + done.stderr
    assert path in done.stdout + done.stderr
    assert told(verified(tmp_path)) == {(what, path)}


def test_its_next_generation_follows_ours_and_ours_follows_that(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    done = reference("ascmhl", "create", "-h", "xxh128", tmp_path)
    assert done.returncode == GOOD, done.stderr
    (second,) = (tmp_path / "ascmhl").glob("0002_*.mhl")
    assert second.read_text().count('action="verified"') == len(CLIPS)
    assert verified(tmp_path).whole
    assert sealed(tmp_path, LATER).startswith("ascmhl/0003_")
    assert reference("ascmhl-debug", "verify", tmp_path).returncode == GOOD
    report = verified(tmp_path)
    assert report.whole
    assert report.generations == 3


@pytest.mark.parametrize("kinds", [("xxh128",), ("c4", "md5"), ("xxh64", "xxh3", "sha1")])
def test_we_verify_two_generations_of_its_own(tmp_path: Path, kinds: tuple[str, ...]) -> None:
    put(tmp_path, CLIPS)
    options = [word for kind in kinds for word in ("-h", kind)]
    assert reference("ascmhl", "create", *options, tmp_path).returncode == GOOD
    put(tmp_path, LATER)
    assert reference("ascmhl", "create", *options, tmp_path).returncode == GOOD
    for manifest in (tmp_path / "ascmhl").glob("*.mhl"):
        check_manifest(manifest.read_bytes())
    check_chain((tmp_path / "ascmhl/ascmhl_chain.xml").read_bytes())
    report = verified(tmp_path)
    assert report.whole
    assert (report.generations, report.good) == (2, len(CLIPS) + 1)
    flip(tmp_path, "iso-1/CAM1_T001.mov")
    assert told(verified(tmp_path)) == {(Wrong.CHANGED, "iso-1/CAM1_T001.mov")}
    assert reference("ascmhl-debug", "verify", tmp_path).returncode == DIFFERS


def test_a_failure_that_it_wrote_down_is_seen(tmp_path: Path) -> None:
    sealed(tmp_path, CLIPS)
    flip(tmp_path, "iso-1/CAM1_T001.mov")
    assert reference("ascmhl", "create", "-h", "xxh128", tmp_path).returncode == DIFFERS
    assert told(verified(tmp_path)) == {(Wrong.CHANGED, "iso-1/CAM1_T001.mov")}
    flip(tmp_path, "iso-1/CAM1_T001.mov")  # a person put the right one back
    assert verified(tmp_path).whole


def test_a_history_inside_another_is_verified_by_both(tmp_path: Path) -> None:
    """Ours inside, the reference tool's round it: its manifest refers to ours by its C4."""
    sealed(tmp_path / "iso-9", {"day/clip.mov": b"inner"})
    put(tmp_path, CLIPS)
    assert reference("ascmhl", "create", "-h", "xxh128", tmp_path).returncode == GOOD
    assert reference("ascmhl-debug", "verify", tmp_path).returncode == GOOD
    report = verified(tmp_path)
    assert report.whole
    assert (report.histories, report.good) == (2, len(CLIPS) + 1)
    (inner,) = (tmp_path / "iso-9/ascmhl").glob("0002_*.mhl")
    inner.write_text(inner.read_text().replace("verified", "original"))
    chain = tmp_path / "iso-9/ascmhl/ascmhl_chain.xml"
    name = inner.relative_to(tmp_path).as_posix()
    assert (Wrong.HISTORY, name) in told(verified(tmp_path))
    chain.write_text(chain.read_text().replace(read_chain(chain.read_bytes())[1].text, c4_of(inner.read_bytes())))
    assert told(verified(tmp_path)) == {
        (Wrong.HISTORY, name)
    }  # the inner chain agrees now; the outer reference does not


def test_patterns_mean_what_its_library_says() -> None:
    paths = sorted({path for _, path, _ in PATTERNS})
    lines = sorted({pattern for pattern, _, _ in PATTERNS})
    ours = {line: [path for path in paths if Ignore([line])(path)] for line in lines}
    assert ours == left_out(lines, paths)
