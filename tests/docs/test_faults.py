"""Does docs/faults.md say what is so? Every fault is there, every test it names exists, its numbers are counted."""

import ast
from functools import cache

import pytest

from tests.faulttable import ALL_OF, DOCS, FAMILIES, HERE, PRESS, ROWS, VIRTUAL, WIRES, Row, families, text
from tests.real.test_bad_wires import AT_THE_PRESS, WHILE_ROLLING
from tests.studio.faults import KINDS
from tests.studio.reach import ACTED


@cache
def names_in(path: str) -> set[str]:
    """Names of the tests in a file."""
    tree = ast.parse((HERE / path).read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)}


def test_the_page_is_as_the_tests_are() -> None:
    assert DOCS.read_text(encoding="utf-8") == text(), "write it anew: python -m tests.faulttable"


def test_every_fault_we_know_of_is_there_once_and_in_order() -> None:
    known = [f"{letter}{number:02d}" for letter, (_, count) in FAMILIES.items() for number in range(1, count + 1)]
    assert [row.id for row in ROWS] == known


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_what_is_named_exists_and_what_is_missing_says_why(row: Row) -> None:
    for test in (*row.tests, VIRTUAL):
        path, _, name = test.partition("::")
        assert name in names_in(path), test
    for story, faults in ((WIRES, WHILE_ROLLING), (PRESS, AT_THE_PRESS)):
        # the page says so if and only if the story has it
        assert (story in row.tests) is any(fault.startswith(row.id) for fault in faults), (row.id, story)
    assert row.automated or row.not_yet, f"{row.id}: name its test, or say why there is none"


def test_what_the_studio_draws_is_in_the_table() -> None:
    ids = {one for kind in KINDS.values() for one in kind.ids} | set(ACTED)
    assert ids <= {row.id for row in ROWS}


def test_three_in_five_are_automated_and_of_network_boxes_and_machine_all_that_can_be() -> None:
    assert sum(row.automated for row in ROWS) >= 0.6 * len(ROWS)
    for letter in ALL_OF:
        missing = [row.id for row in families()[letter] if not row.automated]
        # each waits for a kind of box that is not driven yet: binary frames, datagrams
        assert missing == {"N": ["N16", "N20"]}.get(letter, []), missing
