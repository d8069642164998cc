"""Is each damage of a journal found from a terminal, named with its place, and a backup whole? On real files.

Source: own construction, after the format that `stagectl/control/journal_lines.py` writes down.
"""

import asyncio
import json
import stat
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from stagectl.cli import main
from stagectl.control.journal import Journal
from stagectl.driverkit.real import RealClock, RealStorage

RECORDS = 40


def call(*words: str) -> Result:
    return CliRunner().invoke(main, list(words), env={"NO_COLOR": "1"})


def _journal(folder: Path) -> Journal:
    clock = RealClock(asyncio.get_running_loop())
    return Journal(RealStorage(folder), clock, segment_bytes=4096, reserve_bytes=64)


async def _written(folder: Path, starts: int) -> None:
    for _ in range(starts):
        journal = Journal(
            RealStorage(folder), RealClock(asyncio.get_running_loop()), segment_bytes=4096, reserve_bytes=64
        )
        await journal.open(site="Tidewater Hall")
        for number in range(RECORDS):
            await journal.synced(journal.write("take", "ines", what="mark", take=number))
        await journal.close()


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder after two starts, with accounts beside the journal."""
    folder = tmp_path / "data"
    asyncio.run(_written(folder, 2))
    (folder / "people.json").write_text("{}")
    return folder


def segments(data: Path) -> list[Path]:
    return sorted(data.glob("journal-*.log"))


def test_a_whole_journal_is_said_so_with_exit_0(data: Path) -> None:
    result = call("journal", "verify", str(data))
    assert result.exit_code == 0, result.stdout
    assert (
        f"{2 * RECORDS + 2} records in {len(segments(data))} segments, 2 starts; every line is whole." in result.stdout
    )


def flip(path: Path, line: int) -> None:
    """One bit of one line, counted from one."""
    lines = path.read_bytes().split(b"\n")
    at = len(lines[line - 1]) // 2
    lines[line - 1] = lines[line - 1][:at] + bytes([lines[line - 1][at] ^ 1]) + lines[line - 1][at + 1 :]
    path.write_bytes(b"\n".join(lines))


def take_out(path: Path, line: int) -> None:
    lines = path.read_bytes().split(b"\n")
    del lines[line - 1]
    path.write_bytes(b"\n".join(lines))


def tear(path: Path, line: int) -> None:
    whole = b"\n".join(path.read_bytes().split(b"\n")[:line])
    path.write_bytes(whole[:-7])


@pytest.mark.parametrize(
    ("hurt", "what"),
    [
        (flip, "this line is damaged, its checksum is wrong"),
        (take_out, "this line is damaged, it doesn't follow from the lines before"),
        (tear, "the last line is torn"),
    ],
)
def test_each_damage_is_named_with_its_segment_and_line(
    data: Path, hurt: Callable[[Path, int], None], what: str
) -> None:
    middle = segments(data)[1]
    hurt(middle, 5)
    result = call("journal", "verify", str(data))
    assert result.exit_code == 6
    assert f"! {middle.name}:5: {what}" in result.stdout
    told = json.loads(call("--json", "journal", "verify", str(data)).stdout)
    assert (told["whole"], told["damage"][0]["segment"], told["damage"][0]["line"]) == (False, middle.name, 5)


def test_every_single_flipped_bit_of_a_line_is_found(data: Path) -> None:
    path = segments(data)[-1]
    whole = path.read_bytes()
    begin = whole.index(b"\n") + 1
    for at in range(begin, whole.index(b"\n", begin), 3):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 4]) + whole[at + 1 :])
        assert call("journal", "verify", str(data)).exit_code == 6, at


def test_a_missing_segment_is_named(data: Path) -> None:
    segments(data)[1].unlink()
    result = call("journal", "verify", str(data))
    assert result.exit_code == 6
    assert "it doesn't follow from the file before, records" in result.stdout


def test_a_torn_end_that_a_later_start_went_on_from_is_told_and_is_no_damage(data: Path) -> None:
    with segments(data)[-1].open("ab") as out:
        out.write(b"0a0b0c0d {half")
    asyncio.run(_written(data, 1))
    result = call("journal", "verify", str(data))
    assert result.exit_code == 0
    assert "the last line is torn. A later start went on from before it, as after a power cut." in result.stdout


def test_the_export_holds_every_whole_record_once(data: Path) -> None:
    result = call("journal", "export", str(data))
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [row["n"] for row in rows] == list(range(1, 2 * RECORDS + 3))
    assert {"n", "at", "epoch", "kind", "who", "data", "chain"} <= set(rows[0])


@pytest.mark.parametrize("words", [("journal", "verify"), ("journal", "verify", "/no/such/folder")])
def test_a_folder_that_is_not_there_is_said(words: tuple[str, ...]) -> None:
    result = call(*words)
    assert result.exit_code == 2
    assert result.stderr


# -- backup ------------------------------------------------------------------------------------------------------------


def test_a_backup_comes_back_whole_and_for_its_owner_alone(data: Path, tmp_path: Path) -> None:
    file, back = tmp_path / "hall.backup", tmp_path / "back"
    assert call("backup", str(data), str(file)).exit_code == 0
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    result = call("restore", str(file), str(back))
    assert result.exit_code == 0, result.stderr
    assert f"its journal is whole: {2 * RECORDS + 2} records." in result.stdout
    assert stat.S_IMODE(back.stat().st_mode) == 0o700
    marks = {path.name for path in data.glob("journal.epoch-*")}
    assert marks, "the count of the starts goes with them"
    assert {path.name for path in back.iterdir()} == {"people.json", *marks, *(path.name for path in segments(data))}
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in back.iterdir())
    asyncio.run(_written(back, 1))
    assert call("journal", "verify", str(back)).exit_code == 0, "a start goes on where the backup ends"


async def test_a_backup_while_the_daemon_writes_ends_in_a_whole_line(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    journal = _journal(folder)
    await journal.open(site="Tidewater Hall")
    stop = asyncio.Event()

    async def write() -> None:
        while not stop.is_set():
            await journal.synced(journal.write("hand", "box", value="x" * 100))

    writing = asyncio.create_task(write())
    for number in range(10):
        result = await asyncio.get_running_loop().run_in_executor(
            None, lambda number=number: call("backup", str(folder), str(tmp_path / f"{number}.backup"))
        )
        assert result.exit_code == 0, result.stdout
    stop.set()
    await writing
    await journal.close()


def test_a_half_written_line_at_the_end_is_left_out(data: Path, tmp_path: Path) -> None:
    with segments(data)[-1].open("ab") as out:
        out.write(b"0a0b0c0d {half")
    assert call("backup", str(data), str(tmp_path / "b")).exit_code == 0


def test_a_backup_of_a_damaged_journal_is_kept_and_said_with_exit_6(data: Path, tmp_path: Path) -> None:
    flip(segments(data)[0], 3)
    result = call("backup", str(data), str(tmp_path / "b"))
    assert result.exit_code == 6
    assert (tmp_path / "b").exists()


def test_nothing_is_written_over(data: Path, tmp_path: Path) -> None:
    file = tmp_path / "b"
    file.write_text("dear")
    assert call("backup", str(data), str(file)).exit_code == 2
    assert file.read_text() == "dear"
    file.unlink()
    assert call("backup", str(data), str(file)).exit_code == 0
    assert call("restore", str(file), str(data)).exit_code == 2


def test_a_backup_that_names_a_path_outside_is_refused(tmp_path: Path) -> None:
    evil, file = tmp_path / "evil", tmp_path / "b"
    evil.write_text("x")
    for name in ("../evil", "/etc/evil", "a/b", ".hidden", "mosquitto.conf"):
        with tarfile.open(file, "w:gz") as tar:
            tar.add(evil, arcname=name)
        result = call("restore", str(file), str(tmp_path / "back"))
        assert result.exit_code == 2, name
        assert "no file of ours" in result.stderr
        assert not (tmp_path / "back").exists()


def test_a_link_in_a_backup_is_refused(tmp_path: Path) -> None:
    (tmp_path / "journal-00000001.log").symlink_to("/etc/hostname")
    with tarfile.open(tmp_path / "b", "w:gz") as tar:
        tar.add(tmp_path / "journal-00000001.log", arcname="journal-00000001.log")
    assert call("restore", str(tmp_path / "b"), str(tmp_path / "back")).exit_code == 2


def test_what_is_no_backup_is_said(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("no")
    result = call("restore", str(tmp_path / "b"), str(tmp_path / "back"))
    assert (result.exit_code, "can't be brought back" in result.stderr) == (2, True)
