"""Where do copies stand, and in which order are they made? Rows; source of all: own construction, where not said."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest

from stagectl.copyoff.plan import NAME_MOST, Layout, Shots, apart, fit, fold, planned, rank, room
from stagectl.copyoff.source import Found, Look, ToldBy
from stagectl.shoot.take import Lane, Take
from stagectl.site.copyentries import GOOD, NEWEST, OLDEST

NOON = datetime(2027, 3, 12, 12, tzinfo=UTC)


def take(number: int, name: str, at: datetime, *clips: tuple[str, str], good: bool = False) -> Take:
    made = Take(number, name, at, 0.0, good=good)
    for device, clip in clips:
        made.lanes.setdefault(device, []).append(Lane(device, device, at, 0.0, clip=clip))
    return made


def found(path: str, mtime: datetime | None = NOON, slot: int = 1) -> Found:
    return Found(path, slot, Look(100, mtime, ToldBy.FACTS if mtime else ToldBy.NOBODY))


@pytest.mark.parametrize(
    ("name", "fitting"),
    [
        ("T001_wide.mov", "T001_wide.mov"),
        ("[take] & 1; 50%.mov", "[take] & 1; 50%.mov"),
        ("Grüße.mov", "Grüße.mov"),
        ("Gru\u0308ße.mov", "Gr\u00fcße.mov"),  # both spellings of one name stand under one
        ("a:b*c?d.mov", "a_b_c_d.mov"),
        ("..", "_"),
        ("../../etc/passwd", "__.._etc_passwd"),
        (".hidden", "_hidden"),
        ("ends with dots...", "ends with dots"),
        ("con.mov", "_con.mov"),
        ("COM1", "_COM1"),
        ("console.mov", "console.mov"),
        ("line\nend.mov", "line_end.mov"),
        ("", "_"),
        ("x.part-1", "x_part_1"),
    ],
)
def test_a_name_fits_any_usual_file_system(name: str, fitting: str) -> None:
    assert fit(name) == fitting


def test_a_long_name_keeps_its_end() -> None:
    made = fit("ü" * 200 + ".mov")
    assert made.endswith("ü.mov")
    assert len(made.encode()) <= NAME_MOST


@pytest.mark.parametrize(
    ("template", "path"),
    [
        ("{recorder}/{clip}", "iso-1/T001_wide.mov"),
        ("{day}/{slate}/{recorder}_{take}{ext}/{clip}", "2027-03-12/Bach 3/iso-1_007.mov/T001_wide.mov"),
        ("rushes/{slot}/{stem}.{recorder}{ext}", "rushes/1/T001_wide.iso-1.mov"),
    ],
)
def test_a_template_is_filled_from_take_and_clip(template: str, path: str) -> None:
    shots = Shots([take(7, "Bach 3", NOON, ("iso-1", "T001_wide"))])
    assert planned("iso-1", found("1/T001_wide.mov"), Layout(template), shots).path == path


def test_a_slate_can_t_leave_its_folder() -> None:
    shots = Shots([take(7, "../../etc", NOON, ("iso-1", "T001_wide"))])
    path = planned("iso-1", found("1/T001_wide.mov"), Layout("{slate}/{clip}"), shots).path
    assert path.count("/") == 1
    assert not path.startswith(".")


def test_what_no_take_holds_is_named_so_and_still_copied() -> None:
    one = planned("iso-1", found("1/x", None, 0), Layout("{day}/{slate}/{take}/{slot}/{clip}"), Shots([]))
    assert one.path == "unknown/unknown/unknown/unknown/x"
    assert one.take is None


@pytest.mark.parametrize(
    ("template", "says"),
    [
        ("{recorder}/{clp}", "Say one of: recorder, clip"),
        ("{recorder}", "tells no clips apart"),
        ("/{clip}", "no step may be empty"),
        ("../{clip}", "no step may be empty"),
        ("{clip", "a brace too many or too few"),
        ("{clip!r}", "there is no field"),
        ("{clip:>200}", "there is no field"),
        ("{clip.__class__}", "there is no field"),
    ],
)
def test_a_wrong_template_says_what_to_do(template: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Layout(template)


def test_newest_day_comes_first_and_good_takes_first_in_it() -> None:
    rows = [("2027-03-11", True, "a"), ("2027-03-12", False, "a"), ("unknown", True, "a"), ("2027-03-12", True, "b")]
    ranks = sorted((rank(day, good=good, path=path), day, path) for day, good, path in rows)
    assert [(day, path) for _, day, path in ranks] == [
        ("2027-03-12", "b"),
        ("2027-03-12", "a"),
        ("2027-03-11", "a"),
        ("unknown", "a"),
    ]


@pytest.mark.parametrize(
    ("order", "turns"),
    [
        ((GOOD, NEWEST), ["good 11", "good 10", "good ?", "other 12", "other 10"]),
        ((GOOD, OLDEST), ["good 10", "good 11", "good ?", "other 10", "other 12"]),
        ((OLDEST, GOOD), ["good 10", "other 10", "good 11", "other 12", "good ?"]),
        ((OLDEST,), ["good 10", "other 10", "good 11", "other 12", "good ?"]),
    ],
)
def test_the_site_file_says_which_clips_come_first(order: Sequence[str], turns: list[str]) -> None:
    def turn(clip: str) -> str:
        quality, day = clip.split()
        day = "unknown" if day == "?" else f"2027-03-{day}"
        return rank(day, good=quality == "good", path=clip, order=order)

    assert sorted(turns, key=turn) == turns


def test_a_clip_name_used_twice_belongs_to_the_take_that_rolled_before_the_file_was_written() -> None:
    early = take(1, "morning", NOON - timedelta(hours=3), ("iso-1", "T001"))
    late = take(2, "noon", NOON, ("iso-1", "T001"))
    shots = Shots([late, early])
    told = [
        (NOON - timedelta(hours=2), 1),
        (NOON + timedelta(minutes=1), 2),
        (NOON - timedelta(minutes=5), 2),  # its clock is five minutes behind
        (None, 2),
    ]
    for mtime, number in told:
        held = shots.held("iso-1", "T001.mov", mtime)
        assert held is not None
        assert held.take == number
    assert shots.held("iso-2", "T001.mov", NOON) is None


def test_a_clip_is_found_by_its_whole_name_too() -> None:
    shots = Shots([take(1, "a", NOON, ("iso-1", "T001.v2"))])
    assert shots.held("iso-1", "t001.V2.mov", NOON) is not None


@pytest.mark.parametrize(
    ("path", "number", "beside"),
    [
        ("iso-1/T001.mov", 2, "iso-1/T001_2.mov"),
        ("iso-1/T001", 3, "iso-1/T001_3"),
        ("d.d/T001", 2, "d.d/T001_2"),
    ],
)
def test_another_clip_of_the_same_name_stands_beside(path: str, number: int, beside: str) -> None:
    assert apart(path, number) == beside


def test_names_that_one_disk_takes_for_one_fold_alike() -> None:
    assert fold("iso-1/Straße.MOV") == fold("ISO-1/STRASSE.mov")
    assert fold("Gru\u0308n") == fold("Gr\u00fcn")


def test_room_is_the_clip_and_a_twentieth_and_the_reserve() -> None:
    """Source: clip-store sheet, section 7 step 1."""
    assert room(100 << 30, 1 << 30) == pytest.approx(106 << 30)
    assert room(0, 1) == 1
