"""What is one run of copying, or of verifying? Who asked, how it goes, how it ended; and how JSON shows it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from stagectl.control.chronicle import stamp
from stagectl.copyoff import words
from stagectl.copyoff.checking import Check
from stagectl.copyoff.job import Wanted
from stagectl.copyoff.progress import Progress


@dataclass(slots=True)
class Run:
    """One run, or one verification.

    Attributes:
        kind: "copy" or "verify".
        by: who asked for it; empty: nobody, it was due or was gone on with.
        wanted: which clips; of a verification all.
        began, began_at: wall time, UTC, and the monotonic clock.
        outcome: "done", "failed" or "stopped"; empty: it goes.
        say: how it ended.
        halted: somebody stopped it.
        due: it began by itself.
        checks: of a verification, one a place.
        found: what they found, by place.
    """

    id: str
    kind: str
    by: str
    wanted: Wanted
    began: datetime
    began_at: float
    ended: datetime | None = None
    outcome: str = ""
    say: str = ""
    halted: bool = False
    due: bool = False
    checks: list[Check] = field(default_factory=list)
    found: dict[str, dict[str, Any]] = field(default_factory=dict)


def copied(run: Run, progress: Progress, going: str, called: Callable[[str], str]) -> dict[str, Any]:
    """A copy run; `going`: how it goes, in a sentence."""
    decks = [
        {
            "device": name,
            "called": called(name),
            "busy": str(deck.busy),
            "clip": deck.clip,
            "done": deck.done,
            "of": deck.of,
            "rate": round(deck.rate),
            "why": deck.why or words.busy(deck.busy),
        }
        for name, deck in progress.decks.items()
    ]
    return {
        **_head(run),
        "say": run.say or going,
        "done": progress.done,
        "of": progress.of,
        "rate": round(progress.rate),
        "left_s": round(progress.left_s, 1) if progress.left_s is not None else None,
        "recorders": decks,
        "found": {},
    }


def checked(run: Run) -> dict[str, Any]:
    """A verification."""
    now = next((check for check in run.checks if check.report is None), None)
    progress = [check.progress for check in run.checks]
    going = words.checking(now.place.name, read=now.progress.read, of=now.progress.of_bytes) if now else words.ending()
    return {
        **_head(run),
        "say": run.say or going,
        "done": sum(one.read for one in progress),
        "of": sum(one.of_bytes for one in progress),
        "rate": 0,
        "left_s": None,
        "recorders": [],
        "found": run.found,
    }


def _head(run: Run) -> dict[str, Any]:
    return {
        "id": run.id,
        "kind": run.kind,
        "by": run.by,
        "started": stamp(run.began),
        "ended": stamp(run.ended) if run.ended is not None else None,
        "outcome": run.outcome,
    }
