"""Is the shipped unit right in systemd's own eyes, and as closed as it says?

Source: systemd-analyze verify and security where systemd is installed; the keys are systemd.exec(5), from memory.
"""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[2] / "docs" / "stagectl.service"
EXPOSED = 2.0  # systemd-analyze's own scale from 0 to 10; 2 is its "ok"


def keys() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in UNIT.read_text(encoding="utf-8").splitlines():
        if match := re.fullmatch(r"([A-Za-z]+)=(.*)", line):
            found.setdefault(match[1], []).append(match[2])
    return found


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("User", "stagectl"),
        ("Type", "notify"),
        ("ProtectSystem", "strict"),
        ("NoNewPrivileges", "yes"),
        ("CapabilityBoundingSet", ""),
        ("RestrictAddressFamilies", "AF_INET AF_INET6 AF_UNIX"),
        ("Restart", "always"),
        ("WatchdogSec", "10"),
        ("StateDirectoryMode", "0700"),
        ("UMask", "0077"),
    ],
)
def test_the_unit_keeps_its_promises(key: str, value: str) -> None:
    assert keys()[key] == [value]


def test_system_calls_are_those_of_a_service_without_the_privileged_ones() -> None:
    assert keys()["SystemCallFilter"] == ["@system-service", "~@privileged @resources"]


def test_systemd_takes_the_unit_and_finds_it_closed(tmp_path: Path) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        sys.stdout.write("systemd-analyze is not on PATH: the unit's keys were read, systemd was not asked.\n")
        return
    sys.stdout.write(f"asked: {program}\n")
    unit = tmp_path / UNIT.name
    script = Path(sys.executable).parent / "stagectl"
    unit.write_text(UNIT.read_text(encoding="utf-8").replace("/opt/stagectl/bin/stagectl", str(script)))
    told = subprocess.run([program, "verify", str(unit)], capture_output=True, text=True, timeout=30, check=False)
    assert (told.returncode, told.stderr) == (0, ""), told.stderr
    command = [program, "security", "--offline=true", "--no-pager", str(unit)]
    told = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    level = re.search(r"exposure level for stagectl.service: ([0-9.]+)", told.stdout)
    assert level is not None, told.stderr
    assert float(level[1]) <= EXPOSED, told.stdout


def test_a_slip_in_the_unit_is_seen_by_systemd(tmp_path: Path) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        sys.stdout.write("systemd-analyze is not on PATH.\n")
        return
    unit = tmp_path / UNIT.name
    unit.write_text(UNIT.read_text(encoding="utf-8").replace("ProtectSystem=strict", "ProtectSystem=maybe"))
    told = subprocess.run([program, "verify", str(unit)], capture_output=True, text=True, timeout=30, check=False)
    assert "Failed to parse protect system value" in told.stderr
