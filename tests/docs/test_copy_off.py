"""Is what docs/copy-off.md shows what the reader takes, and what is written?"""

import re
from pathlib import Path

from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.site import read_site
from stagectl.yamlfile import parse
from tests.copyoff.historytree import CLIPS, sealed

PAGE = (Path(__file__).parents[2] / "docs" / "copy-off.md").read_text(encoding="utf-8")
HOUSE = "site: Tidewater Hall\ndevices:\n  iso-1: {box: text-deck, at: 127.0.5.11, clip store: 127.0.5.11}\n"


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)


def test_the_places_of_the_page_are_read() -> None:
    kinds = [
        target.kind
        for block in blocks("yaml")
        for target in read_site(
            parse(HOUSE + block, "site.yaml"), Path("site.yaml"), find_kinds()[0], PARTS
        ).copy.targets
    ]
    assert kinds == ["folder", "sftp", "s3"]


def test_the_lines_of_a_manifest_are_what_is_written(tmp_path: Path) -> None:
    manifest = (tmp_path / sealed(tmp_path, CLIPS)).read_text()
    (lines,) = blocks("xml")
    assert lines in manifest
