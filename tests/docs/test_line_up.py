"""Is what docs/line-up.md shows of a site file what the reader takes?"""

import re
from dataclasses import replace
from pathlib import Path

from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.shoot.lineup.checks import checks_of
from stagectl.site import Site, read_site
from stagectl.yamlfile import parse
from tests.shoot.hall import KINDS, site

PAGE = (Path(__file__).parents[2] / "docs" / "line-up.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
HOUSE = """\
site: Tidewater Hall
devices:
  iso-1: {box: text-deck, at: 127.0.5.11}
  iso-2: {box: text-deck, at: 127.0.5.12}
  hall: {box: block-router, at: 127.0.5.21}
  gallery: {box: block-router, at: 127.0.5.22}
groups: {recorder: [iso-1, iso-2]}
"""
PICTURES = """\
pictures:
  sources: {hands: hall 3, guest: hall 4}
  destinations: {program: gallery 1, mix-rec: gallery 2}
"""


def read(text: str) -> Site:
    return read_site(parse(text, "site.yaml"), Path("site.yaml"), find_kinds()[0], PARTS)


def test_the_line_up_of_the_page_is_read() -> None:
    site = read(HOUSE + PICTURES + BLOCKS[0])
    assert site.lineup.timecode_source == "external"
    assert [check.device for check in site.lineup.checks] == ["iso-1", "iso-2"]
    assert site.cameras["hands"].tracked


def test_the_tie_lines_of_the_page_are_read() -> None:
    site = read(HOUSE + PICTURES + BLOCKS[1].removeprefix("pictures:\n"))
    assert [tie.called for tie in site.pictures.tie_lines] == ["", "Frame store", ""]
    assert site.pictures.tie_lines[2].kept_for == ("program",)


def test_every_row_of_the_page_is_a_check_and_no_check_is_left_out() -> None:
    hall = read(HOUSE + PICTURES + BLOCKS[0])
    own = replace(site(), lineup=replace(hall.lineup, leave_out=(), checks=()), cameras=hall.cameras)
    entry = own.devices["iso-1"]
    own = replace(own, devices={**own.devices, "iso-1": replace(entry, expect={"identity.model": "Two-slot deck"})})
    made = {check.name for check in checks_of(own, KINDS)}
    table = PAGE.partition("| row |")[2].partition("\n\n")[0]
    told = {name for line in table.splitlines()[2:] for name in re.findall(r"`([a-z-]+)`", line.split("|")[1])}
    assert told == made
