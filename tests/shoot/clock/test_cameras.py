"""Is a tracked camera that runs free on a moving head kept out of a set-up, and no other camera?"""

from dataclasses import replace
from pathlib import Path

import pytest

from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from stagectl.site import CameraEntry
from tests.driverkit.memory import virtual
from tests.shoot.setups.shelf import kept, press, sent

SETUP = "set-up: Tracked\nwants:\n  paths: {iso-1 shows: hands}\n"


@pytest.mark.parametrize(
    ("locked", "moves", "tracked", "refused"),
    [(False, True, True, True), (True, True, True, False), (False, False, True, False), (False, True, False, False)],
)
def test_a_set_up_that_would_swim_is_refused_and_nothing_is_sent(
    tmp_path: Path, *, locked: bool, moves: bool, tracked: bool, refused: bool
) -> None:
    @virtual
    async def story() -> None:
        own = kept(tmp_path, tracked=SETUP)
        cameras = {"hands": CameraEntry("hands", locked, moves, tracked, 1)}
        own.site = replace(own.site, cameras=cameras)
        if refused:
            with pytest.raises(RefusedError) as no:
                await press(own, "apply", setup="tracked")
            assert str(no.value) == (
                "Tracked shows hands, which is tracked on a moving head and runs free:"
                " pictures made over it would swim."
            )
            assert no.value.remedy.startswith("Give it the house's reference")
            assert sent(own, "hall") == []
        else:
            assert (await press(own, "apply", setup="tracked")).worst is Ended.VERIFIED

    story()
