"""Before all others: the daemon starts whenever it is started, goes on until it is ended, and leaves no exception."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for mark in run.marks:
        if mark.what == "no start":
            yield Breach(0, mark.at, f"the daemon did not start: {mark.note}")
    for text in run.loose:
        yield Breach(0, run.ended, f"an exception that nobody fetched: {text}")
    if not any(mark.what == "ready" for mark in run.marks):
        yield Breach(0, 0.0, "the daemon was never ready")
