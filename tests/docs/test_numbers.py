"""Does docs/numbers.md name what there is? Tests, targets of the Makefile, cases of the bench and of the fuzzing."""

import re
from pathlib import Path
from typing import Final

import pytest

from bench.__main__ import CASES
from tests.docs.test_faults import names_in
from tests.faulttable import HERE
from tests.studio.museum import BUGS
from tests.studio.rules import ALL

ROOT: Final = HERE.parent
TEXT: Final = (ROOT / "docs" / "numbers.md").read_text(encoding="utf-8")
NAMED: Final = sorted(set(re.findall(r"`((?:[a-z_]+/)+test_[a-z_]+\.py)(?:::(test_\w+))?`", TEXT)))


@pytest.mark.parametrize(("path", "name"), NAMED, ids=[f"{path}::{name}" for path, name in NAMED])
def test_a_test_that_is_named_exists(path: str, name: str) -> None:
    assert name in names_in(path) if name else (HERE / path).is_file()


def test_what_is_called_exists() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in re.findall(r"`make (\w+)", TEXT):
        assert re.search(rf"^{target}:", makefile, re.MULTILINE), target
    for case in re.findall(r"bench `(\w+)`", TEXT):
        assert case in CASES, case
    campaigns = (HERE / "fuzz" / "__main__.py").read_text(
        encoding="utf-8"
    )  # read, since its targets build a whole house
    for target in re.findall(r"fuzz `([\w-]+)`", TEXT):
        assert f'"{target}": (' in campaigns, target
    for page in re.findall(r"`((?:docs|bench|tests)/[\w./-]+\.(?:md|service))`", TEXT):
        assert Path(ROOT / page).is_file(), page


def test_what_is_counted_is_so() -> None:
    assert f"`museum`: {len(BUGS)};" in TEXT
    rules = {int(number) for few in re.findall(r"rules? ([\d, and]+)", TEXT) for number in re.findall(r"\d+", few)}
    known = {int(check.__module__.rpartition(".r")[2][:2]) for check in ALL}
    assert rules <= known
