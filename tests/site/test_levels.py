"""Do levels of routers stand as the file says, and is each mistake told with its line and remedy?

Source of all rows: own construction.
"""

from typing import Final

import pytest

from stagectl.filetree import FileError, FileErrors
from stagectl.site import Level, TieLine
from stagectl.site.schema import SiteShape
from stagectl.yamlfile import parse
from tests.site.test_load import read

ROUTERS: Final = """\
site: Hall
devices:
  hall: {box: block-router, at: 10.0.5.21}
  gallery: {box: block-router, at: 10.0.5.22}
  hall-sound: {box: block-router, at: 10.0.5.23}
  gallery-sound: {box: block-router, at: 10.0.5.24}
  foyer: {box: block-router, at: 10.0.5.25}
pictures:
"""
LEVELS: Final = ROUTERS + "  levels: {sound: {hall: hall-sound, gallery: gallery-sound}}\n"


def test_a_place_stands_at_every_level_of_its_router_and_a_table_says_each() -> None:
    text = (
        LEVELS
        + "  sources: {wide: hall 4, hands: {video: hall 3, sound: hall 7}, host: {sound: hall 9}, title: foyer 1}\n"
        + "  destinations: {program: gallery 1, bench: {video: hall 9}}\n"
        + "  on air: [program]\n"
    )
    SiteShape.model_validate(parse(text, "site.yaml").plain())
    pictures = read(text).pictures
    assert pictures.sources == {"wide": ("hall", 4), "hands": ("hall", 3), "title": ("foyer", 1)}
    assert pictures.destinations == {"program": ("gallery", 1), "bench": ("hall", 9)}
    assert pictures.levels == {
        "sound": Level(
            ("hall-sound", "gallery-sound"),
            {"wide": ("hall-sound", 4), "hands": ("hall-sound", 7), "host": ("hall-sound", 9)},
            {"program": ("gallery-sound", 1)},
        )
    }
    assert pictures.all_sources() == ["wide", "hands", "title", "host"]


def test_a_tie_line_carries_what_both_routers_have_or_what_it_says() -> None:
    text = (
        LEVELS
        + "  destinations: {program: gallery 1}\n"
        + "  tie-lines:\n    - hall 15 to gallery 5\n    - {line: hall 16 to gallery 6, levels: [video]}\n"
        + "    - {line: gallery 8 to hall 8, levels: [sound], kept for: [program], delay: 1 frame}\n"
        + "    - hall 14 to foyer 1\n"
        + "    - {line: hall 12 to hall 12, called: Frame store, gives: 1080p25}\n"
    )
    SiteShape.model_validate(parse(text, "site.yaml").plain())
    assert read(text).pictures.tie_lines == (
        TieLine("hall", 15, "gallery", 5),
        TieLine("hall-sound", 15, "gallery-sound", 5),
        TieLine("hall", 16, "gallery", 6),
        TieLine("gallery-sound", 8, "hall-sound", 8, 1, kept_for=("program sound",)),
        TieLine("hall", 14, "foyer", 1),
        TieLine("hall", 12, "hall", 12, 0, (), "1080p25", (), "Frame store"),
    )


WRONG: Final = [
    # id, file, what is said of it
    (
        "video as a level of its own",
        ROUTERS + "  levels: {video: {hall: hall-sound}}",
        "9:12 pictures.levels.video: video is the level that every router has. Write the others alone.",
    ),
    (
        "a router that is none",
        ROUTERS + "  levels: {sound: {hall: hal-sound}}",
        '9:26 pictures.levels.sound.hall: there is no device "hal-sound". Perhaps you mean hall-sound.',
    ),
    (
        "one router for two",
        ROUTERS + "  levels: {sound: {hall: hall-sound, gallery: hall-sound}}",
        "9:47 pictures.levels.sound.gallery: hall-sound switches something else already. A router switches one level.",
    ),
    (
        "a router beside itself",
        ROUTERS + "  levels: {sound: {hall: hall}}",
        "9:26 pictures.levels.sound.hall: hall switches something else already. A router switches one level.",
    ),
    (
        "a place by the router of its sound",
        LEVELS + "  sources: {wide: hall-sound 4}",
        "10:19 pictures.sources.wide: hall-sound is the sound of hall. Write hall, and sound as the level.",
    ),
    (
        "a level of a router that has none",
        LEVELS + "  sources: {end: {sound: foyer 1}}",
        "10:26 pictures.sources.end.sound: foyer has no sound. Write its router under `levels`, or leave it out here.",
    ),
    (
        "a level nobody has",
        LEVELS + "  sources: {title: {smell: hall 1}}",
        '10:21 pictures.sources.title.smell: there is no level "smell". There is video, sound.',
    ),
    (
        "a place nowhere",
        LEVELS + "  sources: {title: {}}",
        "10:20 pictures.sources.title: the table is empty. Write a level, a router and a number.",
    ),
    (
        "two sounds on one input",
        LEVELS + "  sources: {wide: hall 4, host: {sound: hall 4}}",
        "10:41 pictures.sources.host.sound: hall-sound input 4 is taken in line 10. Give each its own.",
    ),
    (
        "a tie-line of a level that one end lacks",
        LEVELS + "  tie-lines: [{line: hall 14 to foyer 1, levels: [sound]}]",
        "10:22 pictures.tie-lines.1.line: foyer has no sound. Write its router under `levels`, or leave it out here.",
    ),
    (
        "a tie-line that carries nothing",
        LEVELS + "  tie-lines: [{line: hall 14 to gallery 1, levels: []}]",
        "10:52 pictures.tie-lines.1.levels: the list is empty. Write a level, or take the list out: all of them.",
    ),
]


@pytest.mark.parametrize(("text", "says"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_mistake_is_told_with_its_place_and_its_remedy(text: str, says: str) -> None:
    with pytest.raises((FileError, FileErrors)) as no:
        read(text)
    assert str(no.value).splitlines() == [f"site.yaml:{says}"]
