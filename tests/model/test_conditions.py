"""Is a condition yes, no or not known as the house says, also over time?

Source of all rows: own construction, from the docstrings of `stagectl.model.conditions` and the house rules.
"""

from typing import Any, Final

import pytest

from stagectl.model.board import Board, BoardWriter
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import SLOT_ACTIVE, TIMECODE, TRANSPORT, Roll, Transport
from stagectl.model.conditions import (
    ALWAYS,
    NO,
    UNKNOWN,
    YES,
    All,
    AnyOf,
    Condition,
    Lasts,
    Not,
    Truth,
    Watch,
    every,
    judge,
    some,
)
from stagectl.model.points import NEVER, PointSpec, Quality
from tests.model.hand_clock import HandClock

ON: Final[PointSpec[bool]] = PointSpec("a.on", bool)
TO: Final[PointSpec[bool]] = PointSpec("b.on", bool)
THREE: Final = (YES, NO, UNKNOWN)


class Desk:
    """One device with a board, a clock and a hand that writes."""

    def __init__(self) -> None:
        self.clock = HandClock()
        self.board = Board(self.clock)
        self.writer: BoardWriter = self.board.writer("iso-1")
        self.writer.declare(ON, TO, TRANSPORT, TIMECODE, SLOT_ACTIVE, STRIP_LEVEL.at(5), STRIP_MUTED.at(5))
        self.told: list[Truth] = []

    def read(self, spec: PointSpec[Any], value: object, *, asked_ago_s: float = 0) -> None:
        """The box says `value`; the question left `asked_ago_s` before."""
        now = self.clock.now()
        self.writer.gather()
        self.writer.put(spec.name, value)
        self.writer.commit(now - asked_ago_s, now)

    def be(self, spec: PointSpec[bool], truth: Truth) -> None:
        """Make a yes-or-no point yes, no or not known."""
        if truth is UNKNOWN:
            self.writer.unknown(spec.name, "?")
        else:
            self.read(spec, truth is YES)

    def watch(self, condition: Condition, *, since: float = NEVER) -> Watch:
        return self.board.watch(condition, self.told.append, device="iso-1", since=since)


def now(watch: Watch) -> Truth:
    """What it says now; a call, so that no type checker takes an earlier answer for this one."""
    return watch.truth


@pytest.fixture
def desk() -> Desk:
    return Desk()


# -- what is one truth, and what are several -----------------------------------------------------------------------

AND: Final = {
    (YES, YES): YES, (YES, NO): NO, (YES, UNKNOWN): UNKNOWN,
    (NO, YES): NO, (NO, NO): NO, (NO, UNKNOWN): NO,
    (UNKNOWN, YES): UNKNOWN, (UNKNOWN, NO): NO, (UNKNOWN, UNKNOWN): UNKNOWN,
}  # fmt: skip
OR: Final = {
    (YES, YES): YES, (YES, NO): YES, (YES, UNKNOWN): YES,
    (NO, YES): YES, (NO, NO): NO, (NO, UNKNOWN): UNKNOWN,
    (UNKNOWN, YES): YES, (UNKNOWN, NO): UNKNOWN, (UNKNOWN, UNKNOWN): UNKNOWN,
}  # fmt: skip


@pytest.mark.parametrize(("a", "b"), list(AND))
def test_all_and_any_over_three_truths(desk: Desk, a: Truth, b: Truth) -> None:
    desk.be(ON, a)
    desk.be(TO, b)
    both, either = every(ON.is_(True), TO.is_(True)), some(ON.is_(True), TO.is_(True))
    assert judge(desk.board, both, "iso-1") is AND[a, b]
    assert judge(desk.board, either, "iso-1") is OR[a, b]
    assert desk.watch(both).truth is AND[a, b]
    assert desk.watch(either).truth is OR[a, b]


@pytest.mark.parametrize(("is_", "opposite"), [(YES, NO), (NO, YES), (UNKNOWN, UNKNOWN)])
def test_not_keeps_what_is_not_known(desk: Desk, is_: Truth, opposite: Truth) -> None:
    desk.be(ON, is_)
    assert judge(desk.board, Not(ON.is_(True)), "iso-1") is opposite
    assert desk.watch(Not(ON.is_(True))).truth is opposite


def test_all_of_nothing_is_yes_and_any_of_nothing_is_no(desk: Desk) -> None:
    assert judge(desk.board, ALWAYS) is YES
    assert desk.watch(All()).truth is YES
    assert judge(desk.board, AnyOf(())) is NO


LEVEL = STRIP_LEVEL.at(5)  # tolerance 0.3 dB
CLAIMS = [
    # claim, value seen, truth
    (LEVEL.is_(-12.0), -12.3, YES),
    (LEVEL.is_(-12.0), -12.31, NO),
    (LEVEL.is_(-12.0), "off", NO),
    (LEVEL.is_("off"), "off", YES),
    (LEVEL.is_("off"), -138.0, NO),
    (LEVEL.is_not(-12.0), -11.8, NO),
    (LEVEL.is_not(-12.0), 0.0, YES),
    (LEVEL.one_of(-12.0, "off"), "off", YES),
    (LEVEL.one_of(-12.0, 0.0), -6.0, NO),
    (LEVEL.at_most(-20), "off", YES),
    (LEVEL.at_least(-138), "off", NO),
    (LEVEL.at_least(-12), -12.0, YES),
    (LEVEL.at_most(-12), -11.9, NO),
    (LEVEL.known(), "off", YES),
    (TRANSPORT.is_(Transport.RECORDING), Transport.RECORDING, YES),
    (TRANSPORT.is_not(Transport.RECORDING), Transport.PREVIEW, YES),
    (TRANSPORT.at_least(1), Transport.PREVIEW, UNKNOWN),
    (ON.at_least(0), True, UNKNOWN),
]


@pytest.mark.parametrize(("claim", "value", "truth"), CLAIMS)
def test_a_claim_about_one_good_value(desk: Desk, claim: Condition, value: object, truth: Truth) -> None:
    desk.read(next(claim.leaves()).spec, value)
    assert judge(desk.board, claim, "iso-1") is truth
    assert desk.watch(claim).truth is truth


@pytest.mark.parametrize("quality", [quality for quality in Quality if quality is not Quality.GOOD])
def test_what_is_not_good_is_not_known(desk: Desk, quality: Quality) -> None:
    desk.read(ON, True)
    watch = desk.watch(ON.is_(True))
    assert now(watch) is YES
    match quality:
        case Quality.STALE:
            desk.writer.lost()
        case Quality.UNKNOWN:
            desk.writer.unknown(ON.name, "?")
        case _:
            desk.writer.asked(ON.name, True)
    assert desk.board.get("iso-1", ON).quality is quality
    assert judge(desk.board, ON.is_(True), "iso-1") is UNKNOWN
    assert desk.told == [YES, UNKNOWN]
    assert now(watch) is UNKNOWN


def test_a_stale_value_that_is_read_again_counts_again(desk: Desk) -> None:
    desk.read(ON, True)
    desk.watch(ON.is_(True))
    desk.writer.lost()
    desk.read(ON, True)
    assert desk.told == [YES, UNKNOWN, YES]


# -- evidence is younger than the act --------------------------------------------------------------------------------


def test_an_answer_to_an_older_question_is_no_evidence(desk: Desk) -> None:
    """The muted strip that a hand had opened: the poll was on its way when the command left."""
    desk.clock.go(1)
    sent = desk.clock.now()
    watch = desk.watch(ON.is_(True), since=sent)
    desk.clock.go(0.1)
    desk.read(ON, True, asked_ago_s=0.2)
    assert now(watch) is UNKNOWN
    assert judge(desk.board, ON.is_(True), "iso-1", since=sent) is UNKNOWN
    desk.read(ON, True, asked_ago_s=0.05)
    assert now(watch) is YES
    assert judge(desk.board, ON.is_(True), "iso-1", since=sent) is YES


def test_a_question_asked_in_the_very_moment_of_sending_is_no_evidence(desk: Desk) -> None:
    sent = desk.clock.now()
    watch = desk.watch(ON.is_(True), since=sent)
    desk.writer.gather()
    desk.writer.put(ON.name, True)
    desk.writer.commit(sent, desk.clock.now())
    assert now(watch) is UNKNOWN


def test_a_watch_that_begins_late_sees_the_evidence_that_is_there(desk: Desk) -> None:
    """After a restart an open command is judged from what the first full look has already read."""
    sent = desk.clock.now()
    desk.clock.go(1)
    desk.read(ON, True)
    assert desk.watch(ON.is_(True), since=sent).truth is YES


def test_a_watch_may_name_a_point_that_nobody_declared_yet(desk: Desk) -> None:
    late: PointSpec[bool] = PointSpec("output.{output}.on", bool)
    desk.watch(late.at(7).is_(True))
    desk.writer.declare(late.at(7))
    desk.read(late.at(7), True)
    assert desk.told == [UNKNOWN, YES]


# -- claims about time ---------------------------------------------------------------------------------------------


def test_a_timecode_advances_when_it_changed_in_two_looks_after_sending(desk: Desk) -> None:
    desk.read(TIMECODE, "10:00:00:00")
    watch = desk.watch(TIMECODE.advances(), since=desk.clock.now())
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:00:05")
    assert now(watch) is UNKNOWN
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:00:10")
    assert now(watch) is YES


def test_an_advancing_timecode_that_stops_no_longer_advances(desk: Desk) -> None:
    watch = desk.watch(TIMECODE.advances())
    for second in range(4):
        desk.read(TIMECODE, f"10:00:0{second}:00")
        desk.clock.go(0.1)
    assert now(watch) is YES
    desk.clock.go(0.2)  # more than the 0.12 s within which a running timecode changes
    desk.read(TIMECODE, "10:00:03:00")
    assert now(watch) is NO


def test_a_standing_timecode_is_seen_to_stand_because_nothing_changes(desk: Desk) -> None:
    stands, advances = desk.watch(TIMECODE.stands()), desk.watch(TIMECODE.advances())
    desk.read(TIMECODE, "10:00:00:00")
    desk.clock.go(0.05)
    desk.read(TIMECODE, "10:00:00:00")
    assert (now(stands), now(advances)) == (UNKNOWN, UNKNOWN)  # too soon: a running one may look like that
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:00:00")
    assert (now(stands), now(advances)) == (YES, NO)
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:00:05")
    assert now(stands) is NO


def test_a_question_asked_too_soon_does_not_prove_standing_however_late_its_answer(desk: Desk) -> None:
    watch = desk.watch(TIMECODE.stands())
    desk.read(TIMECODE, "10:00:00:00")
    desk.clock.go(0.5)
    desk.read(TIMECODE, "10:00:00:00", asked_ago_s=0.45)
    assert now(watch) is UNKNOWN


def test_changed_means_since_the_watch_began(desk: Desk) -> None:
    desk.read(SLOT_ACTIVE, 1)
    watch = desk.watch(SLOT_ACTIVE.changed(), since=desk.clock.now())
    desk.read(SLOT_ACTIVE, 1)
    assert now(watch) is NO
    desk.read(SLOT_ACTIVE, 2)
    assert now(watch) is YES
    desk.read(SLOT_ACTIVE, 1)
    assert now(watch) is NO


def test_a_roll_is_seen_only_when_it_records_and_its_timecode_advances(desk: Desk) -> None:
    watch = desk.watch(Roll("Masterclass 3").effect(), since=desk.clock.now())
    desk.read(TRANSPORT, Transport.RECORDING)
    for frame in (0, 5):
        desk.clock.go(0.2)
        desk.read(TIMECODE, f"10:00:00:0{frame}")
    assert now(watch) is UNKNOWN
    assert watch.missing() == ["timecode not seen"]
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:01:10")
    assert now(watch) is YES
    assert watch.missing() == []


def test_what_advanced_before_a_deck_stopped_is_not_counted_when_it_rolls_again(desk: Desk) -> None:
    watch = desk.watch(Roll("Masterclass 3").effect(), since=desk.clock.now())
    for label, rolls in (("00", True), ("05", True), ("10", False), ("11", True)):
        desk.clock.go(0.2)
        desk.read(TRANSPORT, Transport.RECORDING if rolls else Transport.STOPPED)
        desk.read(TIMECODE, f"10:00:00:{label}")
    assert now(watch) is UNKNOWN  # it changed three times since the send, but only once since it rolls
    desk.clock.go(0.2)
    desk.read(TIMECODE, "10:00:00:16")
    assert now(watch) is YES


# -- how long it holds ---------------------------------------------------------------------------------------------


def test_lasting_is_yes_after_its_time_without_another_reading(desk: Desk) -> None:
    desk.read(ON, True)
    desk.watch(ON.is_(True).lasting(2))
    desk.clock.go(1.9)
    assert desk.told == [UNKNOWN]
    desk.clock.go(0.2)
    assert desk.told == [UNKNOWN, YES]


def test_a_break_begins_the_time_anew(desk: Desk) -> None:
    desk.read(ON, True)
    desk.watch(ON.is_(True).lasting(2))
    desk.clock.go(1.5)
    desk.read(ON, False)
    desk.read(ON, True)
    desk.clock.go(1.5)
    assert desk.told == [UNKNOWN, NO, UNKNOWN]
    desk.clock.go(0.6)
    assert desk.told[-1] is YES


def test_one_look_never_proves_that_something_lasts(desk: Desk) -> None:
    desk.read(ON, True)
    assert judge(desk.board, ON.is_(True).lasting(2), "iso-1") is UNKNOWN
    desk.read(ON, False)
    assert judge(desk.board, ON.is_(True).lasting(2), "iso-1") is NO


def test_the_shorter_of_two_times_is_not_missed(desk: Desk) -> None:
    desk.read(ON, True)
    desk.read(TO, True)
    desk.watch(some(ON.is_(True).lasting(1), TO.is_(True).lasting(5)))
    desk.clock.go(1.1)
    assert desk.told == [UNKNOWN, YES]


def test_a_break_counts_also_while_another_part_said_no(desk: Desk) -> None:
    """Only then may "both for 2 s" be believed: the flapping part was not judged while the other said no."""
    desk.read(ON, True)
    desk.read(TO, True)
    watch = desk.watch(every(ON.is_(True), TO.is_(True).lasting(2)))
    desk.clock.go(1)
    desk.read(ON, False)
    desk.clock.go(0.5)
    desk.read(TO, False)
    desk.read(TO, True)
    desk.read(ON, True)
    desk.clock.go(1)  # 2.5 s from the first yes, 1 s from the last
    assert now(watch) is UNKNOWN
    desk.clock.go(1.1)
    assert now(watch) is YES


def test_time_runs_also_while_another_part_was_enough(desk: Desk) -> None:
    desk.read(ON, True)
    desk.read(TO, True)
    watch = desk.watch(some(ON.is_(True), TO.is_(True).lasting(2)))
    desk.clock.go(3)
    desk.read(ON, False)
    assert now(watch) is YES


def test_a_watch_that_begins_again_forgets_how_long_it_held(desk: Desk) -> None:
    desk.read(ON, True)
    watch = desk.watch(ON.is_(True).lasting(2))
    desk.clock.go(3)
    watch.attach()
    assert now(watch) is UNKNOWN


# -- telling -------------------------------------------------------------------------------------------------------


def test_a_watch_tells_at_birth_and_then_only_changes(desk: Desk) -> None:
    desk.watch(ON.is_(True))
    for value in (False, False, True, True, False):
        desk.read(ON, value)
    assert desk.told == [UNKNOWN, NO, YES, NO]


def test_a_watch_that_ended_is_told_nothing_and_leaves_no_timer(desk: Desk) -> None:
    desk.read(ON, True)
    watch = desk.watch(ON.is_(True).lasting(2))
    watch.detach()
    watch.detach()
    desk.read(ON, False)
    desk.clock.go(5)
    assert desk.told == [UNKNOWN]
    assert desk.clock.waiting == 0
    slot = desk.board.get("iso-1", ON)
    assert (slot.watches, slot.turns) == ((), ())


def test_a_watch_ended_by_another_one_s_news_stays_silent(desk: Desk) -> None:
    second: list[Watch] = []

    def end_them(_: Truth) -> None:
        for watch in second:
            watch.detach()

    desk.board.watch(ON.is_(True), end_them, device="iso-1")
    second.append(desk.watch(Lasts(ON.is_(True), 1)))
    desk.read(ON, True)
    desk.clock.go(5)
    assert desk.told == [UNKNOWN]
    assert desk.clock.waiting == 0


def test_missing_says_what_is_seen_instead(desk: Desk) -> None:
    desk.read(TRANSPORT, Transport.PREVIEW)
    desk.read(LEVEL, "off")
    watch = desk.watch(every(TRANSPORT.is_(Transport.RECORDING), LEVEL.at_least(-20), ON.is_(True)))
    assert watch.missing() == [
        "transport is preview",
        "strip 5 level is off, not as wanted: strip 5 level at least -20 dB",
        "a on not seen",
    ]


def test_missing_says_that_a_text_is_empty(desk: Desk) -> None:
    desk.read(TIMECODE, "")
    assert desk.watch(TIMECODE.one_of("01:00:00:00")).missing() == [
        "timecode is empty, not as wanted: timecode is one of 01:00:00:00"
    ]


def test_a_condition_reads_as_a_clause() -> None:
    assert Roll().effect().say() == "transport is recording and timecode advances"
    assert Not(some(ON.is_(True), TO.is_(False)).lasting(2)).say() == "not (a on is yes or b on is no for 2 s)"
    assert LEVEL.one_of(-12.0, "off").on("mixer").say() == "mixer strip 5 level is one of -12 dB, off"


def test_a_leaf_that_names_its_device_keeps_it() -> None:
    there = next(ON.is_(True).leaves()).on("iso-2")
    condition = every(there, ON.is_(True)).on("iso-1")
    assert [leaf.device for leaf in condition.leaves()] == ["iso-2", "iso-1"]


def test_an_effect_is_blind_only_when_none_of_its_points_is_ever_reported(desk: Desk) -> None:
    lamp: PointSpec[bool] = PointSpec("lamp", bool)
    desk.writer.declare(lamp, blind=True)
    assert desk.board.build(lamp.is_(True), desk.told.append, device="iso-1").blind
    assert not desk.board.build(every(lamp.is_(True), ON.is_(True)), desk.told.append, device="iso-1").blind
    assert not desk.board.build(ALWAYS, desk.told.append).blind


def test_a_lazy_watch_sees_a_standing_timecode_once_the_deck_rolls_and_only_then(desk: Desk) -> None:
    """While one claim is plainly no it does not listen to the rest, and is right as soon as that one turns."""
    stands = every(TRANSPORT.is_(Transport.RECORDING), TIMECODE.stands().lasting(1))
    watch = desk.board.watch(stands, desk.told.append, device="iso-1", lazy=True)

    def run(seconds: int, label: str) -> None:
        for _ in range(10 * seconds):
            desk.read(TIMECODE, label)
            desk.clock.go(0.1)

    desk.read(TRANSPORT, Transport.PREVIEW)
    run(5, "10:00:00:00")
    assert watch.truth is NO
    desk.read(TRANSPORT, Transport.RECORDING)
    for second in range(5):
        for frame in range(10, 20):
            desk.read(TIMECODE, f"10:00:0{second}:{frame}")
            desk.clock.go(0.1)
            assert watch.truth is not YES
    assert watch.truth is NO
    run(5, "10:00:04:19")
    assert watch.truth is YES
    desk.read(TRANSPORT, Transport.PREVIEW)
    desk.clock.go(0.1)
    assert watch.truth is NO
    assert desk.told == [UNKNOWN, NO, UNKNOWN, YES, NO]  # it may stand: not known; it stood for a second: yes


def test_a_timecode_at_rest_is_followed_by_no_lazy_watch(desk: Desk) -> None:
    stands = every(TRANSPORT.is_(Transport.RECORDING), TIMECODE.stands())
    desk.read(TRANSPORT, Transport.PREVIEW)
    watches = [desk.board.watch(stands, desk.told.append, device="iso-1", lazy=True) for _ in range(2)]
    timecode = desk.board.reading("iso-1", TIMECODE)
    assert timecode.watches == ()
    desk.read(TRANSPORT, Transport.RECORDING)
    desk.clock.go(0.1)
    assert timecode.watches == (desk.board.later,)
    watches[0].detach()
    assert timecode.watches == (desk.board.later,)
    desk.read(TRANSPORT, Transport.PREVIEW)
    desk.clock.go(0.1)
    assert timecode.watches == ()
    watches[1].detach()
    assert (timecode.lazies, desk.board.reading("iso-1", TRANSPORT).turns) == ((), ())


def test_a_timecode_that_stood_before_its_deck_rolled_stands_at_once(desk: Desk) -> None:
    stands = every(TRANSPORT.is_(Transport.RECORDING), TIMECODE.stands())
    desk.read(TRANSPORT, Transport.PREVIEW)
    watch = desk.board.watch(stands, desk.told.append, device="iso-1", lazy=True)
    for _ in range(20):
        desk.read(TIMECODE, "10:00:00:00")
        desk.clock.go(0.1)
    desk.read(TRANSPORT, Transport.RECORDING)
    assert watch.truth is YES


def test_a_lazy_watch_of_movement_is_told_a_moment_later(desk: Desk) -> None:
    desk.board.watch(TIMECODE.advances(), desk.told.append, device="iso-1", lazy=True)
    del desk.told[:]
    for second in range(3):
        desk.read(TIMECODE, f"10:00:0{second}:00")
    assert desk.told == []
    desk.clock.go(0.1)
    assert desk.told == [YES]
