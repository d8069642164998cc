"""How are the copies at a place verified once more? In a thread, against its histories; the house goes on."""

from threading import Event, Lock
from typing import Any

from stagectl.copyoff.mhlverify import Progress, Report, verify
from stagectl.copyoff.target import Place


class Check:
    """One verification of one place.

    Attributes:
        place: what is verified.
        report: what was found; None: it is not through.
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self.report: Report | None = None
        self._stop = Event()
        self._lock = Lock()
        self._progress = Progress(0, 0, 0, 0, "")

    def run(self) -> Report:
        """Read everything again; blocks, for a thread. Raises CopyError: STOPPED, or TARGET."""
        target = self.place.open()
        try:
            self.report = verify(target, stop=self._stop.is_set, tell=self._tell)
        finally:
            target.close()
        return self.report

    def stop(self) -> None:
        """End it between two blocks."""
        self._stop.set()

    @property
    def progress(self) -> Progress:
        """How far it is; from any thread."""
        with self._lock:
            return self._progress

    def _tell(self, progress: Progress) -> None:
        with self._lock:
            self._progress = progress


def findings(report: Report) -> dict[str, Any]:
    """A report, as JSON holds it."""
    return {
        "whole": report.whole,
        "histories": report.histories,
        "generations": report.generations,
        "good": report.good,
        "read": report.read,
        "counts": {str(what): count for what, count in report.counts.items()},
        "findings": [{"what": str(one.what), "path": one.path, "why": one.why} for one in report.findings],
    }
