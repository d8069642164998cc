"""Are drivers found as a third party's would be, and broken ones left out with a sentence?

Each test lays down a package and its installed metadata in a folder of its own and puts that on the search path,
as an installer would. Source of all rows: own construction.
"""

import importlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from stagectl.driverkit.kinds import GROUP, find_kinds

Install = Callable[..., None]

GOOD = """
from stagectl.driverkit import BoxKind
from stagectl.model.capabilities.base import Capability
from stagectl.model.points import PointSpec, Unit

LAMP = PointSpec("lamp.{lamp}.on", bool, settable=True)
BOX = BoxKind("NAME", Capability("KIND", 1, (LAMP,), ()), 4000, lambda options: None, lambda options: None, {})
"""


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Install a driver: its word, its package, the text of its module; `value` if the entry point says otherwise."""
    monkeypatch.syspath_prepend(str(tmp_path))
    modules: list[str] = []

    def add(name: str, package: str, text: str, value: str = "", *, kind: str = "lamps") -> None:
        module = f"stage_{package.replace('-', '_')}"
        modules.append(module)
        (tmp_path / f"{module}.py").write_text(text.replace("NAME", name).replace("KIND", kind))
        info = tmp_path / f"{package.replace('-', '_')}-0.3.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 0.3\n")
        (info / "entry_points.txt").write_text(f"[{GROUP}]\n{name} = {value or f'{module}:BOX'}\n")
        importlib.invalidate_caches()

    yield add
    for module in modules:
        sys.modules.pop(module, None)


def test_a_third_party_s_driver_is_found_beside_the_shipped_ones(install: Install) -> None:
    before, _ = find_kinds()
    install("lamp-box", "lamp-drivers", GOOD)
    kinds, broken = find_kinds()
    assert "lamp-box" not in broken
    assert kinds["lamp-box"].port == 4000
    assert {name: kinds[name] for name in before} == before


def test_the_block_router_is_found_by_the_word_of_the_site_file() -> None:
    kinds, _ = find_kinds()
    assert kinds["block-router"].capability.kind == "router"


def test_one_broken_driver_costs_no_other(install: Install) -> None:
    install("lamp-box", "lamp-drivers", GOOD)
    install("dead-box", "dead-drivers", "raise RuntimeError('no such chip')")
    kinds, broken = find_kinds()
    assert "lamp-box" in kinds
    assert "dead-box" not in kinds
    assert "dead-box" in broken


BROKEN = [
    # id, text of the module, what the entry point names ("" = its BOX), what the sentence says
    ("fails", "raise RuntimeError('no such chip')", "", "RuntimeError: no such chip"),
    ("exits", "raise SystemExit(3)", "", "SystemExit: 3"),
    ("misspelt", "x = (", "", "SyntaxError"),
    ("lacks a module", "import a_module_nobody_has", "", "No module named 'a_module_nobody_has'"),
    ("lacks its box", "", "", "has no attribute 'BOX'"),
    ("is not there", "", "stage_of_nobody:BOX", "No module named 'stage_of_nobody'"),
    ("has no object", GOOD, "stage_sick_drivers", "names a module, not a BoxKind"),
    ("is no kind", "BOX = 7", "", "names a int, not a BoxKind"),
    ("has another name", GOOD.replace("NAME", "otherwise"), "", 'calls itself "otherwise"'),
    (
        "has no capability",
        GOOD.replace('Capability("KIND", 1, (LAMP,), ())', '"lamps"'),
        "",
        "no Capability, but a str",
    ),
    ("makes nothing", GOOD.replace("lambda options: None, lambda", "None, lambda"), "", "no function that makes"),
    ("brings a router of its own", GOOD.replace("KIND", "router"), "", 'brings a "router" of its own'),
    (
        "means another timecode",
        GOOD.replace('"lamp.{lamp}.on", bool', '"timecode", float, Unit.S'),
        "",
        '"timecode" that is float in s, but it is str in kind "recorder"',
    ),
    ("means another link", GOOD.replace("lamp.{lamp}.on", "link.silent"), "", '"link.silent" that is bool'),
]


@pytest.mark.parametrize(("text", "value", "says"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_a_driver_that_can_t_be_used_is_named_with_its_reason(
    install: Install, text: str, value: str, says: str
) -> None:
    install("sick-box", "sick-drivers", text, value)
    kinds, broken = find_kinds()
    assert "sick-box" not in kinds
    assert says in broken["sick-box"]
    assert broken["sick-box"].startswith('The driver "sick-box" of sick-drivers 0.3 ')
    assert broken["sick-box"].endswith(".")


def test_two_packages_with_one_word_are_both_left_out(install: Install) -> None:
    """Which of them drives a box must not hang on the order of a search path."""
    install("lamp-box", "lamp-drivers", GOOD)
    install("lamp-box", "better-lamps", GOOD)
    kinds, broken = find_kinds()
    assert "lamp-box" not in kinds
    assert (
        broken["lamp-box"]
        == 'The driver "lamp-box" is in two packages, better-lamps 0.3 and lamp-drivers 0.3. Remove one of them.'
    )


def test_two_drivers_that_mean_different_things_by_one_point_do_not_both_run(install: Install) -> None:
    install("lamp-box", "lamp-drivers", GOOD)
    install("other-box", "other-drivers", GOOD.replace("bool", "str"), kind="signs")
    kinds, broken = find_kinds()
    assert "lamp-box" in kinds
    assert '"lamp.{lamp}.on" that is str, but it is bool in kind "lamps"' in broken["other-box"]
