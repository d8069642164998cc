"""Does the terminal ask for exactly the correction that was typed, and for none that was not clear?"""

from typing import Any

import pytest

from tests.cli.stub import Stub

SAID = (200, {"say": "So it is."})
ROWS: list[tuple[tuple[str, ...], str, dict[str, Any]]] = [
    (("slate", "Master", "class"), "takes/slate", {"name": "Master class"}),
    (("slate", "--none"), "takes/slate", {"name": ""}),
    (("slate", "Songs", "--take", "3"), "takes/3/slate", {"name": "Songs"}),
    (("slate", "Songs", "--take", "3", "--number", "2"), "takes/3/slate", {"name": "Songs", "slate_take": 2}),
    (("correct", "3", "2", "horn", "early"), "takes/3/marks/2", {"note": "horn early"}),
    (("correct", "3", "2", "--kind", "problem"), "takes/3/marks/2", {"kind": "problem"}),
    (("correct", "3", "2", "--strike"), "takes/3/marks/2", {"struck": True}),
    (("correct", "3", "2", "--unstrike"), "takes/3/marks/2", {"struck": False}),
]


@pytest.mark.parametrize(("words", "path", "body"), ROWS, ids=[" ".join(row[0]) for row in ROWS])
def test_a_correction_is_asked_for_as_typed(
    stub: Stub, words: tuple[str, ...], path: str, body: dict[str, Any]
) -> None:
    stub.routes = {f"POST /api/v1/{path}": SAID}
    result = stub.run(*words)
    assert (result.exit_code, result.stdout) == (0, "So it is.\n")
    assert stub.heard == [("POST", f"/api/v1/{path}", body)]


@pytest.mark.parametrize(
    "words",
    [("slate",), ("slate", "Songs", "--none"), ("slate", "Songs", "--number", "2"), ("correct", "3", "2")],
    ids=" ".join,
)
def test_what_is_not_clear_asks_for_nothing(stub: Stub, words: tuple[str, ...]) -> None:
    result = stub.run(*words)
    assert (result.exit_code, stub.heard) == (2, [])
    assert result.stderr
