"""Do takes lie against each other as a calculation by hand says, and do the files say the same?

Sources: rows of common ranges are worked by hand from the drop rule of SMPTE ST 12-1 (from memory); lists are read back
by otio-cmx3600-adapter, the table by the standard library's csv.
"""

import csv
import io
import json
from typing import Any

import opentimelineio as otio  # it carries no types
import pytest

from stagectl.handoff.cliptable import clip_table
from stagectl.handoff.edl import EVENTS_MOST, edls
from stagectl.handoff.logsheet import log_sheet
from stagectl.handoff.ranges import ranged, reel_names
from stagectl.model.timecode import label_at


def lane(device: str, start: str, length: str, *, format: str = "1080p25", **more: Any) -> dict[str, Any]:  # noqa: A002
    return {
        "device": device,
        "called": device.title(),
        "rolled": "2026-11-28T19:30:12.000Z",
        "start": start,
        "start_exact": True,
        "clip": f"T001_{device}",
        "slot": 1,
        "format": format,
        "length": length,
        "ended": "2026-11-28T19:48:40.000Z",
    } | more


def take(*lanes: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "take": 1,
        "name": "Masterclass 3",
        "good": False,
        "opened": "2026-11-28T12:30:12.000Z",
        "wanted": [one["device"] for one in lanes],
        "lanes": list(lanes),
        "marks": [],
    } | more


def read_back(text: str, rate: float) -> list[tuple[str, str, int, str]]:
    """Reel, first label, frames and clip of each event, by the library."""
    timeline = otio.adapters.read_from_string(text, "cmx_3600", rate=rate)
    drop = "FCM: DROP" in text
    return [
        (
            clip.metadata["cmx_3600"]["reel"],
            otio.opentime.to_timecode(clip.source_range.start_time, rate, drop_frame=drop),
            clip.source_range.duration.to_frames(),
            clip.name,
        )
        for clip in timeline.find_clips()
    ]


ROWS = [
    # id, format, (start, length)s, common in, out, frames, offsets; lengths count labels without drop
    # 25: A 19:30:12:03 + 27 707, B +1, C from :03 but 1 less; from the latest start :08 to the earliest end :08
    ("five at 25", "1080p25", [("19:30:12:03", "00:18:28:07"), ("19:30:12:04", "00:18:28:07"),
      ("19:30:12:03", "00:18:28:06"), ("19:30:12:08", "00:18:28:07"), ("19:30:12:02", "00:18:28:06")],
     "19:30:12:08", "19:48:40:08", 27700, [5, 4, 5, 0, 6]),
    # 23:59:58:20 is 30 frames before midnight, so 32 before 00:00:00:02
    ("midnight", "1080p25", [("23:59:58:20", "00:10:04:10"), ("00:00:00:02", "00:10:03:02"),
      ("23:59:59:24", "00:10:03:00")], "00:00:00:02", "00:10:02:24", 15072, [32, 0, 3]),
    # three minutes from 20:00:00;00 are 5400 labels less 2 in each of the minutes 1 and 2: 5396 to 20:03:00;02 less 1
    ("drop-frame", "1080p2997", [("19:59:59;28", "00:02:59:28"), ("20:00:00;00", "00:02:59:28"),
      ("19:59:59;29", "00:02:59:26")], "20:00:00;00", "20:02:59;29", 5395, [2, 0, 1]),
    # drop-frame over midnight, which drops nothing: 10 frames before it, 1799 after
    ("drop-frame midnight", "1080p2997", [("23:59:59;20", "00:01:00:10"), ("00:00:00;00", "00:00:59:29")],
     "00:00:00;00", "00:00:59;29", 1799, [10, 0]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("format", "clips", "first", "end", "frames", "offsets"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS]
)
def test_the_common_range_is_that_of_the_hand_and_all_files_say_it(
    format: str,  # noqa: A002
    *,
    clips: list[tuple[str, str]],
    first: str,
    end: str,
    frames: int,
    offsets: list[int],
) -> None:
    lanes = [lane(f"iso-{n}", start, length, format=format) for n, (start, length) in enumerate(clips, 1)]
    (one,) = ranged([take(*lanes)])
    assert one.troubles == ()
    assert one.common is not None
    assert one.rate is not None
    assert (str(label_at(one.common.first, one.rate)), str(label_at(one.common.end, one.rate))) == (first, end)
    assert one.common.frames == frames
    assert [one.common.first - clip.span.first for clip in one.clips if clip.span] == offsets
    rows = list(csv.DictReader(io.StringIO(clip_table([one]), newline="")))
    assert [(row["common_in"], row["common_out"], int(row["offset_frames"])) for row in rows] == [
        (first, end, offset) for offset in offsets
    ]
    rate = one.rate.frames / one.rate.seconds
    lists = edls([one], "Tidewater Hall 2026-11-28")
    assert len(lists) == len(clips)
    for number, text in enumerate(lists.values(), 1):
        assert read_back(text, rate) == [(f"ISO{number}", first, frames, f"T001_iso-{number}")]


def test_an_event_over_midnight_is_cut_there_and_loses_no_frame() -> None:
    (one,) = ranged([take(lane("wide", "23:59:50:00", "00:00:20:00"))])
    (text,) = edls([one], "Hall").values()
    assert [event[1:3] for event in read_back(text, 25)] == [("23:59:50:00", 250), ("00:00:00:00", 250)]


def test_a_drop_frame_list_says_so_in_its_head_and_in_its_labels() -> None:
    (one,) = ranged([take(lane("wide", "23:59:59;20", "00:00:20:00", format="1080i5994"))])
    ((name, text),) = edls([one], "Hall").items()
    assert name == "WIDE_29.97df.edl"
    assert "FCM: DROP FRAME\r\n" in text
    assert "23:59:59;20 24:00:00;00 01:00:00;00 01:00:00;10" in text


def test_mixed_rates_have_no_common_range_and_the_reason_is_told() -> None:
    (one,) = ranged(
        [
            take(
                lane("hands", "10:00:00:00", "00:01:00:00"),
                lane("wide", "10:00:00:00", "00:01:00:00", format="1080p50"),
            )
        ]
    )
    assert one.common is None
    assert one.troubles == ("No common range: the frame rates differ (Hands 25; Wide 50).",)
    lists = edls([one], "Hall")
    assert sorted(lists) == ["HANDS_25.edl", "WIDE_50.edl"]
    assert read_back(lists["WIDE_50.edl"], 50)[0][2] == 3000
    assert all("NO COMMON RANGE" in text for text in lists.values())


def test_drop_and_non_drop_labels_are_not_mixed() -> None:
    (one,) = ranged([take(lane("hands", "10:00:00;00", "00:01:00:00", format="1080p2997"),
                          lane("wide", "10:00:00:00", "00:01:00:00", format="1080p2997"))])  # fmt: skip
    assert one.common is None
    assert "29.97 df" in one.troubles[0]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"length": ""}, "Wide: it has told no length yet."),
        ({"start": "00:00:00:25"}, "Wide: it told no first label that exists at 25."),
        ({"format": ""}, "Wide: its frame rate is not known."),
        ({"start": "11:00:00:00"}, "No common range: the clips do not overlap."),
    ],
    ids=["no length", "no such label", "no rate", "apart"],
)
def test_what_is_not_known_is_named_and_makes_no_range(wrong: dict[str, str], told: str) -> None:
    bad = lane("wide", "10:00:00:00", "00:01:00:00") | wrong
    (one,) = ranged([take(lane("hands", "10:00:00:00", "00:01:00:00"), bad)])
    assert one.common is None
    assert told in one.troubles


def test_a_spill_is_one_range_over_two_clips_and_a_gap_is_told() -> None:
    lanes = [
        lane("hands", "10:00:00:00", "00:02:00:00"),
        lane("wide", "10:00:00:00", "00:01:00:00"),
        lane("wide", "10:01:00:00", "00:01:00:00", clip="T001_wide_2", slot=2),
    ]
    (one,) = ranged([take(*lanes)])
    assert (one.troubles, one.common and one.common.frames) == ((), 3000)
    assert [event[1:] for event in read_back(edls([one], "Hall")["WIDE_25.edl"], 25)] == [
        ("10:00:00:00", 1500, "T001_wide"),
        ("10:01:00:00", 1500, "T001_wide_2"),
    ]
    lanes[2]["start"] = "10:01:00:05"
    (one,) = ranged([take(*lanes)])
    assert one.troubles == ("Wide: a gap of 5 frames between its clips.",)


def test_who_did_not_roll_is_named() -> None:
    (one,) = ranged([take(lane("hands", "10:00:00:00", "00:02:00:00"), wanted=["hands", "wide"])])
    assert one.troubles == ("wide did not roll.",)


def test_who_did_not_roll_is_called_as_people_call_it() -> None:
    one, other = (
        take(lane("hands", "10:00:00:00", "00:02:00:00"), wanted=["hands", "wide", "pgm"]),
        lane("wide", "", ""),
    )
    (first, _) = ranged([one, take(other, take=2, opened="2026-11-28T13:00:00.000Z")], {"pgm": "Rec 5"})
    assert first.troubles == ("Wide did not roll.", "Rec 5 did not roll.")
    assert "<td>Rec 5<td>NO CLIP" in log_sheet([first], "Hall")


def test_of_who_was_out_of_reach_no_no_is_said() -> None:
    (one,) = ranged([take(lane("hands", "10:00:00:00", "00:02:00:00"), wanted=["hands", "wide"], unseen=["wide"])])
    assert one.troubles == ("wide: not known if it rolled, it was out of reach.",)


def test_takes_stand_in_the_order_of_their_rolls_over_midnight() -> None:
    late = take(lane("wide", "00:00:10:00", "00:01:00:00"), take=2, opened="2026-11-29T00:00:10.000Z")
    early = take(lane("wide", "23:58:00:00", "00:01:00:00"), opened="2026-11-28T23:58:00.000Z")
    (text,) = edls(ranged([late, early]), "Hall").values()
    assert [event[1] for event in read_back(text, 25)] == ["23:58:00:00", "00:00:10:00"]


def test_a_list_that_would_be_full_goes_on_in_a_second_one() -> None:
    takes = [take(lane("wide", "10:00:00:00", "00:00:01:00"), take=n) for n in range(1, EVENTS_MOST + 2)]
    lists = edls(ranged(takes), "Hall")
    assert {name: len(read_back(text, 25)) for name, text in lists.items()} == {
        "WIDE_25.edl": EVENTS_MOST,
        "WIDE_25_2.edl": 1,
    }


def test_a_list_goes_on_in_a_second_one_where_its_record_columns_would_pass_midnight() -> None:
    takes = [take(lane("wide", "00:00:00:00", "12:00:00:00"), take=n) for n in (1, 2)]
    lists = edls(ranged(takes), "Hall")
    assert [[event[2] for event in read_back(text, 25)] for text in lists.values()] == [[1080000], [1080000]]


def test_a_clip_of_a_whole_day_is_one_event_that_begins_the_record_columns() -> None:
    (text,) = edls(ranged([take(lane("wide", "00:00:00:00", "23:59:59:24"))]), "Hall").values()
    assert [event[2] for event in read_back(text, 25)] == [2159999]


def test_a_label_that_is_only_reckoned_is_told() -> None:
    (one,) = ranged([take(lane("wide", "10:00:00:00", "00:01:00:00", start_exact=False))])
    assert one.troubles == ("Wide: its first label is reckoned, not told by its clip list.",)


def test_a_good_take_is_good_in_every_file() -> None:
    ready = ranged([take(lane("wide", "10:00:00:00", "00:01:00:00"), good=True, name="Étude")])
    (text,) = edls(ready, "Hall").values()
    assert "* STAGECTL TAKE=1 GOOD=1 RATE=25\r\n* COMMENT: ?tude\r\n" in text
    (row,) = csv.DictReader(io.StringIO(clip_table(ready), newline=""))
    assert (row["good"], row["name"]) == ("yes", "Étude")
    assert "Take 1 Étude, GOOD" in log_sheet(ready, "Hall")


def test_what_stands_on_the_slate_is_told() -> None:
    whole = lane("wide", "10:00:00:00", "00:01:00:00")
    ready = ranged([take(whole, take=15, slate_take=2), take(whole, take=3, slate_take=3), take(whole, name="")])
    assert [one.called for one in ready] == ["Take 15: Masterclass 3, take 2", "Take 3 Masterclass 3", "Take 1"]
    rows = list(csv.DictReader(io.StringIO(clip_table(ready), newline="")))
    assert [row["slate_take"] for row in rows] == ["2", "3", ""]
    assert "Take 15: Masterclass 3, take 2, rolled" in log_sheet(ready, "Hall")


def test_reels_are_short_plain_and_no_two_alike() -> None:
    assert reel_names(["iso-1", "stage-left-a", "stage-left-b", "éé"]) == {
        "iso-1": "ISO1",
        "stage-left-a": "STAGELEF",
        "stage-left-b": "STAGELE2",
        "éé": "REEL",
    }


def test_text_that_would_break_a_line_or_run_as_a_formula_does_neither() -> None:
    mark = {
        "kind": "note",
        "text": 'a "b", c',
        "who": "ines",
        "at": "2026-11-28T19:31:00.000Z",
        "label": "",
        "device": "",
    }
    name = "=1+1\r\n002  AX"
    (one,) = ranged([take(lane("wide", "10:00:00:00", "00:01:00:00", clip="a\r\nb"), name=name, marks=[mark])])
    (row,) = csv.DictReader(io.StringIO(clip_table([one]), newline=""))
    assert row["name"] == f"'{name}"
    assert row["notes"] == 'note a "b", c'
    (text,) = edls([one], "Hall").values()
    assert len(read_back(text, 25)) == 1
    assert "* COMMENT: =1+1 002 AX\r\n" in text
    assert json.dumps(text).isascii()
