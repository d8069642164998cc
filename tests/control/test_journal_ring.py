"""Does the journal's memory keep its bounds, and count what fell out once?

Source of all rows: own construction.
"""

import pytest

from stagectl.control import journal_ring
from stagectl.control.journal_ring import Line, Ring


def filled(limit: int, numbers: range, size: int = 10) -> Ring:
    ring = Ring(limit)
    for n in numbers:
        ring.keep(Line(n, "", b"x" * size))
    return ring


def test_the_newest_stay() -> None:
    ring = filled(3, range(1, 8))
    assert ring.first is not None
    assert (len(ring), ring.first.n, len(ring.data())) == (3, 5, 30)
    ring.safe(6)
    assert len(ring) == 1
    ring.safe(7)
    assert ring.first is None


def test_few_long_lines_are_bounded_too_but_the_last_one_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_ring, "RING_BYTES", 100)
    assert len(filled(1000, range(1, 6), size=40)) == 2
    assert len(filled(1000, range(1, 6), size=400)) == 1


def test_a_gap_is_counted_once_however_often_a_new_file_is_tried() -> None:
    ring = filled(3, range(1, 8))  # 1 to 4 fell out, nothing was safe
    assert ring.lost(durable=0) == 4
    ring.gap(durable=0)
    ring.gap(durable=0)
    assert ring.lost(durable=0) == 4
    ring.keep(Line(8, "", b""))  # 5 falls out as well before the next try
    ring.gap(durable=0)
    assert ring.lost(durable=0) == 5
    assert [n for n in range(1, 9) if ring.is_lost(n)] == [1, 2, 3, 4, 5]


def test_what_fell_out_after_it_was_safe_is_no_loss() -> None:
    ring = filled(3, range(1, 8))
    ring.gap(durable=4)
    assert ring.lost(durable=4) == 0
    assert not ring.is_lost(4)
