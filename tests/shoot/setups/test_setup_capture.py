"""Is what the boxes show kept in the file, a line a value, and nothing else of it touched?

Source: own construction. Lines are counted by difflib, an outside reader, as `git diff` would count them.
"""

import asyncio
import difflib
from pathlib import Path
from typing import Any

import pytest

from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED, STRIP_NAME
from stagectl.model.capabilities.recorder import CODEC
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.shoot.setups.verbs import STATE
from tests.driverkit.memory import virtual
from tests.shoot.setups.shelf import EVENING, capture, has, kept, press, records


def lines(before: str, folder: Path, name: str = "evening") -> list[str]:
    """What was taken out and put in."""
    after = (folder / "setups" / f"{name}.yaml").read_text(encoding="utf-8")
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[:2] in ("- ", "+ ")]


def test_one_value_that_changed_is_one_line(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        await press(own, "apply", setup="evening")
        has(own, "mixer", STRIP_LEVEL.at(3), -18.5)
        await asyncio.sleep(0.1)
        dry = await capture(own, "evening", dry=True)
        assert dry.say == "Evening: would change 1 value, in evening.yaml."
        assert lines(EVENING, tmp_path) == []
        done = await capture(own, "evening")
        assert done.say == "Evening: 1 value changed, in evening.yaml."
        assert lines(EVENING, tmp_path) == ["-     strip 3 level: -20 dB", "+     strip 3 level: -18.5 dB"]
        await asyncio.sleep(0.2)
        assert own.board.get("setups", STATE).value == "holds"  # the drift is what is wanted now
        assert own.setups.drifts == []
        (told,) = records(own, "captured")
        assert told["values"] == ["mixer strip 3 level: -18.5 dB, was -20 dB"]
        again = await capture(own, "evening")
        assert again.say == "Evening: nothing to write, the boxes show what it wants."

    story()


def test_a_row_of_a_group_stays_one_while_its_members_are_alike(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        for recorder in ("iso-1", "iso-2"):
            has(own, recorder, CODEC, "vc3-45")
        await capture(own, "evening", of="every recorder")
        assert lines(EVENING, tmp_path) == ["-     record codec: vc3-90", "+     record codec: vc3-45"]
        before = (tmp_path / "setups" / "evening.yaml").read_text()
        has(own, "iso-2", CODEC, "vc3-300")
        await capture(own, "evening", of="every recorder record codec")
        assert lines(before, tmp_path) == ["+   iso-2:", "+     record codec: vc3-300"]

    story()


def test_what_a_part_says_is_overridden_and_never_written_into_the_part(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        late = "set-up: Late # as the evening\nincludes: [evening]\n"
        own = kept(tmp_path, evening=EVENING, late=late)
        has(own, "mixer", STRIP_MUTED.at(1), True)
        has(own, "mixer", STRIP_LEVEL.at(3), -20.0)
        has(own, "mixer", STRIP_LEVEL.at(5), -7.0)
        await asyncio.sleep(0.1)
        await capture(own, "late", of="mixer")
        assert lines(late, tmp_path, "late") == ["+ wants:", "+   mixer:", "+     strip 5 level: -7 dB"]
        assert lines(EVENING, tmp_path) == []
        assert own.setups.plan("late", only="mixer").to_do == []

    story()


def test_a_new_set_up_is_made_of_what_is_chosen_and_applies_at_once(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        has(own, "mixer", STRIP_NAME.at(5), "Ben: violin, #2")
        await asyncio.sleep(0.1)
        with pytest.raises(RefusedError, match='There is no set-up "third-act"'):
            await capture(own, "third-act")
        done = await capture(own, "third-act", add=True, of="mixer strip 5, paths iso-1", called="Third act")
        assert done.say == "Third act: 6 values added, in third-act.yaml."
        text = (tmp_path / "setups" / "third-act.yaml").read_text()
        assert text.splitlines()[0] == "set-up: Third act"
        assert text.splitlines()[2:] == [
            "wants:",
            "  mixer:",
            "    strip 5 level: -10 dB",
            "    strip 5 muted: no",
            '    strip 5 name: "Ben: violin, #2"',
            "    strip 5 send 3 level: off",
            "    strip 5 send 4 level: off",
            "  paths:",
            "    iso-1 shows: stage-left",
        ]
        assert own.setups.shelf.errors == []
        assert own.setups.plan("third-act").to_do == []
        has(own, "mixer", STRIP_LEVEL.at(5), -30.0)
        assert len(own.setups.plan("third-act").to_do) == 1

    story()


def test_a_capture_of_all_leaves_out_what_a_destination_shows_already(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path)
        await capture(own, "everything", add=True)
        wants = own.setups.shelf.find("everything").wants
        assert ("paths", "iso-1.shows") in wants
        assert ("hall", OUTPUT_SOURCE.at(1).name) not in wants  # iso-1's crosspoint
        assert ("hall", OUTPUT_SOURCE.at(15).name) not in wants  # a tie-line
        assert ("hall", OUTPUT_SOURCE.at(7).name) in wants
        assert ("iso-1", "remote") not in wants
        assert own.setups.plan("everything").to_do == []

    story()


def test_versions_have_names_and_the_text_before_is_kept(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        has(own, "mixer", STRIP_LEVEL.at(3), -18.5)
        await capture(own, "evening", of="mixer strip 3", version="Before lunch")
        has(own, "mixer", STRIP_LEVEL.at(3), -3.0)
        await capture(own, "evening", of="mixer strip 3")
        shelf = own.setups.shelf
        assert shelf.versions(shelf.find("evening")) == ["before-lunch", "last"]
        level = ("mixer", "strip.3.level")
        assert shelf.find("evening").wants[level].value == -3.0
        assert shelf.find("evening@before-lunch").wants[level].value == -18.5
        assert shelf.find("evening@last").wants[level].value == -18.5
        group = await press(own, "apply", setup="evening@before-lunch", only="mixer strip 3")
        assert str(group.worst) == "verified"
        assert own.board.get("mixer", STRIP_LEVEL.at(3)).value == -18.5
        again = kept(tmp_path)
        again.setups.restore([entry.data for entry in own.chronicle.recent if entry.kind == "setup"])
        held = again.setups.held
        assert held is not None
        assert held.name == "evening@before-lunch"
        for name, why in [
            ("evening@lunch", 'Evening has no version "lunch".'),
            ("evening@../evening", 'Evening has no version "../evening".'),
        ]:
            with pytest.raises(RefusedError) as no:
                shelf.find(name)
            assert str(no.value) == why

    story()


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"version": "../../etc"}, 'A version is not called "../../etc".'),
        ({"version": "last"}, 'A version is not called "last".'),
        ({"name": "evening@last"}, "A version stays as it is."),
        ({"name": "../evening", "add": True}, 'A set-up\'s file is not called "../evening".'),
        ({"name": "new", "add": True, "of": "mixer strip 9"}, "There is nothing known that could be kept."),
        ({"of": "mixr"}, 'There is no device, group or part "mixr".'),
    ],
)
def test_what_can_not_be_kept_is_refused_and_nothing_is_written(tmp_path: Path, more: dict[str, Any], why: str) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        has(own, "mixer", STRIP_LEVEL.at(3), -18.5)
        with pytest.raises(RefusedError) as no:
            await capture(own, **{"name": "evening", **more})
        assert str(no.value) == why

    story()
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["evening.yaml"]
    assert lines(EVENING, tmp_path) == []


def test_a_value_that_is_not_known_stays_as_written_and_is_told(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        own.boxes["mixer"].writer.lost()
        done = await capture(own, "evening", of="mixer")
        assert done.told.unknown == ["mixer strip 1 muted", "mixer strip 3 level", "mixer strip 5 level"]
        assert done.say.endswith("3 values can't be told and stay as written.")
        assert lines(EVENING, tmp_path) == []

    story()


def test_a_person_who_wrote_meanwhile_loses_nothing(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        theirs = EVENING.replace("wants:\n", "about: theirs\nwants:\n\n")
        (tmp_path / "setups" / "evening.yaml").write_text(theirs)
        has(own, "mixer", STRIP_LEVEL.at(3), -18.5)
        await capture(own, "evening", of="mixer strip 3")
        assert lines(theirs, tmp_path) == ["-     strip 3 level: -20 dB", "+     strip 3 level: -18.5 dB"]
        (tmp_path / "setups" / "evening.yaml").write_text("set-up: [\n")
        with pytest.raises(RefusedError, match=r"The set-up evening can't be read"):
            await capture(own, "evening", add=True)
        assert (tmp_path / "setups" / "evening.yaml").read_text() == "set-up: [\n"

    story()


def test_a_disk_that_refuses_is_told(tmp_path: Path) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, evening=EVENING)
        (tmp_path / "setups" / "versions").write_text("in the way")
        has(own, "mixer", STRIP_LEVEL.at(3), -18.5)
        with pytest.raises(RefusedError, match=r"evening\.yaml can't be written: ") as no:
            await capture(own, "evening", of="mixer")
        assert no.value.code == "unwritten"
        assert lines(EVENING, tmp_path) == []

    story()
