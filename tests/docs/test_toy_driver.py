"""Is the way to a new driver, as the docs tell it, one that can be walked?

Source of all rows: own construction.
"""

import importlib
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from stagectl.driverkit.conformance import Outcome
from stagectl.driverkit.kinds import GROUP, find_kinds

DOCS = Path(__file__).parents[2] / "docs"
TOY = DOCS / "toy_driver"
MODULES = ("cue_light_box", "cue_light_simulator", "test_cue_light_box")


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The toy's folder on the search path, as if it were installed."""
    monkeypatch.syspath_prepend(str(TOY))
    yield TOY
    for module in MODULES:
        sys.modules.pop(module, None)


def page() -> str:
    return (DOCS / "adding-a-driver.md").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", page(), re.DOTALL)


def test_the_toy_is_a_driver_in_under_a_hundred_lines() -> None:
    assert len((TOY / "cue_light_box.py").read_text().splitlines()) < 100


def test_what_the_page_prints_is_what_is_there() -> None:
    there = [path.read_text() for path in sorted(TOY.glob("*.py"))]
    printed = blocks("python")
    assert len(printed) == 5
    assert [block for block in printed if not any(block.strip("\n") in text for text in there)] == []


def test_the_driver_shares_nothing_with_its_simulator() -> None:
    assert "cue_light_simulator" not in (TOY / "cue_light_box.py").read_text()
    simulator = (TOY / "cue_light_simulator.py").read_text()
    assert "stagectl" not in simulator
    assert "cue_light_box" not in simulator


@pytest.mark.usefixtures("toy")
def test_a_driver_in_a_package_of_its_own_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an installer lays down for the page's own pyproject.toml."""
    papers: dict[str, Any] = tomllib.loads(blocks("toml")[0])
    project = papers["project"]
    ((word, value),) = project["entry-points"][GROUP].items()
    info = tmp_path / "cue_light_box-0.1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n")
    (info / "entry_points.txt").write_text(f"[{GROUP}]\n{word} = {value}\n")
    before, _ = find_kinds()
    assert word not in before
    monkeypatch.syspath_prepend(str(tmp_path))
    importlib.invalidate_caches()
    kinds, broken = find_kinds()
    assert word not in broken
    assert kinds[word].about == "A toy: two cue lights and a label."
    assert kinds.keys() - before.keys() == {word}


@pytest.mark.slow
@pytest.mark.usefixtures("toy")
async def test_the_toy_keeps_what_drivers_promise() -> None:
    author = importlib.import_module("test_cue_light_box")
    report = (await author.conformance()).demand()
    assert [row.name for row in report.rows if row.outcome is not Outcome.HELD] == []
    told = {row.name for row in report.rows if not row.name.startswith("a fault passes")}
    table = page().partition("| claim |")[2]
    assert sorted(name for name in told if name not in table) == []
