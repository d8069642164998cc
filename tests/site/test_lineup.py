"""Is what a site wants before the first take read as it is written, and what is wrong told with place and remedy?"""

from pathlib import Path

import pytest

from stagectl.filetree import FileError
from stagectl.site import CameraEntry, LineupEntry, PlannedTake, Site, read_site
from stagectl.yamlfile import parse
from tests.site.kinds_for_tests import KINDS, PARTS

HEAD = """\
site: Hall
devices:
  iso-1: {box: text-deck, at: 10.0.5.11}
  iso-2: {box: text-deck, at: 10.0.5.12}
  hall: {box: block-router, at: 10.0.5.21}
groups: {iso: [iso-1, iso-2]}
pictures:
  sources: {hands: hall 3}
"""


def read(text: str) -> Site:
    return read_site(parse(HEAD + text, "site.yaml"), Path("site.yaml"), KINDS, PARTS)


def test_a_site_that_wants_nothing_has_the_usual_bounds() -> None:
    assert (read("").lineup, read("").cameras) == (LineupEntry(), {})


def test_every_word_of_a_line_up_is_read_in_its_unit() -> None:
    site = read(
        """\
cameras: {hands: {reference: free, head: moving, tracked: yes}}
line-up:
  format: 1080p2997
  codec: VC3-HQ
  channels: 8
  timecode: 29.97 df
  timecode source: external
  reference: iso-1
  offset: 2 frames
  lags: {iso-2: 1 frame}
  jam: "04:00:00;00"
  spare: 20 %
  reserve: 2.5 GB
  rates: {Proxy: 12.5 Mb/s}
  kept for: 10 h
  plan: [{take: Harbour Suite, lasts: 45 min, times: 2}, {take: Encore, lasts: 90 s}]
  leave out: [media-spare]
"""
    )
    assert site.cameras == {"hands": CameraEntry("hands", False, True, True, 9)}
    assert site.lineup == LineupEntry(
        format="1080p2997",
        codec="VC3-HQ",
        channels=8,
        timecode="29.97 df",
        timecode_source="external",
        reference="iso-1",
        offset_frames=2,
        lags={"iso-2": 1},
        jam="04:00:00;00",
        spare=0.2,
        reserve_bytes=2_500_000_000,
        rates={"Proxy": 1_562_500.0},
        kept_s=36_000.0,
        plan=(PlannedTake("Harbour Suite", 2700.0, 2), PlannedTake("Encore", 90.0)),
        leave_out=("media-spare",),
    )


def test_a_check_of_a_group_is_one_row_for_each_of_it() -> None:
    site = read(
        "line-up:\n  checks:\n    - {of: iso, name: remote-on, check: remote is yes, remedy: Switch it on., must: no}\n"
    )
    assert [(one.device, one.name, one.must) for one in site.lineup.checks] == [
        ("iso-1", "remote-on", False),
        ("iso-2", "remote-on", False),
    ]
    assert site.lineup.checks[0].check.say() == "iso-1 remote is yes"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "cameras: {hand: {reference: free}}",
            'site.yaml:9:11 cameras.hand: there is no picture source "hand". Perhaps you mean hands.',
        ),
        (
            "cameras: {hands: {reference: loose}}",
            'site.yaml:9:30 cameras.hands.reference: there is no kind of reference "loose". Say one of: locked, free.',
        ),
        (
            "line-up: {timecode: 29.97df}",
            'site.yaml:9:21 line-up.timecode: there is no rate of timecode "29.97df". Say 29.97 df.',
        ),
        (
            "line-up: {plan: [{take: Suite, lasts: 45}]}",
            'site.yaml:9:39 line-up.plan.1.lasts: "45" can\'t be read. Write it like 45 min, 90 s or 2 h.',
        ),
        ("line-up: {reserve: 2}", 'site.yaml:9:20 line-up.reserve: "2" can\'t be read. Write it like 2 GB.'),
        (
            "line-up: {rates: {Proxy: 12}}",
            'site.yaml:9:26 line-up.rates.Proxy: "12" can\'t be read. Write it like 12.5 Mb/s.',
        ),
        ("line-up: {spare: much}", 'site.yaml:9:18 line-up.spare: "much" can\'t be read. Write it like 15 %.'),
        ("line-up: {reference: hall}", "site.yaml:9:22 line-up.reference: hall is no recorder. There is iso-1, iso-2."),
        (
            "line-up: {checks: [{of: iso-1, name: remote, check: remoot is yes, remedy: Look.}]}",
            'site.yaml:9:53 line-up.checks.1.check: iso-1 has no point "remoot". Perhaps you mean remote.',
        ),
    ],
)
def test_a_mistake_is_told_with_its_place_and_remedy(text: str, said: str) -> None:
    with pytest.raises(FileError) as caught:
        read(text)
    assert str(caught.value) == said
