"""Has each row of what the page is held to a test that is there?

Source: the desk's brief has 22 rows, A1 to A22.
"""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "desk-acceptance.md").read_text(encoding="utf-8")
ROWS = [line for line in PAGE.splitlines() if re.match(r"\| A\d+ \|", line)]


def test_the_page_has_each_row_once_and_in_order() -> None:
    assert [row.split(" | ")[0] for row in ROWS] == [f"| A{number}" for number in range(1, 23)]


@pytest.mark.parametrize("row", ROWS, ids=[row.split(" | ")[0].strip("| ") for row in ROWS])
def test_each_row_names_tests_that_are_there(row: str) -> None:
    named = re.findall(r"`(tests/[a-z_/]+\.py)::(test_[a-z0-9_]+)`", row)
    assert named
    for path, name in named:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
        there = {node.name for node in ast.walk(tree) if isinstance(node, kinds)}
        assert name in there, f"{path} has no {name}"
