"""Do the pictures show what is so, to scale, in words too, and can nothing break out of them?

Sources: places are reckoned by hand from the labels; well-formed XML is what the standard library's reader reads; that
a picture has a title and a description which its role points to is WAI-ARIA practice, from memory.
"""

from datetime import UTC, datetime
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from stagectl.handoff.daypicture import BARS_MOST, day_picture
from stagectl.handoff.logsheet import log_sheet
from stagectl.handoff.ranges import ranged
from stagectl.handoff.svg import cut, sayable
from stagectl.handoff.takepicture import take_picture
from tests.handoff.test_ranges import ROWS, lane, take
from tests.handoff.test_timeline import mark

NOW = datetime(2026, 11, 28, 20, 0, tzinfo=UTC)
SPACE = "{http://www.w3.org/2000/svg}"


def read(picture: str) -> ET.Element:
    return ET.fromstring(picture)


def bars(root: ET.Element) -> list[tuple[float, float]]:
    """First and last x of each clip's bar: those that say in words what they are."""
    found = [rect for rect in root.iter("rect") if rect.find("title") is not None]
    return [(float(one.attrib["x"]), float(one.attrib["x"]) + float(one.attrib["width"])) for one in found]


def told(root: ET.Element) -> list[str]:
    return [one.text or "" for one in root.iter("text")]


def drawn(*lanes: dict[str, Any], **more: Any) -> ET.Element:
    return read(take_picture(ranged([take(*lanes, **more)])[0]))


def test_clips_stand_to_scale_and_the_bracket_over_what_all_share() -> None:
    root = drawn(lane("hands", "10:00:00:00", "00:02:00:00"), lane("wide", "10:00:30:00", "00:01:00:00"))
    (first, last), (late, early) = bars(root)
    # wide begins after a quarter of the two minutes, and ends a quarter before their end
    assert (late - first) / (last - first) == pytest.approx(0.25, abs=0.001)
    assert (last - early) / (last - first) == pytest.approx(0.25, abs=0.001)
    axis = list(root.iter("polyline"))[-1].attrib["points"].split()
    assert [float(point.split(",")[0]) for point in axis] == pytest.approx([first, last], abs=0.1)
    bracket = next(root.iter("polyline")).attrib["points"].split()
    assert [float(point.split(",")[0]) for point in (bracket[0], bracket[-1])] == pytest.approx([late, early], abs=0.1)


@pytest.mark.parametrize(("format", "clips", "frames", "offsets"), [(r[1], r[2], r[5], r[6]) for r in ROWS])
def test_what_is_too_short_to_be_seen_stands_in_figures(
    format: str,  # noqa: A002
    *,
    clips: list[tuple[str, str]],
    frames: int,
    offsets: list[int],
) -> None:
    root = drawn(*(lane(f"iso-{n}", start, length, format=format) for n, (start, length) in enumerate(clips, 1)))
    assert any(f"{frames} frames at" in text for text in told(root))
    figures = [int(text) for text in told(root) if text.startswith("+")]
    assert figures[0::2] == offsets


def test_a_picture_is_named_and_told_in_words() -> None:
    marks = [mark("problem", "10:00:04:00", "a chair")]
    lanes = [lane("hands", "10:00:00:00", "00:02:00:00"), lane("wide", "10:00:30:00", "00:01:00:00")]
    root = drawn(*lanes, marks=marks, wanted=["pgm"], good=True)
    by_id = {one.attrib["id"]: one.text for one in root.iter() if "id" in one.attrib}
    assert root.attrib["role"] == "img"
    title, about = (by_id[name] or "" for name in root.attrib["aria-labelledby"].split())
    assert title == "Take 1 Masterclass 3, good"
    assert about == (
        "All share 10:00:30:00 to 10:01:30:00, 1500 frames at 25. pgm did not roll. "
        "Hands: 750 frames before it and 750 after it. Wide: 0 frames before it and 0 after it. "
        "a  10:00:04:00 problem: a chair."
    )


@pytest.mark.parametrize(
    ("lanes", "said"),
    [
        ([lane("wide", "", "", format="")], "T001_wide, first label not known, not known whole"),
        ([lane("hands", "10:00:00:00", "00:01:00:00"), lane("wide", "10:00:00:00", "")], "not known whole"),
        (
            [
                lane("hands", "10:00:00:00", "00:01:00:00"),
                lane("wide", "10:00:00:00", "00:01:00:00", format="1080p50"),
            ],
            "T001_wide, 10:00:00:00 to 10:01:00:00, 3000 frames at 50",
        ),
    ],
    ids=["nothing known", "one not whole", "two rates"],
)
def test_what_has_no_place_is_told_in_words(lanes: list[dict[str, Any]], said: str) -> None:
    root = drawn(*lanes)
    assert said in told(root)
    assert "No common range" in (next(root.iter("desc")).text or "")


def test_hostile_names_stay_text() -> None:
    bad = '</svg><script x="&">\x00\x1b\ufffe'
    lanes = [lane("wide", "10:00:00:00", "00:01:00:00", called=bad, clip=bad)]
    one = take(*lanes, name=bad, marks=[mark("note", "10:00:01:00", bad)])
    for picture in (take_picture(ranged([one])[0]), day_picture(ranged([one]), bad, NOW)):
        root = read(picture)
        assert {item.tag for item in root.iter()} <= {"svg", "title", "desc", "rect", "polyline", "text"}
        assert "\x00" not in picture
    assert sayable("a\x00b") == "a\ufffdb"


def test_a_picture_that_stands_alone_brings_its_space_and_both_themes() -> None:
    (one,) = ranged([take(lane("wide", "10:00:00:00", "00:01:00:00"))])
    alone, inside = take_picture(one, alone=True), take_picture(one)
    assert read(alone).tag == f"{SPACE}svg"
    assert "prefers-color-scheme:dark" in alone
    assert "Take 1 Masterclass 3" in [text.text for text in read(alone).iter(f"{SPACE}text")]
    assert "style" not in inside
    assert "#" not in inside, "the ink is the page's"


def test_names_are_cut_where_they_would_run_into_the_bars() -> None:
    assert cut("short", 140) == "short"
    assert len(cut("x" * 200, 140)) * 6.7 <= 140
    assert cut("録" * 200, 140) == "録" * 8 + "..."


def test_a_day_shows_each_recorder_and_what_was_missing() -> None:
    def rolled(number: int, hour: int, *devices: str, good: bool = False) -> dict[str, Any]:
        wall = {"rolled": f"2026-11-28T{hour}:00:00.000Z", "ended": f"2026-11-28T{hour}:30:00.000Z"}
        lanes = [lane(device, "10:00:00:00", "00:30:00:00", **wall) for device in devices]
        opened = wall["rolled"]
        return take(*lanes, take=number, opened=opened, good=good, wanted=["hands", "wide"])

    takes = ranged([rolled(1, 10, "hands", "wide", good=True), rolled(2, 12, "hands")])
    root = read(day_picture(takes, "Tidewater Hall", NOW))
    assert {"Hands", "Wide", "1*", "2"} <= set(told(root))
    places = bars(root)
    assert len(places) == 3
    # from 10:00 to 12:30: the first take ends after a fifth, the second begins after four fifths
    first, last = places[0][0], places[2][1]
    assert (places[0][1] - first) / (last - first) == pytest.approx(0.2, abs=0.001)
    assert (places[2][0] - first) / (last - first) == pytest.approx(0.8, abs=0.001)
    about = next(root.iter("desc")).text or ""
    assert "2 takes from" in about
    assert "good: 1. Trouble in: 2." in about
    assert sum(text.endswith(":00") and len(text) == 5 for text in told(root)) == 2, "hours between 10:00 and 12:30"


def test_a_day_without_takes_says_so() -> None:
    assert "No take." in told(read(day_picture([], "Tidewater Hall", NOW)))


def test_a_large_house_is_drawn_as_one_row() -> None:
    lanes = [lane(f"deck-{n}", "10:00:00:00", "00:30:00:00") for n in range(64)]
    takes = ranged([take(*lanes, take=number) for number in range(1, BARS_MOST // 64 + 2)])
    root = read(day_picture(takes, "Tidewater Hall", NOW))
    assert "64 recorders" in told(root)
    assert len(bars(root)) == len(takes)


def test_the_log_sheet_holds_the_pictures() -> None:
    ready = ranged([take(lane("wide", "10:00:00:00", "00:01:00:00"))])
    page = log_sheet(ready, "Hall")
    assert take_picture(ready[0]) in page
    assert 'id="day-title"' in page
