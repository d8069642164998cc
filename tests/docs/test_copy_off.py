"""Is what docs/copy-off.md shows what the reader takes, and what is written?"""

import re
from pathlib import Path

from stagectl.cli.copyoff import copy
from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.site import Site, read_site
from stagectl.yamlfile import parse
from tests.copyoff.historytree import CLIPS, sealed

PAGE = (Path(__file__).parents[2] / "docs" / "copy-off.md").read_text(encoding="utf-8")
NAME = "site: Tidewater Hall\n"
HOUSE = NAME + "devices:\n  iso-1: {box: text-deck, at: 127.0.5.11, clip store: 127.0.5.11}\n"


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)


def read(block: str) -> Site:
    whole = (NAME if block.startswith("devices:") else HOUSE) + block
    return read_site(parse(whole, "site.yaml"), Path("site.yaml"), find_kinds()[0], PARTS)


def test_the_places_of_the_page_are_read() -> None:
    kinds = [target.kind for block in blocks("yaml") for target in read(block).copy.targets]
    assert kinds == ["folder", "sftp", "s3", "folder"]


def test_each_verb_of_the_page_is_there() -> None:
    named = re.findall(r"`stagectl copy ([a-z]+)", PAGE)
    assert set(named) == set(copy.commands)


def test_the_lines_of_a_manifest_are_what_is_written(tmp_path: Path) -> None:
    manifest = (tmp_path / sealed(tmp_path, CLIPS)).read_text()
    (lines,) = blocks("xml")
    assert lines in manifest
