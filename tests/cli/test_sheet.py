"""Do takes read well in a terminal? Golden pages, against a stub daemon."""

import json
from datetime import UTC, datetime

import pytest

from stagectl.cli import sheet
from stagectl.cli.sheet import lanes
from tests.cli.answers import golden, lane, take
from tests.cli.stub import Stub, problem

ENDED = {"ended": "2026-11-25T15:17:02.000Z", "ended_by": "ines", "length": "00:12:49:10"}
WHOLE = take(
    [
        lane(1, 0, **ENDED),
        lane(2, 1, **ENDED),
        lane(3, 3, **ENDED | {"ended": "2026-11-25T15:10:40.000Z", "note": "stopped at its front"}),
    ],
    say="Take 15 ended on 3 of 3 at 15:17:02, 00:12:50 long. All share 00:12:49.",
    closed="2026-11-25T15:17:02.000Z",
    running=False,
    for_s=None,
    good=True,
    wanted=["iso-1", "iso-2", "iso-3", "iso-4"],
    marks=[
        {"kind": "note", "text": "horn late", "who": "ines", "at": "2026-11-25T15:10:00.000Z", "label": "", "n": 1},
        {"kind": "problem", "text": "", "who": "ada", "at": "2026-11-25T15:11:00.000Z", "label": "15:11:00:02", "n": 3},
    ],
    struck=[
        {
            "kind": "note",
            "text": "oboe",
            "who": "ada",
            "at": "2026-11-25T15:10:30.000Z",
            "label": "",
            "n": 2,
            "struck": True,
        },
    ],
    changes=[
        {
            "what": "mark 2",
            "was": "note, oboe",
            "now": "note, oboe, struck out",
            "who": "ines",
            "at": "2026-11-25T15:20:00.000Z",
        },
    ],
    spread={"frames": 3, "give": 0, "of": 3, "exact": True},
    overlap={
        "common": {"first": "15:04:12:13", "last": "15:17:01:20", "end": "15:17:01:21", "frames": 19233},
        "clips": [{"into": 3}, {"into": 2}, {"into": 0}],
        "troubles": ["iso-4: not known if it rolled, it was out of reach."],
    },
)
ROLLS = take(
    [lane(1, None, start="", clip=""), lane(2, None)],
    take=16,
    name="",
    slate_take=0,
    spread={"frames": 2, "give": 1, "of": 2, "exact": False},
)


def test_the_sheet_has_a_line_for_each_take(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes": (200, {"next": {"take": 17, "name": "Songs"}, "takes": [ROLLS, WHOLE]})}
    assert stub.run("takes", "--count", "5").stdout == golden("takes")
    assert stub.heard[0][1] == "/api/v1/takes?count=5"


def test_a_sheet_without_takes_says_so(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes": (200, {"next": {"take": 1, "name": ""}, "takes": []})}
    assert stub.run("takes").stdout == "No take yet.\nNext: take 1.\n"


def test_one_take_shows_clips_first_labels_offsets_and_what_all_share(
    stub: Stub, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    stub.routes = {"GET /api/v1/takes/15": (200, WHOLE)}
    assert stub.run("take", "15", NO_COLOR="").stdout == golden("take")
    assert stub.run("takes", "show", "15", NO_COLOR="").stdout == golden("take")


def test_of_a_take_that_has_just_ended_the_lengths_are_waited_for(stub: Stub, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet, "AGAIN_S", 0.01)
    now = {"closed": datetime.now(UTC).isoformat()}
    young = WHOLE | now | {"lanes": [lane(1, 0, **ENDED | {"length": ""}), lane(2, 1, **ENDED)]}
    stub.routes = {"GET /api/v1/takes/15": [(200, young), (200, young), (200, WHOLE | now)]}
    result = stub.run("take", "15")
    assert result.stdout.startswith("Take 15")
    assert "All share 15:04:12:13" in result.stdout
    assert result.stderr == "Waiting for the recorders' clip lists. Ctrl-C ends the waiting only.\n"
    assert len(stub.heard) == 3


def test_of_a_take_that_ended_long_ago_nothing_is_waited_for(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes/15": (200, WHOLE | {"lanes": [lane(1, 0, **ENDED | {"length": ""})]})}
    assert stub.run("take", "15").stderr == ""
    assert len(stub.heard) == 1


def test_recorders_that_never_tell_a_length_are_not_waited_for_without_end(
    stub: Stub, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheet, "AGAIN_S", 0.5)
    monkeypatch.setattr(sheet, "LISTS_S", 0.6)
    young = WHOLE | {"closed": datetime.now(UTC).isoformat(), "lanes": [lane(1, 0, **ENDED | {"length": ""})]}
    stub.routes = {"GET /api/v1/takes/15": (200, young)}
    assert stub.run("take", "15").exit_code == 0
    assert 1 < len(stub.heard) <= 3


@pytest.mark.parametrize("words", [("show",), ("show", "0"), ("show", "x"), ("15",), ("show", "1", "2")])
def test_what_takes_does_not_know_is_not_guessed(stub: Stub, words: tuple[str, ...]) -> None:
    result = stub.run("takes", *words)
    assert (result.exit_code, stub.heard) == (2, [])
    assert result.stderr == f'"takes {" ".join(words)}" is not known. See: stagectl takes --help\n'


def test_plain_draws_no_lanes(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes/15": (200, WHOLE)}
    plain = stub.run("--plain", "take", "15", NO_COLOR="").stdout
    assert "#" not in plain
    assert golden("take").startswith(plain)


def test_a_label_that_is_reckoned_and_not_told_is_called_so(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes/16": (200, ROLLS)}
    text = stub.run("take", "16").stdout
    assert "about 15:04:12:10" in text
    assert "not known yet" in text
    assert "Spread 2 frames, give or take 1" in text


def test_a_take_that_is_not_there_is_exit_2(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes/9": (404, problem(404, "take", "There is no take 9.", "See: stagectl takes"))}
    result = stub.run("take", "9")
    assert result.exit_code == 2
    assert result.stderr == "There is no take 9. See: stagectl takes\n"


def test_json_gives_the_take_as_the_daemon_has_it(stub: Stub) -> None:
    stub.routes = {"GET /api/v1/takes/15": (200, WHOLE)}
    told = json.loads(stub.run("take", "15", "--json").stdout)
    assert told == {"v": 1, "verb": "take"} | WHOLE


@pytest.mark.parametrize("wide", [60, 80, 120])
def test_a_lane_never_passes_the_edge_and_stands_where_it_recorded(wide: int) -> None:
    drawn = lanes(WHOLE, wide)
    assert all(len(line) <= wide for line in drawn)
    bars = [line.split("|")[2] for line in drawn]
    assert bars[0].strip() == "#" * len(bars[0])
    half = bars[2].rstrip()
    assert 0.45 < len(half) / len(bars[2]) < 0.55, "it stopped at 6 min 28 s of 12 min 50 s"
    assert [line.split("|")[1] for line in drawn] == [":####", ".:###", "...:#"]


def test_starts_too_far_apart_for_the_lens_leave_it_out() -> None:
    drawn = lanes(take([lane(1, 0), lane(2, 400)]), 80)
    assert [line.count("|") for line in drawn] == [2, 2]
