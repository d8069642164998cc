"""Why did a copy not get through, and is it worth another try?"""

from enum import StrEnum

from stagectl.model.errors import StagectlError


class Reason(StrEnum):
    """Why a copy failed or waits; stable words for programs."""

    BUSY = "busy"  # the recorder has no session free, or asks to wait
    LINK = "link"  # the transfer broke or stood still
    REFUSED = "refused"  # the recorder said no in its own words
    GONE = "gone"  # the clip is not there any more
    CHANGED = "changed"  # the clip grew, shrank or was written anew meanwhile
    SHORT = "short"  # fewer bytes came than the clip has
    DIFFERS = "differs"  # what was read back is not what was written
    SPOILT = "spoilt"  # a copy that was verified reads differently now
    OCCUPIED = "occupied"  # another file stands at the target
    FULL = "full"  # the target has no room
    TARGET = "target"  # the target can't be written or read
    FAULT = "fault"  # an error of ours that nobody foresaw
    STOPPED = "stopped"  # somebody, or a roll, asked for it


class DatabaseError(StagectlError):
    """The job database can't be read or written: no copy can be trusted to be known, so a run ends."""


AGAIN = frozenset(
    {Reason.BUSY, Reason.LINK, Reason.CHANGED, Reason.SHORT, Reason.DIFFERS, Reason.SPOILT, Reason.TARGET}
)
"""What another try may cure without a person."""


class CopyError(StagectlError):
    """A copy did not get through; `str()` is one sentence with the thing, what happened and what to do.

    Attributes:
        reason: for programs, and for what comes next.
    """

    def __init__(self, reason: Reason, why: str) -> None:
        super().__init__(why)
        self.reason = reason

    @property
    def again(self) -> bool:
        """Another try may get through."""
        return self.reason in AGAIN
