"""Are levels, pan, mutes and indexes of the text mixer turned as the sheet's table says?"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.capabilities.mixer import MIXER
from stagectl.model.points import Level
from stagectl_drivers.mixer_text.profile import SIXTEEN_STRIPS, Scale, read_pan, write_pan
from tests.vectors.mixer_text import READ_LEVELS, WRITTEN_LEVELS

SCALE = Scale()


@pytest.mark.parametrize(("wire", "level"), READ_LEVELS)
def test_a_level_is_read_as_the_table_says(wire: int, level: Level) -> None:
    assert SCALE.read(wire) == level


@pytest.mark.parametrize(("level", "wire", "source"), WRITTEN_LEVELS)
def test_a_level_is_written_as_the_table_says(level: Level, wire: int, source: str) -> None:
    assert SCALE.write(level) == wire, source


@pytest.mark.parametrize("wire", [-32769, "-20.0", ""])
def test_a_level_off_the_scale_is_not_guessed(wire: int | str) -> None:
    with pytest.raises(ValueError, match=r".|^$"):
        SCALE.read(wire)


@given(st.integers(-13800, 1000) | st.just(-32768))
def test_every_step_comes_back_as_it_was(wire: int) -> None:
    assert SCALE.write(SCALE.read(wire)) == wire


@given(st.integers(-63, 63))
def test_every_pan_step_comes_back_as_it_was(wire: int) -> None:
    assert write_pan(read_pan(wire)) == wire


@pytest.mark.parametrize("wire", [-64, 64, "L"])
def test_a_pan_beyond_the_sides_is_not_guessed(wire: int | str) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_pan(wire)


def test_sixteen_strips_have_the_points_of_a_mixer_and_no_path_twice() -> None:
    addresses = SIXTEEN_STRIPS.addresses(16, 8)
    assert len(addresses) == 16 * (4 + 1 + 8) + 8 * 3  # level, muted, name, pan; meter; sends; bus level, muted, name
    assert len({(one.parameter.path, one.x, one.y) for one in addresses}) == len(addresses)
    assert len({one.point.name for one in addresses}) == len(addresses)
    for one in addresses:
        assert MIXER.point(one.point.name) == one.point


def test_a_mixer_of_another_size_has_as_many_points() -> None:
    assert len(SIXTEEN_STRIPS.addresses(4, 2)) == 4 * (5 + 2) + 2 * 3
