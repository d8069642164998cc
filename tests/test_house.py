"""Does the house stand as its papers say: pinned, without hosts, light at the door?

Source of all rows: own construction, from the house rules of DEVELOPERS.md.
"""

import re
import subprocess
import sys
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
LOCKS = ("requirements.lock", "requirements-build.lock", "requirements-oracle.lock", "requirements-dev.lock")
PIN = re.compile(r"^([A-Za-z0-9_.-]+)==\S+", re.MULTILINE)


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text())


def bare(requirement: str) -> str:
    """The name alone, as locks write it: lower case, hyphens."""
    return re.split(r"[\[<>=~! ;]", requirement, maxsplit=1)[0].lower().replace("_", "-")


def pinned(lock: str) -> set[str]:
    return {name.lower() for name in PIN.findall((ROOT / lock).read_text())}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_names_no_host_and_takes_no_option(lock: str) -> None:
    text = (ROOT / lock).read_text()
    assert "://" not in text
    assert not re.search(r"^--", text, re.MULTILINE)


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pinned_package_has_a_hash(lock: str) -> None:
    blocks = re.split(r"\n(?=[A-Za-z0-9])", (ROOT / lock).read_text())
    pins = [block for block in blocks if PIN.match(block)]
    assert pins
    assert [block.split("==")[0] for block in pins if "--hash=sha256:" not in block] == []


def test_the_locks_hold_what_the_project_asks_for() -> None:
    papers = project()
    asked = {bare(one) for one in papers["project"]["dependencies"]}
    tools = {bare(one) for one in papers["dependency-groups"]["dev"] if isinstance(one, str)}
    assert asked <= pinned("requirements.lock")
    assert pinned("requirements.lock") | pinned("requirements-build.lock") | tools <= pinned("requirements-dev.lock")


def test_the_demo_hall_is_found_inside_the_package() -> None:
    assert (files("stagectl") / "demo_hall" / "README.md").read_text() == (ROOT / "scenes" / "README.md").read_text()


def test_the_terminal_opens_without_the_daemon_s_libraries() -> None:
    """A roll must not wait for libraries that only the daemon needs: they cost three times the call itself."""
    look = (
        "import sys, stagectl.cli; print(*sorted({'aiohttp', 'pydantic', 'aiomqtt', 'structlog'} & set(sys.modules)))"
    )
    seen = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, timeout=30, check=True)
    assert seen.stdout.split() == []


def test_each_ignored_rule_says_why_on_its_own_line() -> None:
    table = (ROOT / "pyproject.toml").read_text().split("[tool.ruff.lint]")[1].split("[tool.ruff.lint.flake8")[0]
    table = table[table.index("ignore = [") :]
    silent = [line for line in table.splitlines() if re.match(r'\s+"[A-Z]+[0-9]*",', line) and "#" not in line]
    assert silent == []
