"""Do settings go out in an order that hurts nobody? Source of the order: common practice in studios."""

from typing import Any

import pytest

from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import BUS_LEVEL, SEND_LEVEL, STRIP_LEVEL, STRIP_MUTED, STRIP_NAME
from stagectl.model.capabilities.recorder import CODEC, SLOT_ACTIVE
from stagectl.model.capabilities.router import INPUT_NAME, OUTPUT_LOCK, OUTPUT_SOURCE, Lock
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Set
from stagectl.shoot.order import MOST, SPAN, STEP, Stage, stage_of, staged, together
from stagectl.shoot.paths import SHOWS
from tests.model.hand_clock import HandClock

ROWS: list[tuple[PointSpec[Any], Any, Any, Stage]] = [
    # point, what it is (None: not known), what it is to be, when
    (STRIP_MUTED.at(1), False, True, Stage.DOWN),
    (STRIP_MUTED.at(1), True, False, Stage.OPEN),
    (STRIP_LEVEL.at(1), -10.0, -12.0, Stage.DOWN),
    (STRIP_LEVEL.at(1), -10.0, "off", Stage.DOWN),
    (STRIP_LEVEL.at(1), -12.0, -10.0, Stage.UP),
    (STRIP_LEVEL.at(1), "off", -60.0, Stage.UP),
    (STRIP_LEVEL.at(1), None, -60.0, Stage.UP),  # it may rise
    (STRIP_LEVEL.at(1), None, "off", Stage.DOWN),  # nothing is lower
    (SEND_LEVEL.at(1, 4), "off", 0.0, Stage.UP),
    (BUS_LEVEL.at(3), 0.0, -6.0, Stage.DOWN),
    (STRIP_NAME.at(1), "a", "b", Stage.BOXES),
    (CODEC, "a", "b", Stage.BOXES),
    (SLOT_ACTIVE, 1, 2, Stage.BOXES),
    (INPUT_NAME.at(1), "a", "b", Stage.BOXES),
    (OUTPUT_SOURCE.at(1), 1, 2, Stage.PICTURES),
    (OUTPUT_LOCK.at(1), Lock.OURS, Lock.FREE, Stage.BOXES),
    (OUTPUT_LOCK.at(1), Lock.FREE, Lock.OURS, Stage.LOCKS),
]


def ask(spec: PointSpec[Any], value: Any, target: str = "box", **more: Any) -> Ask:
    return Ask("", "", "", target, Set(spec, value), **more)


@pytest.mark.parametrize(("spec", "now", "wanted", "stage"), ROWS)
def test_each_setting_has_its_stage(spec: PointSpec[Any], now: Any, wanted: Any, stage: Stage) -> None:
    board = Board(HandClock())
    if now is not None:
        writer = board.writer("box")
        writer.declare(spec)
        writer.put(spec.name, now)
    assert stage_of(board, ask(spec, wanted)) is stage


def test_the_steps_of_a_way_are_kept_and_its_own_point_stands_last() -> None:
    hops = [ask(OUTPUT_SOURCE.at(15), 4, "hall"), ask(OUTPUT_SOURCE.at(1), 1, "gallery", stage=1)]
    asks = staged([ask(SHOWS.at("program"), "wide", "paths"), *hops], {"paths"}, Board(HandClock()))
    first = Stage.PICTURES * SPAN
    assert [one.stage for one in asks] == [first + STEP, first, first + STEP]


def test_all_but_sound_down_waits_for_it_and_nothing_is_asked_twice() -> None:
    board = Board(HandClock())
    down = staged([ask(STRIP_MUTED.at(1), True, "mixer")], (), board)
    route = staged([ask(OUTPUT_SOURCE.at(1), 2, "hall")], (), board)
    again = staged([ask(OUTPUT_SOURCE.at(1), 2, "hall")], (), board)
    asks = together([*route, *down, *again], ())
    assert [(one.target, one.after) for one in asks] == [("hall", (("mixer", "strip.1.muted"),)), ("mixer", ())]
    assert asks[0].stage > asks[1].stage


def test_more_of_one_box_than_can_be_looked_at_in_time_goes_out_in_rounds() -> None:
    board = Board(HandClock())
    many = [one for number in range(1, 2 * MOST + 2) for one in staged([ask(STRIP_NAME.at(number), "x")], (), board)]
    own = staged([ask(SHOWS.at("program"), "x", "paths"), ask(STRIP_NAME.at(999), "x")], {"paths"}, board)
    asks = together([*many, *own], {"paths"})
    stages = [one.stage - Stage.BOXES * SPAN for one in asks if one.target == "box"]
    assert [stages.count(number) for number in range(3)] == [MOST, MOST, 2]
    (part,) = [one for one in asks if one.target == "paths"]
    assert part.stage == Stage.BOXES * SPAN + 2  # with the last of it
