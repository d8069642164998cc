"""Does one data folder hold one daemon at a time? The lock by itself; two real daemons: tests/real/test_system.py."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from stagectl.cli.inuse import NAME, InUseError, in_use


def test_a_second_one_is_told_who_has_it(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with in_use(folder), pytest.raises(InUseError) as refused, in_use(folder):
        raise AssertionError
    assert refused.value.pid == str(os.getpid())
    with in_use(folder):
        assert (folder / NAME).stat().st_mode & 0o077 == 0


def test_a_process_that_was_killed_holds_nothing(tmp_path: Path) -> None:
    child = (
        "import sys, time, pathlib\nfrom stagectl.cli.inuse import in_use\n"
        "with in_use(pathlib.Path(sys.argv[1])):\n    print('has it', flush=True)\n    time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", child, str(tmp_path)], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "has it\n"
        with pytest.raises(InUseError), in_use(tmp_path):
            raise AssertionError
        other.kill()
        other.wait(10)
    with in_use(tmp_path):
        pass


def test_a_folder_that_can_t_be_had_is_left_to_who_opens_it(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with in_use(tmp_path / "file"):
        pass
