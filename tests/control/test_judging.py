"""Is a verdict true: from readings younger than the act, one for each command, final?

Source of all rows: own construction, from the state table of the command path (sent, verified, no, lost, deadline,
later), the rule that evidence is younger than the act, and common practice of levels: up in steps, down at once.
"""

import asyncio
import itertools
import json
from typing import Any

import pytest

from stagectl.control.groups import Command, Group
from stagectl.control.judging import LATER_S
from stagectl.control.ramps import QUIET_DB
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import IDENTIFYING, TRANSPORT, Identify, Roll
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Ask, Ended, Verdict
from tests.control.booth import ADA, Booth, cut, deck, mixer, only, put, roll, router
from tests.driverkit.memory import VirtualLoop, until, virtual

ROUTE = OUTPUT_SOURCE.at(1)
LEVEL = STRIP_LEVEL.at(1)
MUTED = STRIP_MUTED.at(1)


async def one_deck() -> Booth:
    return await Booth(iso_1=deck()).up()


async def one_mixer(**change: object) -> Booth:
    return await Booth(mixer=mixer(**change)).up()


def asked(booth: Booth, name: str) -> int:
    """Questions the far end has heard."""
    return sum(line.startswith("get ") for peer in booth.wires[name].peers for line in peer.heard)


# -- what counts as evidence ---------------------------------------------------------------------------------------


@virtual
async def test_an_answer_to_an_older_question_proves_nothing() -> None:
    booth = await one_mixer()
    far = booth.far["mixer"]
    far.mute = True
    far.has(MUTED, True)  # a hand mutes the strip...
    far.hold = True
    booth.boxes["mixer"].look_now([MUTED.name])  # ...we ask, and the answer is under way...
    await asyncio.sleep(0.01)
    far.has(MUTED, False)  # ...when the hand opens it again
    far.limp.add(MUTED.name)
    group = await booth.settled(put(booth, "mixer", MUTED, True))
    await asyncio.sleep(0.01)
    far.release()  # the old answer says muted; the question left before our command
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.why) == (Ended.FAILED, "seen otherwise: strip 1 muted is no")
    await booth.rest()


@virtual
async def test_the_boxs_ok_alone_proves_nothing() -> None:
    booth = await one_deck()
    booth.far["iso-1"].deaf = True
    group = booth.press(roll(booth))
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "seen-otherwise")
    assert verdict.why.startswith("seen otherwise: transport is stopped")
    assert verdict.after_s == pytest.approx(2, abs=0.01)
    await booth.rest()


@virtual
async def test_a_notice_after_the_send_is_proof_at_once() -> None:
    booth = await Booth(hall=router()).up()
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.VERIFIED
    assert verdict.after_s < 0.01
    await booth.rest()


@virtual
async def test_a_box_that_tells_nothing_is_looked_at_and_not_stormed() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].mute = True
    before = asked(booth, "hall")
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.VERIFIED
    assert verdict.after_s == pytest.approx(0.15, abs=0.01)
    assert asked(booth, "hall") - before <= 3
    await booth.rest()


@virtual
async def test_a_dead_deck_costs_a_bounded_number_of_questions() -> None:
    booth = await one_deck()
    booth.far["iso-1"].deaf = True
    before = asked(booth, "iso-1")
    await booth.verdict(booth.press(roll(booth)))
    looks, polls = 2 * 11, 3 * 3  # transport and timecode every 0.2 s for 2 s; three points once a second
    assert asked(booth, "iso-1") - before <= looks + polls
    await booth.rest()


@virtual
async def test_a_roll_is_verified_only_when_its_timecode_was_seen_to_advance() -> None:
    booth = await one_deck()
    group = booth.press(roll(booth))
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.VERIFIED
    assert 0.3 < verdict.after_s < 1.0  # two changed looks after the send, 0.15 and every 0.2 s
    await booth.rest()


@virtual
async def test_a_deck_that_records_with_standing_timecode_failed_by_its_timecode() -> None:
    booth = await one_deck()
    booth.far["iso-1"].frozen = True
    verdict = await booth.verdict(booth.press(roll(booth)))
    assert verdict.ended is Ended.FAILED
    assert "timecode" in verdict.why
    assert "transport" not in verdict.why
    await booth.rest()


@virtual
async def test_a_flapping_deck_failed_by_its_transport() -> None:
    booth = await one_deck()
    far, loop = booth.far["iso-1"], asyncio.get_running_loop()
    group = booth.press(roll(booth))
    for number in range(20):
        loop.call_later(0.06 + 0.12 * number, far.has, TRANSPORT, "stopped" if number % 2 == 0 else "recording")
    loop.call_later(1.9, far.has, TRANSPORT, "stopped")
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.FAILED
    assert "transport is stopped" in verdict.why
    await booth.rest()


@virtual
async def test_an_effect_that_must_hold_is_verified_after_it_held() -> None:
    booth = await Booth(hall=router()).up()
    held: PointSpec[int] = PointSpec(ROUTE.name, int, low=1, settable=True, deadline_s=1, hold_s=0.5)
    verdict = await booth.verdict(await booth.settled(put(booth, "hall", held, 3)))
    assert verdict.ended is Ended.VERIFIED
    assert verdict.after_s == pytest.approx(0.5, abs=0.01)
    await booth.rest()


@virtual
async def test_an_effect_that_does_not_hold_is_failed() -> None:
    booth = await Booth(hall=router()).up()
    held: PointSpec[int] = PointSpec(ROUTE.name, int, low=1, settable=True, deadline_s=1, hold_s=0.5)
    group = await booth.settled(put(booth, "hall", held, 3))
    await asyncio.sleep(0.4)
    booth.far["hall"].has(ROUTE, 7)  # another panel takes the output back
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.why) == (Ended.FAILED, "seen otherwise: output 1 source is 7")
    await booth.rest()


@virtual
async def test_a_deaf_strip_does_not_keep_the_looks_from_the_others() -> None:
    booth = await one_mixer()
    far = booth.far["mixer"]
    far.mute = True
    far.limp.add(MUTED.name)
    group = await booth.settled(*(put(booth, "mixer", STRIP_MUTED.at(strip), True) for strip in range(1, 13)))
    assert await group.wait(30)
    assert [verdict.ended for verdict in group.verdicts] == [Ended.FAILED, *[Ended.VERIFIED] * 11]
    await booth.rest()


# -- blind ---------------------------------------------------------------------------------------------------------


@virtual
async def test_what_can_never_be_reported_is_sent() -> None:
    booth = await one_deck()
    assert booth.board.get("iso-1", IDENTIFYING).blind
    group = await booth.settled(booth.ask("iso-1", Identify()))
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.why, verdict.missing) == (Ended.SENT, "", ())
    assert (group.worst, group.count) == (Ended.SENT, "1 of 1")
    shown = booth.board.get("iso-1", IDENTIFYING)
    assert (shown.value, shown.quality) == (True, Quality.ASKED)
    off = await booth.verdict(await booth.settled(booth.ask("iso-1", Identify(on=False))))
    assert off.ended is Ended.SENT
    assert (shown.value, shown.quality) == (False, Quality.ASKED)
    await booth.rest()


@virtual
async def test_what_can_never_be_reported_but_is_refused_failed() -> None:
    booth = await one_deck()
    booth.far["iso-1"].refuses = "120 not while a menu is open"
    verdict = await booth.verdict(await booth.settled(booth.ask("iso-1", Identify())))
    assert (verdict.ended, verdict.why) == (Ended.FAILED, "120 not while a menu is open")
    assert booth.board.get("iso-1", IDENTIFYING).quality is Quality.UNKNOWN
    await booth.rest()


@virtual
async def test_a_readable_box_that_keeps_silent_is_never_sent() -> None:
    booth = await one_deck()
    booth.far["iso-1"].silent = True
    verdict = await booth.verdict(booth.press(roll(booth)))
    assert (verdict.ended, verdict.code) == (Ended.UNCONFIRMED, "not-known")
    await booth.rest()


# -- the box says no -----------------------------------------------------------------------------------------------


@virtual
async def test_a_refusal_is_looked_behind_once_and_fails_in_the_boxs_words() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].refuses = "output is locked by panel 2"
    verdict = await booth.verdict(await booth.settled(put(booth, "hall", ROUTE, 3)))
    assert (verdict.ended, verdict.why, verdict.code) == (Ended.FAILED, "output is locked by panel 2", "device")
    assert not verdict.refused
    assert booth.wires["hall"].peers[-1].heard[-1] == f"get {ROUTE.name}"
    assert len(booth.acts("hall")) == 1
    await booth.rest()


@virtual
async def test_a_box_that_says_no_and_does_it_is_verified() -> None:
    booth = await Booth(hall=router()).up()
    far = booth.far["hall"]
    far.refuses, far.refuses_but_does, far.mute = "busy", True, True
    verdict = await booth.verdict(await booth.settled(put(booth, "hall", ROUTE, 3)))
    assert verdict.ended is Ended.VERIFIED
    await booth.rest()


@virtual
async def test_a_refusal_whose_look_is_never_answered_fails_in_the_boxs_words() -> None:
    booth = await one_deck()
    far = booth.far["iso-1"]
    far.refuses, far.slow_s = "103 no medium", 0.05
    group = booth.press(roll(booth))
    await asyncio.sleep(0.02)
    far.silent = True  # its refusal is the last thing it says
    await until(lambda: bool(only(group).said_no))
    assert not group.ended
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    await booth.drop("iso-1")
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.why) == (Ended.FAILED, "103 no medium")
    await booth.rest()


@virtual
async def test_one_refused_line_of_a_salvo_fails_alone() -> None:
    booth = await Booth(hall=router(window=1)).up()
    far = booth.far["hall"]
    far.slow_s = 0.01
    group = await booth.settled(put(booth, "hall", ROUTE, 3), put(booth, "hall", OUTPUT_SOURCE.at(2), 3))
    await asyncio.sleep(0.005)
    far.refuses = "locked"  # heard with the second
    assert await group.wait(30)
    assert [(verdict.ended, verdict.why) for verdict in group.verdicts] == [
        (Ended.VERIFIED, ""),
        (Ended.FAILED, "locked"),
    ]
    await booth.rest()


# -- the link goes -------------------------------------------------------------------------------------------------


@virtual
async def test_a_roll_whose_link_broke_is_judged_by_the_first_full_look_and_not_sent_again() -> None:
    booth = await one_deck()
    booth.far["iso-1"].roll_s = 0.05
    group = booth.press(roll(booth))
    await asyncio.sleep(0.01)
    await booth.drop("iso-1")
    assert not group.ended
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.VERIFIED
    assert len(booth.wires["iso-1"].peers) == 2
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


@virtual
async def test_a_roll_whose_link_stays_away_is_unconfirmed_and_seen_later() -> None:
    booth = await one_deck()
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    group = booth.press(roll(booth))
    await asyncio.sleep(0.01)
    await booth.drop("iso-1")
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.code) == (Ended.UNCONFIRMED, "not-known")
    booth.wires["iso-1"].refuse = None
    await until(lambda: bool(booth.log.of("later")))
    assert booth.log.of("later") == [{"id": "", "device": "iso-1", "seen": "yes"}]
    assert (await booth.verdict(group)) is verdict
    assert len(booth.acts("iso-1")) == 1
    await booth.rest()


@virtual
async def test_a_slow_deck_is_failed_at_its_deadline_and_seen_later_once() -> None:
    booth = await one_deck()
    booth.far["iso-1"].roll_s = 4.0
    group = booth.press(roll(booth))
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.FAILED
    await until(lambda: bool(booth.log.of("later")))
    assert group.worst is Ended.FAILED
    await booth.rest()
    assert len(booth.log.of("later")) == 1
    assert len(booth.acts("iso-1")) == 1


@virtual
async def test_a_second_press_that_works_is_not_told_as_the_first_ones_late_success() -> None:
    booth = await one_deck()
    booth.far["iso-1"].deaf = True
    assert (await booth.verdict(booth.press(roll(booth)))).ended is Ended.FAILED
    booth.far["iso-1"].deaf = False
    assert (await booth.verdict(booth.press(roll(booth)))).ended is Ended.VERIFIED
    await booth.rest()
    assert booth.log.of("later") == []


@virtual
async def test_what_is_never_seen_is_no_longer_followed_after_a_while() -> None:
    booth = await one_deck()
    booth.far["iso-1"].deaf = True
    await booth.verdict(booth.press(roll(booth)))
    assert booth.judge._later
    await asyncio.sleep(LATER_S + 5)
    booth.at_rest()
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(1)
    assert booth.log.of("later") == []


# -- a group -------------------------------------------------------------------------------------------------------


@virtual
async def test_a_group_ends_as_its_worst_with_a_count() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck(), iso_3=deck(), iso_4=deck()).up()
    booth.far["iso-2"].silent = True
    booth.far["iso-3"].has("remote", False)
    await asyncio.sleep(0.01)
    names = ("iso-1", "iso-2", "iso-3", "iso-4")
    ended: list[Group] = []
    booth.judge.on_end.append(ended.append)
    group = booth.press(*(roll(booth, name) for name in names))
    own: list[Group] = []
    group.on_end.append(own.append)
    assert not group.ended
    assert await group.wait(30)
    assert [str(verdict.ended) for verdict in group.verdicts] == ["verified", "unconfirmed", "failed", "verified"]
    assert (group.worst, group.count) == (Ended.FAILED, "2 of 4")
    assert ended == own == [group]
    (record,) = booth.log.of("verdict")
    assert (record["ended"], record["count"], list(record["boxes"])) == ("failed", "2 of 4", list(names))
    await booth.rest()


@pytest.mark.parametrize(
    ("ends", "worst"),
    [
        ((Ended.VERIFIED, Ended.SENT), Ended.SENT),
        ((Ended.SENT, Ended.UNCONFIRMED, Ended.VERIFIED), Ended.UNCONFIRMED),
        ((Ended.UNCONFIRMED, Ended.FAILED), Ended.FAILED),
        ((), Ended.FAILED),
    ],
)
def test_the_worst_of_a_group(ends: tuple[Ended, ...], worst: Ended) -> None:
    group = Group("id", "ines", "test", "roll", "roll", "", 0.0)
    group.commands = [Command(Ask("id", "ines", "test", "iso-1", Roll()), verdict=Verdict(end)) for end in ends]
    assert group.worst is None
    group.ended_at = 1.0
    assert group.worst is worst


@virtual
async def test_who_waits_too_short_is_told_so_and_the_group_goes_on() -> None:
    booth = await one_deck()
    booth.far["iso-1"].roll_s = 1.0
    group = booth.press(roll(booth))
    assert await group.wait(0.5) is False
    assert await group.wait(30) is True
    assert group.worst is Ended.VERIFIED
    await booth.rest()


# -- levels --------------------------------------------------------------------------------------------------------


def steps(booth: Booth) -> list[float]:
    return [float(json.loads(line.rpartition(" ")[2])) for line in booth.acts("mixer")]


@virtual
async def test_a_level_rises_in_small_steps_to_the_value_asked_for() -> None:
    booth = await one_mixer()
    group = await booth.settled(put(booth, "mixer", LEVEL, -4.0))
    verdict = await booth.verdict(group)
    assert verdict.ended is Ended.VERIFIED
    went = steps(booth)
    assert went == sorted(went)
    assert went[-1] == -4.0
    assert 15 <= len(went) <= 22  # a second at 6 dB/s, 20 steps a second
    assert all(later - before < 0.5 for before, later in itertools.pairwise(went))
    assert booth.log.of("hand") == []
    await booth.rest()


@virtual
async def test_a_rise_from_off_begins_where_nobody_hears_it() -> None:
    booth = await one_mixer()
    booth.far["mixer"].has(LEVEL, "off")
    await asyncio.sleep(0.01)
    group = await booth.settled(put(booth, "mixer", LEVEL, -57.0))
    assert (await booth.verdict(group)).ended is Ended.VERIFIED
    assert steps(booth)[0] == QUIET_DB
    assert steps(booth)[-1] == -57.0
    await booth.rest()


@virtual
async def test_a_level_falls_at_once() -> None:
    booth = await one_mixer()
    for value in (-30.0, "off"):
        assert (await booth.verdict(await booth.settled(put(booth, "mixer", LEVEL, value)))).ended is Ended.VERIFIED
    assert booth.acts("mixer") == ["set strip.1.level -30.0", 'set strip.1.level "off"']
    await booth.rest()


@virtual
async def test_a_hand_on_the_fader_ends_the_rise() -> None:
    booth = await one_mixer()
    group = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.5)
    sent = len(steps(booth))
    booth.far["mixer"].has(LEVEL, -40.0)
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.why, verdict.code) == (Ended.FAILED, "a hand took over at -40 dB", "hand")
    await booth.rest()
    assert len(steps(booth)) == sent
    assert booth.far["mixer"].values[LEVEL.name] == -40.0
    assert [data["value"] for data in booth.log.of("hand")] == [-40.0]


@virtual
async def test_a_hand_on_the_fader_of_a_slow_mixer_wins_too() -> None:
    booth = await one_mixer(window=1)
    far = booth.far["mixer"]
    far.slow_s = 0.3
    group = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(1.0)
    assert len(steps(booth)) < 6  # a slow box gets fewer steps, never a line of them
    far.slow_s = 0.0
    far.has(LEVEL, -40.0)
    verdict = await booth.verdict(group)
    assert verdict.code == "hand"
    sent = len(steps(booth))
    await booth.rest()
    assert len(steps(booth)) == sent


@virtual
@pytest.mark.parametrize("seconds", [1.0, 30.0])
async def test_a_rise_over_a_standstill_ends_where_it_was_and_never_jumps(seconds: float) -> None:
    """Sound: a step of a second's rise at once would be one that can hurt."""
    booth = await one_mixer()
    group = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.3)
    sent = steps(booth)
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    loop.jump(seconds)
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "stood-still")
    assert verdict.why.startswith("stagectl stood still for ")
    await booth.rest()
    assert steps(booth) == sent
    assert all(later - before < 0.5 for before, later in itertools.pairwise(steps(booth)))


@virtual
async def test_a_rise_that_is_overtaken_steps_no_further() -> None:
    booth = await one_mixer()
    rise = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.5)
    fall = await booth.settled(put(booth, "mixer", LEVEL, -50.0, who="tomas"))
    assert only(rise).verdict.code == "overtaken"  # type: ignore[union-attr]
    assert (await booth.verdict(fall)).ended is Ended.VERIFIED
    assert steps(booth)[-1] == -50.0
    await booth.rest()
    assert steps(booth)[-1] == -50.0


@virtual
async def test_a_rise_whose_link_broke_failed_for_that_reason() -> None:
    booth = await one_mixer()
    booth.wires["mixer"].refuse = ConnectionRefusedError(111, "Connection refused")
    group = await booth.settled(put(booth, "mixer", LEVEL, 0.0))
    await asyncio.sleep(0.2)
    await booth.drop("mixer")
    verdict = await booth.verdict(group)
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "no-link")
    await booth.rest()


# -- whose act was it? ---------------------------------------------------------------------------------------------


def by(booth: Booth, target: str, point: PointSpec[Any]) -> str:
    return booth.board.get(target, point).by


@virtual
async def test_a_change_we_asked_for_is_ours_and_any_other_is_the_boxs() -> None:
    booth = await one_deck()
    await booth.verdict(booth.press(roll(booth)))
    assert by(booth, "iso-1", TRANSPORT) == "ines"
    assert booth.log.of("hand") == []
    booth.far["iso-1"].has(TRANSPORT, "stopped")  # at its front, a moment after our roll
    await asyncio.sleep(0.01)
    assert by(booth, "iso-1", TRANSPORT) == "box"
    assert booth.log.of("hand") == [{"device": "iso-1", "point": "transport", "value": "stopped"}]
    await booth.rest()


@virtual
async def test_a_deck_that_refused_us_and_is_then_rolled_at_its_front_is_rolled_by_the_box() -> None:
    booth = await one_deck()
    far = booth.far["iso-1"]
    far.refuses = "111 remote is off"
    await booth.verdict(booth.press(roll(booth)))
    await asyncio.sleep(1)
    far.has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    assert by(booth, "iso-1", TRANSPORT) == "box"
    await booth.rest()


@virtual
async def test_a_late_link_does_not_make_a_hands_act_ours() -> None:
    booth = await one_deck()
    transport = booth.wires["iso-1"].peers[-1].transport
    assert transport is not None
    transport.waiting = 3
    await booth.verdict(booth.press(roll(booth)))
    transport.waiting = 0
    booth.far["iso-1"].has(TRANSPORT, "recording")
    await asyncio.sleep(0.01)
    assert by(booth, "iso-1", TRANSPORT) == "box"
    await booth.rest()


@virtual
async def test_a_slow_deck_rolls_by_who_pressed() -> None:
    booth = await one_deck()
    booth.far["iso-1"].roll_s = 4.0
    await booth.verdict(booth.press(roll(booth)))
    await until(lambda: booth.board.get("iso-1", TRANSPORT).value == "recording")
    assert by(booth, "iso-1", TRANSPORT) == "ines"
    await booth.rest()


@virtual
async def test_a_cut_whose_end_could_not_be_seen_is_ours_when_the_deck_returns_stopped() -> None:
    booth = await one_deck()
    await booth.verdict(booth.press(roll(booth)))
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    booth.far["iso-1"].slow_s = 0.2
    group = booth.press(cut(booth, who="tomas"))
    await asyncio.sleep(0.1)
    await booth.drop("iso-1")
    assert (await booth.verdict(group)).ended is Ended.UNCONFIRMED
    await asyncio.sleep(8)
    booth.wires["iso-1"].refuse = None
    await until(lambda: booth.board.get("iso-1", TRANSPORT).value == "stopped")
    assert by(booth, "iso-1", TRANSPORT) == "tomas"
    await booth.rest()


@virtual
async def test_a_roll_of_a_deck_out_of_reach_is_not_known_if_it_rolled_when_last_seen() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    await booth.verdict(booth.press(roll(booth, "iso-1")))
    for name in ("iso-1", "iso-2"):
        booth.wires[name].refuse = ConnectionRefusedError(111, "Connection refused")
        await booth.drop(name)
    rolled, rested = (command.verdict for command in booth.press(roll(booth, "iso-1"), roll(booth, "iso-2")).commands)
    assert rolled is not None
    assert rested is not None
    assert (rolled.ended, rolled.code, rolled.refused) == (Ended.UNCONFIRMED, "no-link", True)
    assert rolled.remedy == "Look at its front, and check its power and network cable."
    assert (rested.ended, rested.code, rested.refused) == (Ended.FAILED, "no-link", True)
    assert len(booth.acts("iso-1")) == 1
    booth.wires["iso-1"].refuse = booth.wires["iso-2"].refuse = None
    await booth.rest()


@virtual
async def test_who_may_not_roll_is_refused_whatever_the_deck_does() -> None:
    booth = await one_deck()
    await booth.verdict(booth.press(roll(booth)))
    booth.wires["iso-1"].refuse = ConnectionRefusedError(111, "Connection refused")
    await booth.drop("iso-1")
    verdict = booth.press(roll(booth), person=ADA).commands[0].verdict
    assert verdict is not None
    assert (verdict.ended, verdict.code) == (Ended.FAILED, "role")
    booth.wires["iso-1"].refuse = None
    await booth.rest()


@virtual
async def test_the_steps_of_a_rise_are_ours() -> None:
    booth = await one_mixer()
    group = await booth.settled(put(booth, "mixer", LEVEL, -4.0))
    await asyncio.sleep(0.5)
    assert by(booth, "mixer", LEVEL) == "ines"
    await booth.verdict(group)
    assert by(booth, "mixer", LEVEL) == "ines"
    await booth.rest()


@virtual
async def test_a_route_changed_at_a_panel_is_the_boxs_also_while_ours_is_under_way() -> None:
    booth = await Booth(hall=router()).up()
    booth.far["hall"].limp.add(ROUTE.name)
    group = await booth.settled(put(booth, "hall", ROUTE, 3))
    booth.far["hall"].has(ROUTE, 9)
    await asyncio.sleep(0.01)
    assert by(booth, "hall", ROUTE) == "box"
    assert (await booth.verdict(group)).ended is Ended.FAILED
    await booth.rest()
