"""Is a take played back at a station, picture and sound, never on a recorder that rolls, and is all of it put back?"""

import asyncio
import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from stagectl.control.access import Lock, Person, Role
from stagectl.control.groups import Group
from stagectl.model.capabilities.mixer import SEND_LEVEL, STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import (
    SLOT_ACTIVE,
    TIMECODE,
    TRANSPORT,
    Cue,
    Play,
    Roll,
    Stop,
    Transport,
)
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.playback.verbs import STATE, TAKE, State
from stagectl.shoot.stations import HEARS
from stagectl.site import Level, Site
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import shipped

INES = Person("ines", Role.OPERATOR)
DECKS = ("iso-1", "iso-2", "iso-3", "iso-4", "mix-rec")


async def until(true: Callable[[], bool]) -> None:
    for _ in range(20_000):
        if true():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("not seen in 200 s of virtual time")


async def ask(own: House, verb: str, **args: Any) -> Group:
    group = await own.submit(Wish(INES, "test", "playback", verb, args))
    assert await group.wait(60)
    return group


def took(own: House, start: str = "10:00:00:00", length: str = "00:00:12:00") -> None:
    """Every recorder has rolled and stopped in one take; each tells its clip."""
    clips: dict[str, tuple[str, str, str]] = {}
    for number, name in enumerate(DECKS):
        box = own.boxes[name]
        box.has(SLOT_ACTIVE, 1)
        box.has(TRANSPORT, Transport.RECORDING)
        first = f"{start.rpartition(':')[0]}:{number:02d}"
        clips[name] = (f"T{own.takes.next_number - 1:03d}_{name}", first, length)
        box.lists(*clips[name])
    for name in DECKS:
        own.boxes[name].has(TRANSPORT, Transport.STOPPED)
        own.boxes[name].lists(*clips[name])


async def hall(change: Callable[[Site], Site] = lambda own: own) -> House:
    """The director sees titles and hears the piano; take 1 is on all five recorders."""
    own = shipped(VirtualClock(asyncio.get_running_loop()), change)
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 8)
    own.boxes["mixer"].has(SEND_LEVEL.at(1, 4), -6.0)
    took(own)
    await asyncio.sleep(0.1)
    assert own.takes.takes[1].common() is not None
    return own


def shown(own: House) -> tuple[Any, Any, Any]:
    board = own.board
    points = (("paths", SHOWS.at("director")), ("stations", HEARS.at("director")), ("playback", STATE))
    return tuple(board.get(device, spec).value for device, spec in points)  # type: ignore[return-value]


def plays(own: House, *decks: str) -> None:
    """These recorders run on while they play: their timecode is read again and again."""

    async def run() -> None:
        while True:
            for name in decks or DECKS:
                own.boxes[name].look_now((TRANSPORT.name, TIMECODE.name))
            await asyncio.sleep(0.1)

    own.test_task = asyncio.ensure_future(run())  # type: ignore[attr-defined]


@virtual
async def test_a_take_is_played_to_the_director_and_put_back_at_its_end() -> None:
    own = await hall()
    plays(own)
    group = await ask(own, "play", take=1, station="director")
    assert [one.verdict for one in group.commands if one.verdict.ended is not Ended.VERIFIED] == []
    assert own.teller.group(group) == (
        "Take 1 plays on Rec 5 from 10:00:00:04, 12 s. Director sees play-5 and hears playback."
    )
    assert shown(own) == ("play-5", "playback", State.PLAYS)
    deck = own.boxes["mix-rec"]
    assert deck.sent == [Cue("10:00:00:04"), Play()]
    deck.has(TRANSPORT, Transport.STOPPED)
    await until(lambda: shown(own)[2] is State.IDLE and own.board.get("playback", TAKE).value == 0)
    assert shown(own) == ("titles", "piano", State.IDLE)
    assert own.board.get("mixer", SEND_LEVEL.at(1, 4)).value == -6.0
    assert own.board.get("mixer", SEND_LEVEL.at(15, 4)).value == "off"


def with_sound(own: Site) -> Site:
    """A router beside each of the pictures switches the director's sound, and that of the last recorder."""
    beside = {f"{name}-sound": replace(own.devices[name], id=f"{name}-sound") for name in ("hall", "gallery")}
    sound = Level(tuple(beside), {"play-5": ("gallery-sound", 7)}, {"director": ("gallery-sound", 3)})
    return replace(own, devices=own.devices | beside, pictures=replace(own.pictures, levels={"sound": sound}))


@virtual
async def test_what_routers_carry_beside_the_picture_goes_with_it_and_comes_back() -> None:
    own = await hall(with_sound)
    own.boxes["gallery-sound"].has(OUTPUT_SOURCE.at(3), 5)
    await asyncio.sleep(0.1)
    plays(own)
    points = own.board.points("paths")
    group = await ask(own, "play", take=1, station="director")
    assert group.worst is Ended.VERIFIED, [(one.ask, one.verdict) for one in group.commands]
    assert (points["director.shows"].value, points["director.sound.shows"].value) == ("play-5", "play-5")
    assert (await ask(own, "stop")).worst is Ended.VERIFIED
    await asyncio.sleep(0.1)
    assert shown(own) == ("titles", "piano", State.IDLE)
    assert points["director.sound.shows"].value == "gallery-sound input 5"


@virtual
async def test_stop_puts_back_what_was_there_also_while_the_sound_is_still_on_its_way_up() -> None:
    own = await hall()
    plays(own)
    going = await own.submit(Wish(INES, "test", "playback", "play", {"take": 1, "station": "director"}))
    await until(lambda: own.board.get("mixer", SEND_LEVEL.at(15, 4)).value not in ("off", 0.0))
    group = await ask(own, "stop")
    assert group.worst is Ended.VERIFIED, [(one.ask, one.verdict) for one in group.commands]
    assert shown(own) == ("titles", "piano", State.IDLE)
    assert own.board.get("mixer", SEND_LEVEL.at(15, 4)).value == "off"
    assert own.teller.group(group) == ("The playback of take 1 has ended; Director sees titles and hears piano again.")
    assert await going.wait(60)
    assert own.teller.group(going).startswith("Take 1 is not played. ")
    assert Play() not in own.boxes["mix-rec"].sent
    with pytest.raises(RefusedError, match="Nothing is played back"):
        await ask(own, "stop")


@virtual
async def test_all_recorders_play_in_step_from_the_first_label_they_share() -> None:
    own = await hall()
    plays(own)
    group = await ask(own, "play", take=1, every=True, recorder="Rec 2", station="bench")
    assert group.worst is Ended.VERIFIED
    for name in DECKS:
        assert own.boxes[name].sent == [Cue("10:00:00:04"), Play()]
    assert own.board.get("paths", SHOWS.at("bench")).value == "play-2"
    left = [own.boxes[name].left_at[1] for name in DECKS]
    assert max(left) == pytest.approx(min(left), abs=0.001)
    await ask(own, "stop")
    assert all(own.boxes[name].sent[-1] == Stop() for name in DECKS)


@virtual
async def test_it_ends_by_itself_at_the_end_of_the_take_and_not_in_the_next_clip() -> None:
    own = await hall()
    plays(own)
    await ask(own, "play", take=1, label="10:00:09:00", station="director")
    await until(lambda: Stop() in own.boxes["mix-rec"].sent)
    hours, minutes, *rest = str(own.board.get("mix-rec", TIMECODE).value).split(":")
    assert (hours, minutes) == ("10", "00")
    assert int(rest[0]) * 25 + int(rest[1]) == pytest.approx(12 * 25 + 4, abs=5)
    await until(lambda: shown(own) == ("titles", "piano", State.IDLE))


@virtual
async def test_a_mark_is_a_place_to_play_from() -> None:
    own = await hall()
    own.boxes["mix-rec"].has(TIMECODE, "10:00:20:00")
    own.boxes["mix-rec"].has(TRANSPORT, Transport.RECORDING)
    own.boxes["mix-rec"].look_now((TIMECODE.name,))
    await asyncio.sleep(0.1)
    own.takes.mark(2, "ines", note="the second theme")
    label = own.takes.takes[2].marks[0].label
    assert label
    own.boxes["mix-rec"].has(TRANSPORT, Transport.STOPPED)
    plays(own)
    group = await ask(own, "play", take=2, mark=1)
    assert group.worst is Ended.VERIFIED
    assert own.boxes["mix-rec"].sent == [Cue(label), Play()]
    assert shown(own)[:2] == ("titles", "piano")  # no station was named
    for args, why in [
        ({"take": 2, "mark": 2}, "Take 2 has 1 mark."),
        ({"take": 1, "mark": 1}, "Take 1 has no mark."),
        ({"take": 7}, "There is no take 7."),
        ({"take": 1, "label": "9 o'clock"}, "is no timecode"),
        ({"take": 1, "label": "10:00:30:00"}, "Take 1 on Rec 5 does not hold 10:00:30:00."),
        ({"take": 2, "recorder": "iso-1"}, "Take 2 is not on iso-1, but on Rec 5."),
        ({"take": 1, "station": "balcony"}, 'There is no station "balcony".'),
        ({"take": 1, "station": "director"}, "Take 2 plays on Rec 5."),
    ]:
        with pytest.raises(RefusedError, match=re.escape(why)):
            await ask(own, "play", **args)


@virtual
async def test_a_recorder_that_rolls_or_belongs_to_the_take_that_runs_is_never_played() -> None:
    own = await hall()
    own.boxes["mix-rec"].has(TRANSPORT, Transport.RECORDING)
    await asyncio.sleep(0.1)
    with pytest.raises(RefusedError, match=re.escape("Rec 5 rolls.")):
        await ask(own, "play", take=1, station="director")
    with pytest.raises(RefusedError, match=re.escape("Rec 5 rolls.")):
        await ask(own, "play", take=1, every=True, recorder="iso-1")
    own.takes.open.wanted = ("mix-rec", "iso-1")  # type: ignore[union-attr]
    with pytest.raises(RefusedError, match=re.escape("Rec 1 belongs to take 2, which runs.")):
        await ask(own, "play", take=1, recorder="iso-1")
    for name in (*DECKS, "hall", "gallery", "mixer"):
        assert own.boxes[name].sent == []
    plays(own, "iso-2")
    assert (await ask(own, "play", take=1, recorder="iso-2")).worst is Ended.VERIFIED  # it has no part in that take


@virtual
async def test_a_recorder_that_does_not_cue_leaves_the_station_as_it_is() -> None:
    own = await hall()
    own.boxes["mix-rec"].deaf = True
    group = await ask(own, "play", take=1, station="director")
    assert group.worst is Ended.FAILED
    assert own.teller.group(group).startswith("Take 1 is not played. Rec 5 is not cued: ")
    assert own.boxes["gallery"].sent == []
    assert own.boxes["mixer"].sent == []
    assert Play() not in own.boxes["mix-rec"].sent
    await until(lambda: shown(own) == ("titles", "piano", State.IDLE))


@virtual
async def test_a_protected_picture_stays_and_nothing_plays() -> None:
    own = await hall()
    own.commands.locks.append(Lock(frozenset({("gallery", OUTPUT_SOURCE.at(3).name)}), "the client watches"))
    group = await ask(own, "play", take=1, station="director")
    assert group.worst is Ended.FAILED
    assert "protected by the site file: the client watches" in own.teller.group(group)
    assert Play() not in own.boxes["mix-rec"].sent
    await until(lambda: own.board.get("playback", TAKE).value == 0)
    assert shown(own) == ("titles", "piano", State.IDLE)
    assert own.board.get("mixer", SEND_LEVEL.at(1, 4)).value == -6.0


@virtual
async def test_a_muted_strip_is_told_before_anything_is_sent() -> None:
    own = await hall()
    own.boxes["mixer"].has(STRIP_MUTED.at(15), True)
    with pytest.raises(RefusedError, match="playback is muted, so Director would not hear it") as no:
        await ask(own, "play", take=1, station="director")
    assert no.value.remedy == "Open it first: stagectl mute 15 off"
    own.boxes["mixer"].has(STRIP_MUTED.at(15), False)
    own.boxes["mixer"].has(STRIP_LEVEL.at(15), "off")
    with pytest.raises(RefusedError, match="The fader of playback is down, so Director would not hear it"):
        await ask(own, "play", take=1, station="director")


@virtual
async def test_another_place_of_it_for_the_same_station_keeps_what_was_there_first() -> None:
    own = await hall()
    plays(own)
    await ask(own, "play", take=1, station="director")
    group = await ask(own, "play", take=1, label="10:00:05:00", station="director")
    assert group.worst is Ended.VERIFIED
    assert own.boxes["mix-rec"].sent == [Cue("10:00:00:04"), Play(), Cue("10:00:05:00"), Play()]
    await ask(own, "stop")
    assert shown(own) == ("titles", "piano", State.IDLE)


@virtual
async def test_what_a_hand_has_changed_meanwhile_is_left_alone_and_said() -> None:
    own = await hall()
    plays(own)
    await ask(own, "play", take=1, station="director")
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 1)
    await asyncio.sleep(0.1)
    group = await ask(own, "stop")
    assert "paths director shows was changed" in own.teller.group(group)
    assert shown(own)[1:] == ("piano", State.IDLE)


@pytest.mark.slow
@virtual
async def test_after_a_restart_it_is_owed_and_put_back_when_somebody_asks() -> None:
    own = await hall()
    plays(own)
    await ask(own, "play", take=1, station="director")
    records = [entry.data for entry in own.chronicle.recent if entry.kind == "playback"]
    new = shipped(VirtualClock(asyncio.get_running_loop()))
    for device in ("gallery", "hall", "mixer", "mix-rec"):
        for name, value in own.boxes[device].values.items():
            new.boxes[device].has(own.board.reading(device, own.boxes[device].capability.point(name)).spec, value)
    new.playback.restore(json.loads(json.dumps(records)))
    await asyncio.sleep(0.1)
    assert shown(new) == ("play-5", "playback", State.PLAYS)
    assert all(new.boxes[name].sent == [] for name in (*DECKS, "gallery", "hall", "mixer"))  # a restart reads only
    plays(new)
    group = await ask(new, "stop")
    assert group.worst is Ended.VERIFIED
    assert shown(new) == ("titles", "piano", State.IDLE)
    assert new.playback.restore([*records, {"what": "over"}]) is None


@virtual
async def test_a_roll_has_the_right_of_way_all_recorders_roll_and_the_director_gets_back_what_was_there() -> None:
    own = await hall()
    plays(own)
    await ask(own, "play", take=1, station="director")
    group = await own.submit(Wish(INES, "test", "takes", "roll", {"name": "Encore"}))
    await until(lambda: own.takes.open is not None and len(own.takes.open.rolling) == len(DECKS))
    assert own.boxes["mix-rec"].sent[-2:] == [Stop(), Roll("T002_Encore_mix-rec")]
    assert await group.wait(10)
    assert own.teller.group(group).startswith("Take 2 rolls on 5 of 5")
    assert list(own.takes.takes) == [1, 2]
    await until(lambda: own.board.get("playback", TAKE).value == 0)
    assert shown(own) == ("titles", "piano", State.IDLE)
    assert own.boxes["mix-rec"].sent[-1] == Roll("T002_Encore_mix-rec")


@pytest.mark.slow
@virtual
async def test_a_roll_while_it_is_cued_overtakes_it() -> None:
    own = await hall()
    plays(own)
    going = await own.submit(Wish(INES, "test", "playback", "play", {"take": 1, "station": "director"}))
    await until(lambda: own.board.get("mixer", SEND_LEVEL.at(15, 4)).value not in ("off", 0.0))
    group = await own.submit(Wish(INES, "test", "takes", "roll"))
    assert await group.wait(10)
    assert group.count == "5 of 5"
    assert await going.wait(60)
    assert "overtaken by roll" in own.teller.group(going)
    await until(lambda: own.board.get("playback", TAKE).value == 0)
    assert shown(own)[:2] == ("titles", "piano")
    assert own.takes.open is not None
    assert own.boxes["mix-rec"].sent == [Cue("10:00:00:04"), Roll("T002_mix-rec")]
