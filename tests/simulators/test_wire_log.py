"""Does the wire log keep what went over the wire, readable and bounded? Own construction."""

from __future__ import annotations

import pytest

from stagectl_simulators.wire_log import WireLog, readable


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"200 ok\r\n", "200 ok\\r\\n"),
        (b"a\\r", "a\\\\r"),
        ("Käse".encode(), "Käse"),
        (b"\xff\x00", "\\xff\\x00"),
        ("\u2028".encode(), "\\u2028"),
    ],
)
def test_bytes_become_one_readable_line(data: bytes, text: str) -> None:
    assert readable(data) == text


def test_only_the_last_entries_are_kept_and_numbers_go_on() -> None:
    log = WireLog(limit=3)
    for count in range(5):
        log.note(float(count), 1, "in", b"ping")
    assert [entry["n"] for entry in log.since(0)] == [3, 4, 5]
    assert [entry["n"] for entry in log.since(4)] == [5]
    assert log.since(9) == []
    log.clear()
    log.note(5.0, 1, "out", b"200 ok")
    assert [entry["n"] for entry in log.since(0)] == [6]
