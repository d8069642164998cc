"""Does what is not needed for a proof wait while a roll or cut is proved, and never for long?

No outside source: the bounds are the project's own. Small houses wait for nothing: there is nothing in the way.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

import pytest

from stagectl.control.chronicle import Chronicle
from stagectl.control.judging import ANSWER_S, FIRST_LOOK_S, PROVING_S
from stagectl.driverkit import sweep
from stagectl.driverkit.box import Box
from stagectl.driverkit.driver import Look
from stagectl.driverkit.looks import Looks
from stagectl.driverkit.real import RealChance
from stagectl.driverkit.sweep import OLDER, OLDEST, SWEEP_S, Sweep
from stagectl.model.board import LAZY_S, LAZY_SLICE, Board
from stagectl.model.capabilities.recorder import TIMECODE
from stagectl.model.conditions import NO, YES, Truth
from stagectl.model.late import PATIENCE_S, put_off
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ended
from stagectl.shoot.take import Lane, Take
from stagectl.shoot.takeclips import LIST_S, LIST_SLICE, TakeClips
from stagectl.shoot.takerecords import LANES_S, LANES_TOGETHER, TakeRecords
from tests.control.booth import Booth, cut, deck, now, roll
from tests.driverkit.memory import virtual
from tests.model.hand_clock import HandClock
from tests.shoot.hall import PaperJournal

ON: PointSpec[bool] = PointSpec("on", bool)
MANY = LANES_TOGETHER + 1


async def booth(*names: str) -> Booth:
    return await Booth(**{name: deck() for name in names}).up()


@virtual
async def test_a_roll_and_a_cut_are_being_proved_until_just_after_their_last_verdict() -> None:
    own = await booth("iso-1", "iso-2")
    own.far["iso-2"].roll_s = 0.2
    for ask in (roll, cut):
        group = own.press(ask(own, "iso-1"), ask(own, "iso-2"))
        begun = now()
        assert begun < own.board.proving_until <= begun + PROVING_S + 0.01
        assert await group.wait(60)
        assert own.board.proving_until <= now() + ANSWER_S + 0.001
    await own.rest()


@virtual
async def test_a_deck_that_never_rolls_keeps_nobody_waiting_beyond_half_a_second() -> None:
    own = await booth("iso-1")
    own.far["iso-1"].deaf = True
    group = own.press(roll(own))
    begun = now()
    await own.verdict(group)
    assert now() > begun + 2 * PROVING_S
    assert own.board.proving_until < begun + PROVING_S + 0.01


def lazies(number: int) -> tuple[Board, HandClock, list[Truth], Callable[[], None]]:
    """So many boxes whose point is followed lazily; the last turns it on for all of them."""
    clock = HandClock()
    board = Board(clock)
    writers, told = [board.writer(f"box-{place}") for place in range(number)], list[Truth]()
    for writer in writers:
        writer.declare(ON)
        writer.compute("on", False, asked_at=clock.now())
        board.watch(ON.is_(True), told.append, device=writer.device, lazy=True)

    def turn() -> None:
        for writer in writers:
            writer.compute("on", True, asked_at=clock.now())

    assert told == [NO] * number
    del told[:]
    return board, clock, told, turn


def test_many_lazy_watches_are_told_after_the_proof_and_show_the_truth_before() -> None:
    board, clock, told, turn = lazies(LAZY_SLICE + 1)
    asked = board.watch(ON.is_(True), lambda truth: None, device="box-0", lazy=True)
    board.proving_until = clock.now() + 0.3
    turn()
    clock.go(0.29)
    assert told == []
    assert asked.truth is YES
    clock.go(LAZY_S)
    assert told == [YES] * (LAZY_SLICE + 1)


def test_many_lazy_watches_wait_for_one_roll_and_not_for_all_that_follow_it() -> None:
    board, clock, told, turn = lazies(LAZY_SLICE + 1)
    turn()
    for press in range(20):
        board.proving_until = clock.now() + PROVING_S
        clock.go(0.12 * PATIENCE_S)
        assert bool(told) is (press >= 8)


def test_few_lazy_watches_are_told_at_once_also_while_a_roll_is_proved() -> None:
    board, clock, told, turn = lazies(3)
    board.proving_until = clock.now() + 0.3
    turn()
    assert told == []
    clock.go(LAZY_S + 0.001)
    assert told == [YES] * 3


@pytest.mark.parametrize(("count", "waits"), [(MANY, True), (5, False)])
def test_many_lanes_are_written_after_the_proof_and_few_at_once(count: int, waits: bool) -> None:
    clock, written, proving = HandClock(), list[float](), [True]
    take = Take(1, "", clock.wall(), clock.now())
    records = TakeRecords(
        clock,
        Chronicle(PaperJournal(), clock),
        OrderedDict({1: take}),
        finish=lambda lane: None,
        written=lambda: written.append(clock.now()),
        proving=lambda: proving[0],
    )
    for number in range(count):
        device = f"iso-{number}"
        take.lanes[device] = [Lane(device, device, clock.wall(), clock.now())]
        records.lane_soon(device, take)
    clock.go(PATIENCE_S - LANES_S)
    assert bool(written) is not waits
    proving[0] = False
    clock.go(LANES_S + 0.001)
    assert len(written) == 1


@pytest.mark.parametrize(("count", "waits"), [(LIST_SLICE + 1, True), (5, False)])
def test_many_clip_lists_are_asked_for_after_the_proof_and_few_at_once(count: int, waits: bool) -> None:
    clock, asked = HandClock(), list[str]()
    board = Board(clock)
    clips = TakeClips(board, clock, lambda device, names: asked.append(device))
    board.proving_until = clock.now() + 1000
    for number in range(count):
        clips.ask_soon(f"iso-{number}")
    clock.go(LIST_S + 0.001)
    assert len(asked) == (0 if waits else count)
    clock.go(LIST_S + 0.001)  # once, and no longer: the take would stay without clips
    assert len(asked) == count


def test_looks_at_clips_and_media_wait_and_those_that_prove_do_not() -> None:
    clock = HandClock()
    writer = Board(clock).writer("iso-1")
    writer.declare(ON)
    kinds = (Look(("on",), 1.0), Look(("on",), 5.0))
    looks = Looks()
    looks.begin(kinds, clock.now(), RealChance().stream("looks"))
    clock.go(10)
    assert [number for number, _ in looks.due(kinds, clock.now(), writer, rare=False)] == [0]
    clock.go(10)
    assert [number for number, _ in looks.due(kinds, clock.now(), writer)] == [0, 1]


def test_nothing_is_put_off_twice() -> None:
    assert put_off(0, before=False, proving=True)
    assert not put_off(0, before=True, proving=True)
    assert not put_off(0, before=False)


class Collector:
    """Stands for `gc`: what was collected, and when."""

    def __init__(self, clock: HandClock) -> None:
        self._clock = clock
        self.seen: list[tuple[float, int]] = []

    def collect(self, generation: int = 2) -> int:
        self.seen.append((self._clock.now(), generation))
        return 0

    def freeze(self) -> None: ...

    def set_threshold(self, *at: Any) -> None: ...


@pytest.fixture
def swept(monkeypatch: pytest.MonkeyPatch) -> tuple[Sweep, HandClock, Board, Collector]:
    clock = HandClock()
    board, collector = Board(clock), Collector(clock)
    monkeypatch.setattr(sweep, "gc", collector)
    own = Sweep(board)
    own.start()
    assert [generation for _, generation in collector.seen] == [2]
    del collector.seen[:]
    return own, clock, board, collector


Swept = tuple[Sweep, HandClock, Board, Collector]


def test_the_youngest_are_swept_each_second_and_older_ones_now_and_then(swept: Swept) -> None:
    own, clock, _, collector = swept
    clock.go(2 * OLDER * SWEEP_S + 0.1)
    assert [generation for _, generation in collector.seen] == [*[0] * (OLDER - 1), 1] * 2
    own.stop()
    own.stop()
    clock.go(10)
    assert len(collector.seen) == 2 * OLDER


def test_no_sweep_falls_into_a_proof_and_none_is_put_off_twice(swept: Swept) -> None:
    _, clock, board, collector = swept
    board.proving_until = clock.now() + 1.5 * SWEEP_S
    clock.go(1.6 * SWEEP_S)
    assert collector.seen == []
    clock.go(0.5 * SWEEP_S)
    assert len(collector.seen) == 1
    board.proving_until = clock.now() + 100 * SWEEP_S
    clock.go(20 * SWEEP_S)
    assert len(collector.seen) == 1 + 10


def test_the_oldest_are_swept_every_five_minutes(swept: Swept) -> None:
    _, clock, _, collector = swept
    clock.go(OLDEST * SWEEP_S + 0.1)
    assert [generation for _, generation in collector.seen].count(2) == 1
    assert collector.seen[-1][1] == 2


@pytest.mark.parametrize(("proves", "looks_after"), [(True, 2 * FIRST_LOOK_S), (False, FIRST_LOOK_S)])
@virtual
async def test_while_verdicts_come_in_the_others_are_not_asked_in_between(
    monkeypatch: pytest.MonkeyPatch, proves: bool, looks_after: float
) -> None:
    own, asked = await booth("iso-1", "iso-2"), list[tuple[str, float]]()
    glance = Box.glance

    def noted(box: Box, names: tuple[str, ...]) -> None:
        asked.append((box.name, now()))
        glance(box, names)

    monkeypatch.setattr(Box, "glance", noted)
    own.far["iso-2"].deaf = True
    group = own.press(roll(own, "iso-1"), roll(own, "iso-2"))
    begun, later = now(), asyncio.get_running_loop().call_later
    for after_s, label in ((0.1, "10:00:00:05"), (FIRST_LOOK_S - 0.01, "10:00:00:06")):
        if proves:
            later(after_s, own.far["iso-1"].has, TIMECODE, label)
    assert await group.wait(60)
    first = next(at for name, at in asked if name == "iso-2")
    assert first - begun == pytest.approx(looks_after, abs=0.01)
    assert [group.commands[place].verdict.ended for place in (0, 1)] == [Ended.VERIFIED, Ended.FAILED]  # type: ignore[union-attr]
    await own.rest()
