"""Does a set-up file say what it means, and is a slip told once with its place and its remedy?

Source of all rows: own construction, from the file's form as the project writes it.
"""

from pathlib import Path

import pytest
import yaml

from stagectl.model.errors import RefusedError
from stagectl.shoot.setups.file import KEYS
from stagectl.shoot.setups.schema import setup_schema
from tests.driverkit.memory import virtual
from tests.shoot.hall import DEMO
from tests.shoot.setups.shelf import EVENING, kept

HEAD = "set-up: Slip\nwants:\n"
SLIPS = [
    # id, file, place and sentence
    ("a word nobody reads", "set-up: Slip\nwnts: {}\n", "2:1 wnts: nobody reads this. Say wants."),
    ("no name", "wants: {mixer: {strip 1 muted: yes}}\n", "1:1 set-up: this is missing. Add it."),
    ("nothing is wanted", "set-up: Slip\n", "1:1 wants: this is missing. Add it."),
    (
        "nobody",
        HEAD + "  mixr: {strip 1 muted: yes}\n",
        '3:3 wants.mixr: there is no device, part or group "mixr". Perhaps you mean mixer.',
    ),
    (
        "a group alone",
        HEAD + "  iso: {record codec: x}\n",
        '3:3 wants.iso: iso is a group. Say "every iso" or "any iso".',
    ),
    (
        "no such point",
        HEAD + "  mixer: {strip 1 mutd: yes}\n",
        '3:11 wants.mixer.strip 1 mutd: mixer has no point "strip 1 mutd". Perhaps you mean strip {strip} muted.',
    ),
    (
        "a wrong word",
        HEAD + "  mixer: {strip 1 muted: perhaps}\n",
        "3:26 wants.mixer.strip 1 muted: strip 1 muted is yes or no, not 'perhaps'.",
    ),
    (
        "out of range",
        HEAD + "  mixer: {strip 1 level: 12 dB}\n",
        "3:26 wants.mixer.strip 1 level: strip 1 level can't be 12: it goes from -138 to 10 dB.",
    ),
    (
        "a source that is nowhere",
        HEAD + "  paths: {iso-1 shows: wid}\n",
        '3:24 wants.paths.iso-1 shows: There is no picture source "wid". Perhaps you mean wide.',
    ),
    (
        "a slate is no state",
        HEAD + "  takes: {next name: Third}\n",
        "3:3 wants.takes: a set-up wants nothing of takes. Write a scene.",
    ),
    (
        "the same point through two groups",
        HEAD + "  every iso: {record codec: a}\n  every recorder: {record codec: b}\n",
        (
            "4:34 wants.every recorder.record codec: iso-1 record codec is wanted twice, first in line 3. "
            "Keep one, or write a row of its own."
        ),
    ),
    (
        "a part that is not there",
        "set-up: Slip\nincludes: [evenin]\n",
        '2:12 includes.1: there is no set-up "evenin". Perhaps you mean evening.',
    ),
    (
        "held without a point",
        HEAD + "  mixer: {strip 1 muted: yes}\nhold: [mixer]\n",
        "4:8 hold.1: no point of mixer is named. Say mixer, its point and what you claim of it.",
    ),
]


@pytest.mark.parametrize(("text", "says"), [row[1:] for row in SLIPS], ids=[row[0] for row in SLIPS])
def test_a_slip_is_told_once_with_its_place_and_its_remedy(tmp_path: Path, text: str, says: str) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING, slip=text)
        path = tmp_path / "setups" / "slip.yaml"
        told = [str(error).removeprefix(f"{path}:") for error in own.setups.shelf.errors]
        assert any(one.startswith(says.partition(": ")[0]) for one in told), told
        assert [one for one in told if says in one] == [says], told
        assert list(own.setups.shelf.setups) == ["evening"]  # the others can be used
        with pytest.raises(RefusedError, match="can't be read"):
            own.setups.shelf.find("slip")

    story()


@virtual
async def _part_in_part(folder: Path) -> None:
    own = kept(
        folder,
        evening=EVENING,
        late="set-up: Late\nincludes: [evening]\nwants: {mixer: {strip 3 level: off}, iso-1: {record codec: vc3-45}}\n",
        last="set-up: Last one\nincludes: [late, evening]\n",
    )
    assert own.setups.shelf.errors == []
    wants = {pair: one.value for pair, one in own.setups.shelf.setups["last"].wants.items()}
    assert wants["iso-1", "record.codec"] == "vc3-90"  # the later part goes before the earlier one
    late = own.setups.shelf.find("late").wants
    assert (late["mixer", "strip.3.level"].value, late["mixer", "strip.3.level"].setup) == ("off", "late")
    assert (late["mixer", "strip.1.muted"].value, late["mixer", "strip.1.muted"].setup) == (True, "evening")
    assert (late["iso-1", "record.codec"].value, late["iso-2", "record.codec"].value) == ("vc3-45", "vc3-90")
    assert own.setups.shelf.find("LAST ONE").name == "last"
    assert own.setups.shelf.find("eve").name == "evening"
    with pytest.raises(RefusedError, match=r'"la" may be last or late\.'):
        own.setups.shelf.find("la")


def test_a_part_is_included_and_overridden(tmp_path: Path) -> None:
    _part_in_part(tmp_path)


def test_parts_that_include_each_other_are_told(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, a="set-up: A\nincludes: [b]\n", b="set-up: B\nincludes: [a]\n")
        assert {error.problem for error in own.setups.shelf.errors} == {
            "a includes b includes a.",
            "b includes a includes b.",
        }

    story()


def test_a_file_stands_beside_the_scenes_too_and_two_of_a_name_are_told(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        (tmp_path / "evening.yaml").write_text(EVENING)
        (tmp_path / "scene.yaml").write_text("scene: x\nsteps: []\n")
        own = kept(tmp_path, evening=EVENING)
        assert [error.problem for error in own.setups.shelf.errors] == [f"{tmp_path}/evening.yaml has this name too."]
        assert list(own.setups.shelf.setups) == ["evening"]

    story()


def test_a_row_of_the_device_goes_before_that_of_its_group_wherever_it_stands(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(
            tmp_path,
            a="set-up: A\nwants:\n  iso-1: {record codec: x}\n  every iso: {record codec: y}\n",
            b="set-up: B\nwants:\n  every iso: {record codec: y}\n  iso-1: {record codec: x}\n",
        )
        for name in "ab":
            wants = own.setups.shelf.find(name).wants
            assert [wants[device, "record.codec"].value for device in ("iso-1", "iso-2")] == ["x", "y"]

    story()


def test_the_schema_has_the_words_the_reader_reads_and_the_shipped_files_use() -> None:
    """The files are read by PyYAML's own loader, not by ours."""
    schema = setup_schema()
    files = sorted((DEMO / "setups").glob("*.yaml"))
    assert len(files) == 4
    assert schema["additionalProperties"] is False
    assert tuple(schema["properties"]) == KEYS
    for path in files:
        found = yaml.load(path.read_text(), yaml.BaseLoader)
        assert set(schema["required"]) <= set(found) <= set(schema["properties"])
