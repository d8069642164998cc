"""Does the board keep one truth: revisions, times, qualities, one writer?

Source of all rows: own construction, from the docstrings of `stagectl.model.board` and the house rules.
"""

from typing import Any, Final

import pytest

from stagectl.model.board import Board
from stagectl.model.conditions import Truth
from stagectl.model.points import NEVER, PointSpec, Quality, Reading
from tests.model.hand_clock import HandClock

SOURCE: Final[PointSpec[int]] = PointSpec("output.{output}.source", int, settable=True)
ON: Final[PointSpec[bool]] = PointSpec("on", bool)
WORDS: Final = {"yes": True, "no": False}


class Desk:
    def __init__(self) -> None:
        self.clock = HandClock()
        self.board = Board(self.clock)
        self.writer = self.board.writer("hall")
        self.writer.age_of = lambda spec: 5.0 if spec is ON else 0.0
        self.writer.declare(ON, SOURCE.at(3))

    def hear(self, *puts: tuple[Any, ...], asked_at: float | None = None) -> float:
        """One event of the box: its puts, and when their question was sent (None: it came unasked). Returns now."""
        now = self.clock.now()
        self.writer.gather()
        for name, *rest in puts:
            self.writer.put(name, *rest)
        self.writer.commit(now if asked_at is None else asked_at, now)
        return now

    @property
    def on(self) -> Reading[bool]:
        return self.board.get("hall", ON)


@pytest.fixture
def desk() -> Desk:
    return Desk()


def test_a_point_never_read_is_declared_and_not_known(desk: Desk) -> None:
    assert list(desk.board.points("hall")) == ["on", "output.3.source"]
    assert (desk.on.quality, desk.on.value, desk.on.asked_at) == (Quality.UNKNOWN, None, NEVER)


def test_a_name_nobody_declared_is_a_driver_s_slip(desk: Desk) -> None:
    with pytest.raises(KeyError):
        desk.hear(("output.4.source", 1))


def test_a_change_has_one_revision_and_its_times(desk: Desk) -> None:
    rev = desk.board.rev
    asked = desk.clock.now()
    desk.clock.go(0.1)
    now = desk.hear(("on", "yes", WORDS.__getitem__), asked_at=asked)
    assert desk.board.rev == rev + 1 == desk.on.rev
    assert (desk.on.value, desk.on.raw, desk.on.quality) == (True, "yes", Quality.GOOD)
    assert (desk.on.asked_at, desk.on.read_at, desk.on.changed_at, desk.on.changes) == (asked, now, now, 1)


def test_the_same_again_bumps_nothing_but_renews_its_times_and_pokes_its_watches(desk: Desk) -> None:
    first = desk.hear(("on", True))
    rev, told = desk.board.rev, []

    class Ear:
        def poke(self, reading: Reading[Any]) -> None:
            told.append(reading.name)

    desk.on.watches += (Ear(),)  # type: ignore[arg-type]
    desk.clock.go(1)
    second = desk.hear(("on", True))
    assert desk.board.rev == rev
    assert told == ["on"]
    assert (desk.on.asked_at, desk.on.read_at, desk.on.changed_at, desk.on.changes) == (second, second, first, 1)


def test_an_answer_to_an_older_question_makes_no_value_younger(desk: Desk) -> None:
    """The notice came meanwhile; the answer that follows confirms it, but was asked for before."""
    asked = desk.clock.now()
    notice = desk.hear(("on", True))
    desk.hear(("on", True), asked_at=asked)
    assert desk.on.asked_at == notice


def test_every_value_of_one_answer_is_as_old_as_its_question(desk: Desk) -> None:
    """Also when the first of them makes the kit write a point of its own, such as the box's health."""
    asked = desk.clock.now()
    desk.clock.go(1)
    health: PointSpec[str] = PointSpec("health", str)
    desk.writer.declare(health)

    def judge(truth: Truth) -> None:
        desk.writer.compute("health", f"on is {truth}", asked_at=desk.clock.now())

    desk.board.watch(ON.is_(True), judge, device="hall")
    desk.hear(("on", True), ("output.3.source", 7), asked_at=asked)
    assert desk.board.get("hall", health).value == "on is yes"
    assert (desk.on.asked_at, desk.board.get("hall", SOURCE.at(3)).asked_at) == (asked, asked)


@pytest.mark.parametrize("read", [WORDS.__getitem__, float])
def test_a_word_we_do_not_know_is_not_known_and_its_text_is_kept(desk: Desk, read: Any) -> None:
    desk.hear(("on", True))
    desk.hear(("on", "perhaps", read))
    assert (desk.on.value, desk.on.raw, desk.on.quality) == (None, "perhaps", Quality.UNKNOWN)
    rev = desk.board.rev
    desk.hear(("on", "perhaps", read))
    assert desk.board.rev == rev
    desk.hear(("on", "yes", WORDS.__getitem__))
    assert (desk.on.value, desk.on.quality) == (True, Quality.GOOD)


def test_another_slip_of_a_reader_is_not_hidden(desk: Desk) -> None:
    with pytest.raises(TypeError):
        desk.hear(("on", None, lambda raw: raw + 1))


def test_another_spelling_of_the_same_value_is_no_change(desk: Desk) -> None:
    first = desk.hear(("on", "yes", lambda raw: True))
    rev = desk.board.rev
    desk.hear(("on", "YES", lambda raw: True))
    assert (desk.board.rev, desk.on.raw, desk.on.changed_at, desk.on.changes) == (rev, "YES", first, 1)


def test_a_lost_link_keeps_every_value_as_stale(desk: Desk) -> None:
    desk.hear(("on", True), ("output.3.source", 7))
    rev = desk.board.rev
    desk.writer.lost()
    desk.writer.lost()
    assert desk.board.rev == rev + 2  # one for each point, once
    assert {(point.value, point.quality) for point in desk.board.points("hall").values()} == {
        (True, Quality.STALE),
        (7, Quality.STALE),
    }


@pytest.mark.parametrize("again", ["same", "otherwise spelt"])
def test_a_stale_value_read_again_is_good_and_did_not_change(desk: Desk, again: str) -> None:
    first = desk.hear(("on", "same", lambda raw: True))
    desk.writer.lost()
    rev = desk.board.rev
    desk.clock.go(1)
    now = desk.hear(("on", again, lambda raw: True))
    assert (desk.on.quality, desk.on.changed_at, desk.on.changes) == (Quality.GOOD, first, 1)
    assert (desk.board.rev, desk.on.read_at) == (rev + 1, now)


def test_a_point_declared_again_keeps_revision_value_and_watches(desk: Desk) -> None:
    told: list[Truth] = []
    desk.hear(("on", True))
    desk.board.watch(ON.is_(True), told.append, device="hall")
    slot, rev = desk.on, desk.board.rev
    desk.writer.declare(ON)
    assert desk.on is slot
    assert (desk.board.rev, slot.value) == (rev, True)
    desk.hear(("on", False))
    assert told == [Truth.YES, Truth.NO]


def test_a_polled_value_ages_from_its_question_and_one_kept_by_notices_with_its_link(desk: Desk) -> None:
    asked = desk.clock.now()
    desk.clock.go(1)
    heard = desk.hear(("on", True), ("output.3.source", 7), asked_at=asked)
    source = desk.board.get("hall", SOURCE.at(3))
    desk.writer.age(asked + 5.0, heard_at=asked + 4.9, link_s=2.5)
    assert (desk.on.quality, source.quality) == (Quality.GOOD, Quality.GOOD)
    desk.writer.age(asked + 5.1, heard_at=asked + 4.9, link_s=2.5)
    assert (desk.on.quality, source.quality) == (Quality.STALE, Quality.GOOD)
    desk.writer.age(heard + 6, heard_at=heard, link_s=2.5)
    assert source.quality is Quality.STALE


def test_what_a_silent_link_told_is_stale_however_seldom_it_is_polled(desk: Desk) -> None:
    """Else one half of a dead box would be shown as good, beside the other that is not."""
    heard = desk.hear(("on", True))
    desk.board.get("hall", SOURCE.at(3)).age_s = float("inf")  # known without the link
    desk.hear(("output.3.source", 7))
    desk.writer.age(heard + 2.6, heard_at=heard, link_s=2.5)
    assert desk.on.age_s > 2.6
    assert desk.on.quality is Quality.STALE
    assert desk.board.get("hall", SOURCE.at(3)).quality is Quality.GOOD


def test_what_was_sent_to_a_box_that_can_t_report_is_shown_as_asked(desk: Desk) -> None:
    lamp: PointSpec[bool] = PointSpec("lamp", bool)
    desk.writer.declare(lamp, blind=True)
    desk.writer.asked("lamp", True)
    slot = desk.board.get("hall", lamp)
    assert (slot.value, slot.quality, slot.blind) == (True, Quality.ASKED, True)


def test_a_computed_point_is_no_better_than_what_it_was_made_of(desk: Desk) -> None:
    desk.writer.compute("on", True, asked_at=50.0)
    assert (desk.on.quality, desk.on.asked_at) == (Quality.GOOD, 50.0)
    rev = desk.board.rev
    desk.writer.compute("on", True, quality=Quality.STALE, asked_at=40.0)
    desk.writer.compute("on", True, quality=Quality.STALE, asked_at=40.0)
    assert (desk.on.value, desk.on.quality, desk.on.asked_at, desk.board.rev) == (True, Quality.STALE, 40.0, rev + 1)


def test_only_acts_have_an_author(desk: Desk) -> None:
    desk.board.author = lambda reading: "ines"
    desk.hear(("on", True), ("output.3.source", 7))
    source = desk.board.get("hall", SOURCE.at(3))
    assert (desk.on.by, source.by) == ("", "")  # the first sight of a point is nobody's act
    desk.hear(("on", False), ("output.3.source", 8))
    assert (desk.on.by, source.by) == ("", "ines")


def test_a_view_gives_each_changed_point_once_and_wakes_once(desk: Desk) -> None:
    wakes: list[int] = []
    view = desk.board.view(lambda: wakes.append(desk.board.rev))
    for source in (1, 2, 3):
        desk.hear(("output.3.source", source), ("on", source == 3))
    assert [(reading.name, reading.value) for reading in view.take()] == [("output.3.source", 3), ("on", True)]
    assert (len(wakes), view.take()) == (1, [])
    desk.board.drop_view(view)
    desk.board.drop_view(view)
    desk.hear(("on", False))
    assert view.take() == []


def test_revisions_only_grow(desk: Desk) -> None:
    revs = [desk.board.rev]
    for act in (lambda: desk.hear(("on", True)), desk.writer.lost, lambda: desk.writer.unknown("on", "?")):
        act()
        revs.append(desk.board.rev)
    assert revs == sorted(set(revs))


def test_two_devices_share_nothing_but_the_counter(desk: Desk) -> None:
    other = desk.board.writer("gallery")
    other.declare(ON)
    desk.hear(("on", True))
    assert desk.board.get("gallery", ON).quality is Quality.UNKNOWN
    assert desk.board.find("gallery", "output.3.source") is None
    assert [reading.device for reading in desk.board.everything()] == ["hall", "hall", "gallery"]


def test_a_row_is_put_like_its_points_one_by_one(desk: Desk) -> None:
    row = desk.writer.row(("on", WORDS.__getitem__), ("output.3.source", int))
    now = desk.clock.now()
    desk.writer.gather()
    desk.writer.put_row(row, ["yes", "7"])
    assert desk.on.quality is Quality.UNKNOWN, "held back like any put until its time is known"
    desk.writer.commit(now - 1, now)
    assert (desk.on.value, desk.on.raw, desk.on.asked_at, desk.on.read_at) == (True, "yes", now - 1, now)
    assert desk.board.get("hall", SOURCE.at(3)).value == 7
    desk.writer.put_row(row, ["maybe", "7"])
    assert desk.on.quality is Quality.UNKNOWN
    with pytest.raises(KeyError):
        desk.writer.row(("output.4.source", int))
