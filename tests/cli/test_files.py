"""Does `check` tell all that is wrong, and do schema and drivers answer? In this process, without a daemon."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from stagectl.cli import main

SITE = """
site: Small room
devices:
  deck-1: {box: text-deck, at: 127.0.0.1, called: Deck 1}
"""
SCENE = "scene: Both\nsteps:\n  - do: takes roll\n"


def run(*args: str) -> Result:
    return CliRunner().invoke(main, list(args), env={"NO_COLOR": "1"})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "room.yaml").write_text(SITE, encoding="utf-8")
    (tmp_path / "both.yaml").write_text(SCENE, encoding="utf-8")
    return tmp_path


def test_a_site_that_is_right_is_counted(folder: Path) -> None:
    result = run("check", str(folder / "room.yaml"))
    assert (result.exit_code, result.stdout) == (0, "Small room: 1 device, 1 scene; nothing is wrong.\n")
    assert result.stderr == ""


def test_the_demo_hall_that_is_shipped_is_right() -> None:
    result = run("check", str(Path(__file__).parents[2] / "scenes" / "tidewater-hall.yaml"))
    assert result.exit_code == 0, result.stderr
    assert result.stdout == "Tidewater Hall: 8 devices, 4 set-ups, 5 scenes; nothing is wrong.\n"


def test_scenes_and_the_simulators_file_are_read_too(folder: Path) -> None:
    (folder / "wrong.yaml").write_text("scene: Wrong\nsteps:\n  - do: takes rol\n", encoding="utf-8")
    (folder / "room.sim.yaml").write_text("devices:\n  deck-9: {}\n", encoding="utf-8")
    result = run("check", str(folder / "room.yaml"))
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert any("room.sim.yaml:2:3" in line and "deck-9" in line for line in lines)
    assert any("wrong.yaml:3:" in line and "rol" in line for line in lines)
    assert result.stdout == "Small room: 1 device, 1 scene; 2 things are wrong.\n"


WRONG = [
    # name, file, what is said; own construction
    ("no file", None, "room.yaml"),
    ("broken YAML", "site: [\n", "this is no YAML"),
    ("a key twice", "site: A\nsite: B\ndevices: {}", "room.yaml:2:1"),
    ("an alias", "site: &a A\ndevices: *a", "room.yaml:1:7"),
    ("unknown box", "site: A\ndevices:\n  a: {box: text-dek, at: 127.0.0.1}", "room.yaml:3:"),
]


@pytest.mark.parametrize("verb", ["serve", "check", "simulate"])
@pytest.mark.parametrize(("text", "says"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_site_that_can_not_be_read_is_told_by_line_with_exit_2(
    tmp_path: Path, verb: str, text: str | None, says: str
) -> None:
    site = tmp_path / "room.yaml"
    if text is not None:
        site.write_text(text, encoding="utf-8")
    result = run(verb, str(site), *(["--data", str(tmp_path / "data")] if verb == "serve" else []))
    assert result.exit_code == 2
    assert says in result.stderr
    assert not (tmp_path / "data").exists(), "nothing was started"


@pytest.mark.parametrize("what", ["site", "scene"])
def test_the_schema_is_one_json_document(what: str) -> None:
    assert json.loads(run("schema", what).stdout)["$schema"].startswith("https://json-schema.org/")


def test_drivers_lists_what_can_be_driven() -> None:
    assert [line.split()[0] for line in run("drivers").stdout.splitlines()][:3] == [
        "block-router",
        "mixer-text",
        "text-deck",
    ]
    assert json.loads(run("drivers", "--json").stdout)["drivers"]["text-deck"]["kind"] == "recorder"


def test_a_driver_that_can_not_be_used_is_told_and_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "stagectl.driverkit.kinds.find_kinds", lambda: ({}, {"odd": 'The driver "odd" can\'t be loaded. Remove it.'})
    )
    result = run("drivers")
    assert (result.exit_code, result.stdout) == (0, '! The driver "odd" can\'t be loaded. Remove it.\n')


@pytest.mark.parametrize("at", ["8420", "127.0.0.1", "127.0.0.1:x", "127.0.0.1:70000", ":8420"])
def test_an_address_that_is_none_is_asked_back(folder: Path, at: str) -> None:
    result = run("serve", str(folder / "room.yaml"), "--http", at, "--data", str(folder / "data"))
    assert result.exit_code == 2
    assert "is no address" in result.stderr
