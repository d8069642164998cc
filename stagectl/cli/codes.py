"""What does the exit code of a verb say?"""

from collections.abc import Iterable, Mapping
from enum import IntEnum
from typing import Any, Final


class Exit(IntEnum):
    """Exit codes; a script tells them apart without reading a word."""

    DONE = 0  # done, and proven
    FAILED = 1  # something that was asked failed
    UNCLEAR = 2  # not understood, or named too little; nothing was sent
    UNKNOWN = 3  # not known if it happened
    REFUSED = 4  # a role, a holder or a guard is in the way
    UNREACHED = 5  # stagectl is not reached
    NO = 6  # the answer is no: something is wrong
    LEFT = 130  # Ctrl-C: waiting ended, nothing else did


GUARDS: Final = frozenset({"role", "locked", "limit", "take", "held", "confirm", "fresh"})
STATES: Final = frozenset(  # it was understood, but can't be now
    {
        "needs",
        "no-link",
        "not-adopted",
        "no-way",
        "late",
        "driver",
        "device",
        "busy",
        "conflict",
        "unreached",
        "revision",
        "runs",
        "copy-runs",
        "copy-idle",
    }
)
_WELL: Final = frozenset({"verified", "sent"})


def of_refusal(status: int, code: str) -> Exit:
    """Of a refusal as a whole: `status` is HTTP's, `code` the short word beside the sentence."""
    if status == 404:
        return Exit.UNCLEAR
    if code in GUARDS:
        return Exit.REFUSED
    if code in STATES or status >= 500:
        return Exit.FAILED
    return Exit.REFUSED if status in (401, 403, 423, 429) else Exit.UNCLEAR


def of_group(ended: str | None, boxes: Iterable[Mapping[str, Any]]) -> Exit:
    """Of a press that was carried out: the worst box decides; `ended` None: the verdict did not come in time."""
    if ended is None or ended == "unconfirmed":
        return Exit.UNKNOWN
    if ended in _WELL:
        return Exit.DONE
    bad = [box for box in boxes if box.get("ended") not in _WELL]
    guarded = bad and all(box.get("code") in GUARDS for box in bad)
    return Exit.REFUSED if guarded else Exit.FAILED
