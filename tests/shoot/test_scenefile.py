"""Is a scene read as it is written, and is each slip told once, with its place and what to do?

Golden errors are typed in by hand; own construction.
"""

import asyncio
import re
from pathlib import Path

import pytest

from stagectl.control.access import Role
from stagectl.model.errors import RefusedError
from stagectl.shoot.scene import Check, Do, Fails, InTurn, SetPoints, Together, WaitFor
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.sceneschema import LISTS, scene_schema
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import DEMO, house, shipped

WHOLE = """
scene: Masterclass starts
about: Everything the masterclass needs
for: engineer
with:
  camera: {about: who is seen, default: wide, reads: source}
  longest: {default: 10 s, reads: time}
steps:
  - {check: every recorder remote is yes, otherwise: "Switch remote on at the front of {called}."}
  - together:
      - {set: {paths: {program shows: "{camera}"}}}
      - [{set: {mixer: {strip 1 muted: no}}}, {set: {mixer: {strip 1 level: -12 dB}}}]
  - {wait for: every iso transport is stopped for 0.5 s, within: "{longest}"}
  - {ask: "Does everyone stand clear of {camera}?", of: ines, within: 2 min}
  - {pause: 500 ms, only if: takes running is no}
  - {do: takes roll, with: {name: Masterclass 3}, otherwise: go on}
  - {put back: everything}
ends with: [takes running is yes, {any of: [paths program shows is wide, paths program shows is hands]}]
if it fails: put back
"""


def scenes_of(folder: Path, **files: str) -> Scenes:
    for name, text in files.items():
        (folder / f"{name.replace('_', '-')}.yaml").write_text(text)
    scenes = Scenes(house(VirtualClock(asyncio.get_running_loop())), folder)
    scenes.load()
    return scenes


@virtual
async def test_every_step_word_is_read(tmp_path: Path) -> None:
    scenes = scenes_of(tmp_path, masterclass_starts=WHOLE)
    assert scenes.errors == []
    scene = scenes.scenes["masterclass-starts"]
    assert (scene.called, scene.role, scene.fails) == ("Masterclass starts", Role.ENGINEER, Fails.PUT_BACK)
    assert [(step.head.number, type(step).__name__) for step in scene.every_step()] == [
        ("1", "Check"),
        ("2", "Together"),
        ("2.1", "SetPoints"),
        ("2.2", "InTurn"),
        ("2.2.1", "SetPoints"),
        ("2.2.2", "SetPoints"),
        ("3", "WaitFor"),
        ("4", "AskPerson"),
        ("5", "Pause"),
        ("6", "Do"),
        ("7", "PutBack"),
    ]
    check, together, wait, _, pause, do, _ = scene.steps
    assert isinstance(check, Check)
    assert check.head.otherwise == "Switch remote on at the front of {called}."
    assert isinstance(together, Together)
    assert isinstance(together.steps[1], InTurn)
    assert isinstance(wait, WaitFor)
    assert wait.within_s == 10
    assert pause.head.only_if is not None
    assert isinstance(do, Do)
    assert do.head.goes_on
    level = together.steps[1].steps[1]
    assert isinstance(level, SetPoints)
    assert level.wants[0].value == -12.0
    assert level.head.say == "set mixer strip 1 level to -12 dB"


@virtual
async def test_arguments_fill_texts_values_and_keys(tmp_path: Path) -> None:
    text = """
scene: Give
with: {station: {default: director, reads: station}, picture: {default: wide, reads: source}}
steps:
  - {set: {stations: {"{station} sees": "{picture}"}}}
"""
    scenes = scenes_of(tmp_path, give=text)
    assert scenes.errors == []
    filled = scenes.filled("give", {"picture": "titles"})
    assert filled.steps[0].head.say == "set stations director sees to titles"
    for args, says in (
        ({"pictur": "wide"}, 'give takes no "pictur".'),
        ({"picture": "wdie"}, 'The argument picture is a source, not "wdie".'),
        ({"station": "bench"}, "With these arguments give can't run: "),
    ):
        with pytest.raises(RefusedError) as no:
            scenes.filled("give", args)
        assert str(no.value).startswith(says)


TOP = "scene: Slip\nsteps:\n"
GOLDEN = Path(__file__).parents[1] / "golden" / "scene_slips.txt"
SLIPS = re.findall(r"^== (.+)\n((?:.*\n)+?)-> (.+)$", GOLDEN.read_text(), re.MULTILINE)


@pytest.mark.parametrize(("text", "says"), [row[1:] for row in SLIPS], ids=[row[0] for row in SLIPS])
def test_a_slip_is_told_once_with_its_place_and_its_remedy(tmp_path: Path, text: str, says: str) -> None:
    @virtual
    async def story() -> None:
        scenes = scenes_of(tmp_path, slip=text)
        assert scenes.scenes == {}
        assert [str(error).removeprefix(f"{tmp_path}/slip.yaml:") for error in scenes.errors] == [says]

    story()


@virtual
async def test_all_slips_are_told_at_once_and_the_sound_scene_beside_stays(tmp_path: Path) -> None:
    bad = TOP + "  - check: iso-9 remote is yes\n  - pause: soon\n  - {do: iso-1 format, with: {slot: 1}}\n"
    scenes = scenes_of(tmp_path, slip=bad, sound=TOP + "  - pause: 1 s\n")
    assert list(scenes.scenes) == ["sound"]
    assert [error.line for error in scenes.errors] == [3, 4, 5]
    assert len(SLIPS) > 25
    with pytest.raises(RefusedError, match=r"The scene slip can't be read: .*slip.yaml:3:12"):
        scenes.find("slip")


@virtual
async def test_site_files_and_what_simulators_read_are_no_scenes(tmp_path: Path) -> None:
    scenes = scenes_of(tmp_path, hall="site: Tidewater Hall\ndevices: {}\n")
    (tmp_path / "hall.sim.yaml").write_text("devices: {}\n")
    scenes.load()
    assert (scenes.scenes, scenes.errors) == ({}, [])


@virtual
async def test_the_shipped_scenes_are_read() -> None:
    scenes = Scenes(shipped(VirtualClock(asyncio.get_running_loop())), DEMO)
    scenes.load()
    assert scenes.errors == []
    assert list(scenes.scenes) == ["cut", "play-last-take", "program-only", "roll-all", "route-isos"]


@virtual
async def test_the_schema_knows_the_kinds_of_argument(tmp_path: Path) -> None:
    scenes = scenes_of(tmp_path)
    assert tuple(scenes._words.lists) == LISTS
    schema = scene_schema()
    assert schema["required"] == ["scene", "steps"]
    assert len(schema["$defs"]["step"]["anyOf"]) == 10
