"""What does the teller say of a house, fact by fact?

Source: own construction, after the rows of the wording's golden file.
"""

from collections.abc import AsyncIterator
from datetime import UTC
from pathlib import Path

import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.recorder import TRANSPORT
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot.house import Wish
from stagectl.shoot.teller import Teller
from tests.house import Toys, toy_house

DESK = Person("desk", Role.OPERATOR)
WITHIN_S = 10.0


class Told:
    """A house and its teller."""

    def __init__(self, toys: Toys) -> None:
        self.toys = toys
        self.teller = Teller(toys.house, UTC)

    async def ask(self, verb: str, **args: object) -> Group:
        group = await self.toys.house.submit(Wish(DESK, "test", "takes", verb, args))
        await group.wait(WITHIN_S)
        return group

    async def until_said(self, text: str) -> None:
        await self.toys.until(lambda: text in self.teller.state())

    def wrong(self) -> list[tuple[str, str, str]]:
        return [(row.device, row.say, row.grade) for row in self.teller.wrong()]


@pytest.fixture
async def told(tmp_path: Path) -> AsyncIterator[Told]:
    async with toy_house(tmp_path) as toys:
        yield Told(toys)


async def test_a_whole_house_is_ready(told: Told) -> None:
    await told.until_said("Ready: 3 of 3 can roll. 2 h 0 min left on the shortest medium, Rec 1.")
    assert told.wrong() == []
    assert told.teller.last() == ""


async def test_recorders_that_can_roll_are_not_called_ready_while_a_check_of_the_line_up_fails(told: Told) -> None:
    await told.until_said("Ready: 3 of 3 can roll.")
    told.toys.boxes["iso-2"].change({"input.present": False})
    await told.until_said("Not ready: 1 check fails, see the line-up. 3 of 3 can roll.")
    told.toys.boxes["iso-2"].change({"input.present": True})
    await told.until_said("Ready: 3 of 3 can roll.")


@pytest.mark.parametrize(
    ("points", "state", "wrong"),
    [
        ({"slot.1.state": "empty"}, "Rec 2 has no medium", "Rec 2 can't roll: it has no medium."),
        ({"transport": "playing"}, "Rec 2 plays", "Rec 2 can't roll: it plays."),
        ({"slot.1.state": "error"}, "Rec 2 has a medium in error", "Rec 2: a medium is in error since"),
        ({"remote": False}, "Rec 2 has remote off", "Rec 2: remote is off since"),
    ],
)
async def test_what_keeps_a_recorder_from_rolling_is_told(
    told: Told, points: dict[str, object], state: str, wrong: str
) -> None:
    told.toys.boxes["iso-2"].change(points)
    await told.until_said(f"Not ready: {state}. 2 of 3 can roll.")
    ((device, say, grade),) = told.wrong()
    assert (device, grade) == ("iso-2", "soon")
    assert say.startswith(wrong)
    (row,) = told.teller.wrong()
    assert row.remedy.endswith(".")


async def test_a_box_that_is_gone_is_told_with_its_time(told: Told) -> None:
    await told.toys.boxes["iso-3"].close()
    await told.until_said("Not ready: Rec 3 is not reached.")
    ((device, say, grade),) = told.wrong()
    assert (device, grade) == ("iso-3", "soon")
    assert say.startswith("Rec 3 is not reached since ")
    (row,) = told.teller.wrong()
    assert row.since is not None
    assert f"{row.since:%H:%M:%S}" in say


async def test_all_that_is_missing_is_counted(told: Told) -> None:
    for name in ("iso-1", "iso-3"):
        told.toys.boxes[name].change({"slot.1.state": "empty"})
    await told.until_said("Not ready: Rec 1 has no medium, and 1 more can't roll. 1 of 3 can roll.")


async def test_a_take_that_rolls_whole_is_told_with_its_length(told: Told) -> None:
    group = await told.ask("roll")
    assert told.teller.group(group).startswith("Take 1 rolls on 3 of 3")
    assert told.teller.state().startswith("Take 1 rolls on 3 of 3. 00:00:0")
    assert told.teller.box(group.commands[0]) == "Rec 1 rolls."


async def test_a_recorder_that_is_stopped_at_its_front_is_told(told: Told) -> None:
    await told.ask("roll")
    told.toys.boxes["iso-2"].tell(transport="stopped")
    await told.until_said("Take 1 rolls on 2 of 3. Rec 2 stopped at ")
    assert told.teller.state().endswith(" at its front.")
    ((device, _, grade),) = told.wrong()
    assert (device, grade) == ("iso-2", "now")
    assert told.teller.wrong()[0].remedy == "To roll it again: stagectl roll iso-2"


async def test_a_recorder_that_is_lost_from_view_is_not_counted_as_rolling(told: Told) -> None:
    await told.ask("roll")
    await told.toys.boxes["iso-2"].close()
    await told.until_said("Take 1 rolls on 2 of 3. Rec 2 not seen for ")
    assert told.teller.state().endswith("; it rolled when last seen.")
    assert [(device, grade) for device, _, grade in told.wrong()] == [("iso-2", "now")]


async def test_a_cut_and_a_second_roll_say_no_no_of_a_deck_that_may_roll_on_out_of_reach(told: Told) -> None:
    await told.ask("roll")
    await told.toys.boxes["iso-2"].close()
    await told.until_said("Rec 2 not seen for ")
    cut = await told.ask("cut", take=1)
    await told.toys.until(lambda: told.toys.house.takes.open is None)
    assert told.teller.group(cut) == "Take 1 ended on 2 of 3, of 1 it is not known."
    assert told.teller.box(cut.commands[1]) == (
        "Rec 2: not known if it stopped. It is not reached, and may roll on. "
        "Look at its front, and check its power and network cable."
    )
    group = await told.ask("roll")
    say = told.teller.box(group.commands[1])
    assert say == (
        "Rec 2: not known if it rolls. It is not reached, and rolled when last seen. "
        "Look at its front, and check its power and network cable."
    )
    verdict = group.commands[1].verdict
    assert verdict is not None
    assert verdict.ended is Ended.UNCONFIRMED
    assert told.teller.outcome("iso-2", "roll", verdict) == "not known if it rolls"
    assert told.teller.state() == (
        "Take 2 rolls on 2 of 3. Rec 2: not known if it rolls. It is not reached, and rolled when last seen."
    )


async def test_a_timecode_that_stands_still_comes_first(told: Told) -> None:
    await told.ask("roll")
    toy = told.toys.boxes["iso-1"]
    toy._frames = -1_000_000  # its label says the same from here on
    toy._label = lambda: "01:00:09:00"  # type: ignore[method-assign]
    await told.until_said("Take 1: Rec 1 says it rolls, but its timecode stands still since ")


async def test_a_medium_that_fills_is_told_while_it_records(told: Told) -> None:
    await told.ask("roll")
    told.toys.boxes["iso-1"].change({"slot.1.left": 540})
    await told.toys.until(lambda: bool(told.wrong()))
    assert told.wrong() == [("iso-1", "Rec 1 will be full in about 9 min.", "soon")]
    told.toys.boxes["iso-1"].change({"slot.1.left": 170})
    await told.toys.until(lambda: told.wrong()[0][2] == "now")


async def test_an_input_without_picture_is_told(told: Told) -> None:
    told.toys.boxes["iso-1"].change({"input.present": False})
    await told.toys.until(lambda: bool(told.wrong()))
    assert told.wrong() == [("iso-1", "Rec 1 has no input picture.", "soon")]


async def test_an_ended_take_is_told_with_its_length(told: Told) -> None:
    await told.ask("roll")
    group = await told.ask("cut", take=1)
    assert told.teller.group(group) == "Take 1 ended on 3 of 3."
    await told.toys.until(lambda: told.toys.house.takes.open is None)
    assert told.teller.last().startswith("Take 1 ended on 3 of 3 at ")
    assert told.teller.state().startswith("Ready: 3 of 3 can roll.")


async def test_a_cut_without_a_number_is_told_the_right_one(told: Told) -> None:
    assert str(told.teller.unnamed_cut()) == "Nothing rolls: there is no take to end."
    await told.ask("roll")
    refused = told.teller.unnamed_cut()
    assert str(refused) == "Take 1 rolls on 3 recorders since 0 s."
    assert told.teller.refusal(refused).endswith("To end it: stagectl cut 1")


async def test_a_refusal_is_told_with_what_to_do(told: Told) -> None:
    with pytest.raises(RefusedError) as refused:
        await told.ask("roll", on="nobody")
    text = told.teller.refusal(refused.value)
    assert text.startswith('There is no device, group or part "nobody".')
    assert text.endswith(".")


async def test_the_daemons_own_trouble_comes_first(told: Told) -> None:
    told.toys.boxes["iso-1"].change({"input.present": False})
    told.toys.house.trouble["journal"] = "The journal can't be written."
    await told.toys.until(lambda: len(told.wrong()) == 2)
    assert told.wrong()[0] == ("", "The journal can't be written.", "now")


async def test_a_device_in_quarantine_says_how_to_take_it_back(told: Told) -> None:
    told.toys.house.devices.quarantined["hall"] = "its driver failed 4 times in 60 s, last: slip"
    (row,) = told.teller.wrong()
    assert row.say == "Hall router is left alone: its driver failed 4 times in 60 s, last: slip."
    assert "POST /api/v1/devices/hall/retry" in row.remedy


async def test_a_stale_transport_is_not_proof(told: Told) -> None:
    await told.ask("roll")
    await told.toys.boxes["iso-1"].close()
    await told.toys.until(lambda: told.toys.house.board.get("iso-1", TRANSPORT).quality is Quality.STALE)
    assert "rolls on 2 of 3" in told.teller.state()


async def test_a_silent_recorder_of_the_take_stays_not_seen_while_its_link_comes_and_goes(told: Told) -> None:
    await told.ask("roll")
    toy = told.toys.boxes["iso-2"]
    toy.silent = True
    toy.drop()  # it takes new connections, and answers nothing on them
    box = told.toys.house.boxes["iso-2"]
    await told.toys.until(lambda: box.counts.connects == 2 and box.up and not box.adopted)
    assert told.teller.state().startswith("Take 1 rolls on 2 of 3. Rec 2 not seen for ")
    ((device, say, grade),) = told.wrong()
    assert (device, grade) == ("iso-2", "now")
    assert say.startswith("Rec 2 is not reached since ")


async def test_a_box_that_answers_as_another_is_not_driven(told: Told) -> None:
    box = told.toys.house.boxes["iso-2"]
    box._expect = {"identity.model": "Another"}
    told.toys.boxes["iso-2"].drop()
    await told.toys.until(
        lambda: box.counts.connects == 2 and bool(told.wrong()) and "another box" in told.wrong()[0][1]
    )
    (row,) = told.teller.wrong()
    assert row.say == 'Rec 2 is not driven: it answers as another box: model "Toy", the site says "Another".'
    assert row.remedy == "Check its address in the site file."
