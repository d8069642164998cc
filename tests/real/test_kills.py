"""Is a take lost when the daemon is killed at random? A few rounds here, 200 with `make kills`."""

from pathlib import Path

import pytest

from tests.real import kills
from tests.real.kills import Kills
from tests.real.planted import FORGETFUL, STOP_ON_CONNECT, planted
from tests.real.room import Room, acting

pytestmark = pytest.mark.timeout(180)


def test_five_kills_while_24_decks_roll_lose_nothing(tmp_path: Path) -> None:
    done = kills.run(tmp_path, 5, seed=3, say=lambda text: None)
    assert [one.wrong for one in done.rounds] == [[]] * 5, kills.table(done)
    assert all(one.looks for one in done.rounds)
    assert sum(one.rolled_on for one in done.rounds) >= 24
    assert done.acknowledged


@pytest.mark.parametrize(
    ("bug", "said"),
    [
        pytest.param(STOP_ON_CONNECT, "before it was adopted", id="stop on connect"),
        pytest.param(FORGETFUL, "and is now", id="journal not read"),
    ],
)
def test_a_bug_on_purpose_is_named(tmp_path: Path, bug: str, said: str) -> None:
    with Room(tmp_path, 2) as room:
        done = Kills(room, seed=3)
        room.start()
        assert room.post("roll", {"name": "Night"})[0] == 200
        done._take, done.acknowledged = 1, {1: "Night"}
        room.env = planted(tmp_path, bug)
        one = done._round(1)
        assert any(said in text for text in one.wrong), one


def test_requests_that_act_are_told_from_those_that_look() -> None:
    wire = ["notify:\\r\\ntransport: true\\r\\n\\r\\nremote\\r\\nslot info:\\r\\nslot id: 2\\r\\n\\r\\n"]
    assert acting(wire) == []
    wire += ["remote: enable: true\\r\\nslot select: slot id: 2\\r\\n"]
    wire += ["configuration:\\r\\naudio codec: PCM\\r\\n\\r\\nstop\\r\\n"]
    assert acting(wire) == ["remote: enable: true", "slot select: slot id: 2", "configuration:", "stop"]
