"""Does every door get the same house: who is meant, one press one take, and nothing done twice or for the wrong person?

Source of all rows: own construction, from the rules of the house (ids, roll and cut, warm rolls, names).
"""

import asyncio
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.recorder import REMOTE, SLOT_STATE, TRANSPORT, Roll, SlotState, Transport
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended, Verb
from stagectl.shoot.house import House, Wish
from stagectl.shoot.takes import NEXT_NAME
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import PretendBox, house

INES = Person("ines", Role.OPERATOR)
TOMAS = Person("tomas", Role.ENGINEER)
ADA = Person("ada", Role.VIEWER)
_BASE32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # of time-ordered ids: Crockford's digits, 48 bits of milliseconds first


def _born(at: datetime) -> str:
    number = int(at.timestamp() * 1000) << 80
    return "".join(_BASE32[number >> shift & 31] for shift in range(125, -1, -5))


class Press:
    """The hall's house, and somebody at its doors."""

    def __init__(self) -> None:
        self.own: House = house(VirtualClock(asyncio.get_running_loop()))

    def box(self, name: str) -> PretendBox:
        box: Any = self.own.boxes[name]
        assert isinstance(box, PretendBox)
        return box

    def sent(self, *names: str) -> list[list[Verb]]:
        return [self.box(name).sent for name in names or ("iso-1", "iso-2")]

    async def __call__(
        self,
        target: str,
        verb: str,
        args: Mapping[str, Any] | None = None,
        *,
        by: Person = INES,
        id: str = "",  # noqa: A002
    ) -> Group:
        return await self.own.submit(Wish(by, "test", target, verb, args or {}, id))

    async def ended(
        self,
        target: str,
        verb: str,
        args: Mapping[str, Any] | None = None,
        *,
        by: Person = INES,
        id: str = "",  # noqa: A002
    ) -> Group:
        group = await self(target, verb, args, by=by, id=id)
        assert await group.wait(30)
        await asyncio.sleep(0.5)
        return group


def ends(group: Group) -> dict[str, str]:
    return {
        command.ask.target: f"{command.verdict.ended} {command.verdict.code}".strip()
        for command in group.commands
        if command.verdict is not None
    }


# -- roll and cut --------------------------------------------------------------------------------------------------


@virtual
async def test_roll_and_cut() -> None:
    press = Press()
    group = await press.ended("takes", "roll", {"name": "Masterclass"})
    assert (ends(group), group.take) == ({"iso-1": "verified", "iso-2": "verified"}, 1)
    take = press.own.takes.open
    assert take is not None
    assert (take.number, take.name, take.by, take.rolling) == (1, "Masterclass", "ines", ["iso-1", "iso-2"])
    group = await press.ended("takes", "cut", {"take": 1})
    assert (ends(group), group.take) == ({"iso-1": "verified", "iso-2": "verified"}, 1)
    assert press.own.takes.takes[1].closed is not None


@virtual
async def test_two_presses_of_roll_are_one_take_and_one_record_command() -> None:
    press = Press()
    first = await press("takes", "roll")
    second = await press("takes", "roll", by=TOMAS)
    for group in (first, second):
        assert await group.wait(30)
        assert group.worst is Ended.VERIFIED
    third = await press.ended("takes", "roll")
    assert [verdict.moot for verdict in third.verdicts] == [True, True]
    assert [len(verbs) for verbs in press.sent()] == [1, 1]
    assert (list(press.own.takes.takes), third.take) == ([1], 1)


@virtual
async def test_one_deck_rolled_while_a_take_runs_joins_it() -> None:
    press = Press()
    await press.ended("iso-1", "roll", {"name": "Masterclass"})
    group = await press.ended("Box iso-2", "roll")
    assert (group.take, ends(group)) == (1, {"iso-2": "verified"})
    assert press.own.takes.takes[1].wanted == ("iso-1", "iso-2")
    assert press.sent("iso-2") == [[Roll("T001_Masterclass_iso-2")]]


@virtual
async def test_a_cut_of_another_take_sends_nothing_and_names_the_one_that_runs() -> None:
    press = Press()
    await press.ended("takes", "roll")
    with pytest.raises(RefusedError, match="Take 4 is not running: take 1 is"):
        await press("takes", "cut", {"take": 4})
    with pytest.raises(RefusedError, match="cut needs take"):
        await press("takes", "cut")
    assert [len(verbs) for verbs in press.sent()] == [1, 1]


@virtual
async def test_a_cut_of_one_deck_leaves_the_others_rolling() -> None:
    press = Press()
    await press.ended("takes", "roll")
    group = await press.ended("iso-2", "cut", {"take": 1})
    assert ends(group) == {"iso-2": "verified"}
    assert press.own.takes.takes[1].rolling == ["iso-1"]
    again = await press.ended("iso-2", "cut", {"take": 1})
    assert ends(again) == {"iso-2": "failed take"}
    assert len(press.box("iso-2").sent) == 2


@virtual
async def test_a_cut_ends_the_take_over_a_deck_that_cannot_be_seen() -> None:
    press = Press()
    await press.ended("takes", "roll")
    press.box("iso-2").up = False
    press.box("iso-2").writer.lost()
    group = await press.ended("takes", "cut", {"take": 1})
    assert ends(group) == {"iso-1": "verified", "iso-2": "unconfirmed no-link"}
    take = press.own.takes.takes[1]
    assert take.closed is not None
    assert take.unseen == ("iso-2",)


@virtual
async def test_a_recorder_that_is_the_first_to_stop_at_a_cut_has_not_left_its_take() -> None:
    press = Press()
    await press.ended("takes", "roll")
    press.box("iso-2").deaf = True
    group = await press("takes", "cut", {"take": 1})
    await asyncio.sleep(1.0)
    assert press.own.takes.takes[1].rolling == ["iso-2"]
    press.box("iso-2").has(TRANSPORT, Transport.STOPPED)
    assert await group.wait(30)
    await asyncio.sleep(0.5)
    assert ends(group) == {"iso-1": "verified", "iso-2": "verified"}
    assert press.own.alarms.everything() == []


@virtual
async def test_a_recorder_that_stopped_alone_at_a_cut_has_left_its_take_once_that_is_judged() -> None:
    press = Press()
    await press.ended("takes", "roll")
    press.box("iso-2").deaf = True
    group = await press.ended("takes", "cut", {"take": 1})
    assert ends(group) == {"iso-1": "verified", "iso-2": "failed seen-otherwise"}
    assert [alarm.id for alarm in press.own.alarms.everything()] == ["iso-1.stopped"]


@virtual
async def test_a_cut_of_which_no_byte_could_leave_ends_the_take_too() -> None:
    press = Press()
    await press.ended("takes", "roll")
    for name in ("iso-1", "iso-2"):
        press.box(name).up = False
        press.box(name).writer.lost()
    group = await press.ended("takes", "cut", {"take": 1})
    assert ends(group) == {"iso-1": "unconfirmed no-link", "iso-2": "unconfirmed no-link"}
    assert press.own.takes.takes[1].unseen == ("iso-1", "iso-2")


@virtual
async def test_a_wish_for_some_recorders_names_them_in_words() -> None:
    press = Press()
    group = await press.ended("takes", "roll", {"on": ["iso-1", "iso-2"]})
    assert group.say == "roll on iso-1, iso-2"


@virtual
async def test_four_of_five_names_the_missing_deck_and_the_take_wants_it() -> None:
    press = Press()
    press.box("iso-2").deaf = True
    group = await press.ended("takes", "roll")
    assert (group.count, ends(group)) == ("1 of 2", {"iso-1": "verified", "iso-2": "failed seen-otherwise"})
    take = press.own.takes.open
    assert take is not None
    assert (take.wanted, take.rolling) == (("iso-1", "iso-2"), ["iso-1"])


@virtual
async def test_a_press_of_which_nothing_left_names_no_take() -> None:
    for by in (ADA, INES):
        press = Press()
        for name in ("iso-1", "iso-2"):
            press.box(name).has(REMOTE, by is ADA)
        await asyncio.sleep(0.5)
        group = await press.ended("takes", "roll", {"name": "Masterclass"}, by=by)
        assert group.worst is Ended.FAILED
        assert press.sent() == [[], []]
        press.box("iso-1").has(TRANSPORT, Transport.RECORDING)  # at its front, a moment later
        await asyncio.sleep(0.5)
        take = press.own.takes.open
        assert take is not None
        assert (take.name, take.by, take.wanted) == ("", "box", ())


# -- kept warm -----------------------------------------------------------------------------------------------------


async def told(press: Press) -> tuple[Any, ...]:
    group = await press.ended("takes", "roll")
    take = press.own.takes.open
    return (
        press.sent(),
        ends(group),
        [verdict.why for verdict in group.verdicts],
        (take.number, take.name, take.by, take.wanted) if take is not None else None,
        [(command.ask.id, command.ask.who, command.ask.inlet, command.ask.take) for command in group.commands],
    )


@virtual
async def test_a_warm_roll_equals_a_cold_one() -> None:
    cold, warm = Press(), Press()
    warm.own.takes._changed()
    for press in (cold, warm):
        press.box("iso-2").deaf = True
    await asyncio.sleep(1)
    assert warm.own._kept_key is not None
    cold.own._kept_key = None
    assert await told(warm) == await told(cold)


@virtual
async def test_a_warm_roll_is_made_anew_after_a_new_slate_and_after_a_link_changed() -> None:
    press = Press()
    press.own.takes._changed()
    await asyncio.sleep(1)
    first = press.own._kept
    await press.ended("takes", "set", {"point": "next.name", "value": "Encore"})
    assert press.own._kept_key == (1, "Encore")
    second = press.own._kept
    press.own.link_changed("iso-1")
    press.own.link_changed("hall")
    await asyncio.sleep(1)
    third = press.own._kept
    assert len({id(one) for one in (first, second, third)}) == 3
    for old in (first, second):
        assert not any(turn in reading.turns for turn in old._turns for reading in turn.readings)
    await press.ended("takes", "roll")
    assert press.sent() == [[Roll("T001_Encore_iso-1")], [Roll("T001_Encore_iso-2")]]
    assert press.own.takes.takes[1].name == "Encore"


@virtual
async def test_a_press_between_a_new_slate_and_the_next_warm_roll_has_the_new_name() -> None:
    press = Press()
    press.own.takes._changed()
    await asyncio.sleep(1)
    assert press.own._kept_key is not None
    group = await press("takes", "set", {"point": "next.name", "value": "Encore"})
    rolled = await press("takes", "roll")
    assert await group.wait(30)
    assert await rolled.wait(30)
    assert press.sent()[0] == [Roll("T001_Encore_iso-1")]


@virtual
async def test_a_roll_of_some_takes_nothing_from_the_warm_roll_of_all() -> None:
    press = Press()
    press.own.takes._changed()
    await asyncio.sleep(1)
    await press.ended("iso-2", "roll")
    assert press.sent() == [[], [Roll("T001_iso-2")]]


@virtual
async def test_nothing_is_followed_for_a_warm_roll_of_a_take_that_is_over() -> None:
    press = Press()
    press.own.takes._changed()
    await asyncio.sleep(1)
    kept = following(press)
    for _ in range(3):
        await press.ended("takes", "roll")
        await press.ended("takes", "cut", {"take": press.own.takes.next_number - 1})
        await asyncio.sleep(1)
    assert following(press) == kept


def following(press: Press) -> dict[str, int]:
    readings = [(name, one) for name in ("iso-1", "iso-2") for one in press.own.board.points(name).values()]
    return {f"{name} {one.name}": len(one.watches) + len(one.turns) for name, one in readings}


@virtual
async def test_a_viewers_press_leaves_the_operators_roll_whole() -> None:
    press = Press()
    press.own.takes._changed()
    await asyncio.sleep(1)
    kept = following(press)
    assert ends(await press.ended("takes", "roll", by=ADA)) == {"iso-1": "failed role", "iso-2": "failed role"}
    await asyncio.sleep(1)
    assert following(press) == kept
    assert (await press.ended("takes", "roll")).worst is Ended.VERIFIED


# -- ids -----------------------------------------------------------------------------------------------------------


@virtual
async def test_the_same_id_through_two_doors_is_one_take() -> None:
    press = Press()
    first = await press("takes", "roll", id="roll-1")
    second = await press.own.submit(Wish(TOMAS, "mqtt", "takes", "roll", {}, "roll-1"))
    assert second is first
    assert await first.wait(30)
    assert (await press("takes", "roll", id="roll-1")) is first
    assert [len(verbs) for verbs in press.sent()] == [1, 1]


@virtual
async def test_the_same_id_pressed_while_the_first_waits_for_the_disk_is_one_act() -> None:
    press = Press()
    wishes = [press("hall", "set", {"point": "output 1 source", "value": 3}, id="route-1") for _ in range(2)]
    first, second = await asyncio.gather(*wishes)
    assert first is second
    assert await first.wait(30)
    assert len(press.box("hall").sent) == 1


@virtual
async def test_an_id_used_for_something_else_is_refused() -> None:
    press = Press()
    await press.ended("takes", "roll", id="roll-1")
    with pytest.raises(RefusedError, match='The id "roll-1" was used for something else: roll') as refused:
        await press("takes", "cut", {"take": 1}, id="roll-1")
    assert refused.value.code == "id-reused"
    assert [len(verbs) for verbs in press.sent()] == [1, 1]


@pytest.mark.parametrize("identifier", ["a b", "é", "x" * 65, "a/b", "a\n"])
def test_a_crooked_id_is_refused(identifier: str) -> None:
    @virtual
    async def story() -> None:
        press = Press()
        with pytest.raises(RefusedError, match="An id has 1 to 64 characters") as refused:
            await press("takes", "roll", id=identifier)
        assert refused.value.code == "id"
        assert press.sent() == [[], []]

    story()


@virtual
async def test_an_id_born_before_the_start_is_not_carried_out() -> None:
    press = Press()
    before = _born(press.own.world.clock.wall() - timedelta(seconds=1))
    group = await press("takes", "roll", id=before)
    assert (group.ended, group.worst) == (True, Ended.UNCONFIRMED)
    assert {verdict.code for verdict in group.verdicts} == {"born-before"}
    await asyncio.sleep(5)
    assert press.sent() == [[], []]
    assert (await press("takes", "roll", id=before)) is group
    assert press.own.takes.open is None


@virtual
async def test_a_client_whose_clock_is_two_hours_behind_is_not_taken_for_one_that_asks_again() -> None:
    press = Press()
    behind = _born(press.own.world.clock.wall() - timedelta(hours=2))
    assert (await press.ended("takes", "roll", id=behind)).worst is Ended.VERIFIED


@virtual
async def test_what_may_have_waited_while_we_stood_still_is_not_carried_out() -> None:
    press = Press()
    press.own.lag.due = press.own.world.clock.now() - 30.0  # the loop's own beat is so late
    with pytest.raises(RefusedError, match="stagectl stood still for 30 s") as refused:
        await press("takes", "roll", id="roll-1")
    assert refused.value.code == "stood-still"
    assert press.sent() == [[], []]
    assert press.own.takes.open is None
    press.own.lag.due = press.own.world.clock.now() - 1.0  # as late as a roll may be: it is still wanted
    assert (await press.ended("takes", "roll", id="roll-1")).worst is Ended.VERIFIED


@virtual
async def test_an_id_born_after_the_start_or_without_a_time_is_carried_out() -> None:
    press = Press()
    later = "7ZZZZZZZZZ0000000000000000"  # in the year 10889
    assert press.own.born_before(later) is None
    assert press.own.born_before("00000000000000000000000000"[:25]) is None
    assert press.own.born_before("00000000000000000000000I00") is None  # I is no digit of such an id
    group = await press.ended("takes", "roll", id="01-by-hand")
    assert group.worst is Ended.VERIFIED


# -- parts ---------------------------------------------------------------------------------------------------------


@virtual
async def test_the_next_takes_name_is_set_and_seen() -> None:
    press = Press()
    group = await press.ended("takes", "set", {"point": "next name", "value": "Encore"})
    assert ends(group) == {"takes": "verified"}
    assert press.own.board.get("takes", NEXT_NAME).value == "Encore"
    assert ends(await press.ended("takes", "set", {"point": "next name", "value": "Encore"})) == {"takes": "verified"}


@virtual
async def test_a_viewer_does_not_name_the_next_take() -> None:
    press = Press()
    group = await press.ended("takes", "set", {"point": "next name", "value": "Mine"}, by=ADA)
    assert ends(group) == {"takes": "failed role"}
    assert (press.own.takes.slate, press.own.board.get("takes", NEXT_NAME).value) == ("", "")


@virtual
async def test_a_viewers_route_holds_no_tie_line() -> None:
    press = Press()
    press.box("gallery").has(OUTPUT_SOURCE.at(2), 3)
    wanted = {"point": "program.shows", "value": "wide"}
    group = await press.ended("paths", "set", wanted, by=ADA)
    assert set(ends(group).values()) == {"failed role"}
    paths: Any = press.own.parts["paths"]
    assert paths._planned == {}
    assert (await press.ended("paths", "set", wanted)).worst is Ended.VERIFIED


# -- who is meant --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "found"),
    [
        ("iso-1", ["iso-1"]),
        (" iso-1 ", ["iso-1"]),
        ("iso", ["iso-1", "iso-2"]),
        ("takes", ["takes"]),
        ("Box iso-1", ["iso-1"]),
        ("BOX ISO-1", ["iso-1"]),
        ("Box\u00a0iso-1", ["iso-1"]),
        ("box mix", ["mixer"]),
        ("gal", ["gallery"]),
    ],
)
def test_a_word_means_a_device_a_group_or_a_part(word: str, found: list[str]) -> None:
    @virtual
    async def story() -> None:
        assert Press().own.resolve(word) == found

    story()


@pytest.mark.parametrize(
    ("word", "why"),
    [
        ("iso-", '"iso-" may be iso-1 or iso-2'),
        ("box iso", '"box iso" may be iso-1 or iso-2'),
        ("piano", 'There is no device, group or part "piano"'),
        ("", 'There is no device, group or part ""'),
    ],
)
def test_a_word_that_means_nobody_or_several_is_refused(word: str, why: str) -> None:
    @virtual
    async def story() -> None:
        press = Press()
        with pytest.raises(RefusedError) as refused:
            press.own.resolve(word)
        assert (str(refused.value).startswith(why), refused.value.code) == (True, "target")
        assert refused.value.remedy

    story()


@virtual
async def test_a_wish_for_nobody_or_nothing_is_refused_before_it_is_remembered() -> None:
    press = Press()
    for target, verb, args in (
        ("piano", "roll", {}),
        ("hall", "roll", {}),
        ("iso-1", "explode", {}),
        ("iso-1", "play", {"speed": "fast"}),
        ("hall", "set", {"point": "output 99 colour", "value": 1}),
        ("hall", "set", {"point": "output 1 source", "value": 0}),
        ("takes", "roll", {"on": "hall"}),
    ):
        with pytest.raises(RefusedError):
            await press(target, verb, args, id="wish-1")
    assert press.own.commands.groups == {}
    assert all(press.sent(*press.own.boxes)[at] == [] for at in range(len(press.own.boxes)))


@virtual
async def test_a_deck_without_medium_is_refused_and_the_other_rolls() -> None:
    press = Press()
    press.box("iso-1").has(SLOT_STATE.at(1), SlotState.EMPTY)
    group = await press.ended("iso", "roll")
    assert ends(group) == {"iso-1": "failed needs", "iso-2": "verified"}
    assert press.sent()[0] == []
