"""What is a copy job? One file of one recorder, on its way to one or two targets."""

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from typing import Self

from stagectl.copyoff.errors import Reason
from stagectl.copyoff.source import Found, Look, ToldBy

COPIES_SAFE = 2  # verified copies, each on a medium of its own, before a source may be cleared; common practice


class State(StrEnum):
    """How far one copy has come; each state stands in the database before the next step begins."""

    DISCOVERED = "discovered"  # seen in a store's list
    STABLE = "stable"  # not recorded to, and of the same size in two looks
    COPYING = "copying"  # a part file may exist
    COPIED = "copied"  # all bytes are in the part, on the medium
    VERIFIED = "verified"  # read back, and the same
    PUBLISHED = "published"  # stands under its own name
    FAILED = "failed"  # see the reason


ORDER = tuple(state for state in State if state is not State.FAILED)
"""The states in the order in which a copy goes through them."""


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy of a job, at one target.

    Attributes:
        target: name of the target.
        path: below its top.
        reason, why: of a failed copy, or of the last try; None and "": none.
        tries: how often it began anew since somebody last asked for it.
        hash_kind, digest: of the bytes as they came in; digest is empty until COPIED.
        kept, kept_digest: so many bytes of the part are known to be on the medium, and have this hash.
        medium: what the target stood on.
        doubt: what a person should know though the copy is verified; empty: nothing.
        started, verified, published: UTC.
        manifest: path of the list that names it at the target; empty: none yet.
    """

    target: str
    path: str
    state: State = State.DISCOVERED
    reason: Reason | None = None
    why: str = ""
    tries: int = 0
    hash_kind: str = ""
    digest: str = ""
    kept: int = 0
    kept_digest: str = ""
    medium: str = ""
    doubt: str = ""
    started: datetime | None = None
    verified: datetime | None = None
    published: datetime | None = None
    manifest: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """One source file of one recorder.

    Attributes:
        id: 26 characters, made at discovery.
        recorder: device id.
        called: what people call the recorder.
        source: the file as the newest list told it.
        asked: the file as it was when its copy began, or was about to; None: not looked at yet.
        rank, day, take, slate, good: see `stagectl.copyoff.plan.Planned`.
        present: it stood in the store's newest whole list.
        copies: one a target, in the order of the targets.
    """

    id: str
    recorder: str
    called: str
    source: Found
    asked: Look | None
    rank: str
    day: str
    take: int | None
    slate: str
    good: bool
    present: bool
    copies: tuple[Copy, ...]

    @property
    def size(self) -> int:
        """Bytes, as last told."""
        return self.source.look.size if self.asked is None else self.asked.size

    @property
    def mtime(self) -> datetime | None:
        """When the file was last written, from the answer that is most to be trusted; None: nobody told."""
        looks = [self.source.look, *([self.asked] if self.asked else [])]
        told = {look.told_by: look.mtime for look in looks if look.mtime is not None}
        return told.get(ToldBy.FACTS) or told.get(ToldBy.ASKED) or told.get(ToldBy.LIST)

    @property
    def state(self) -> State:
        """Of the copy that is least far; FAILED as soon as one has failed."""
        states = {copy.state for copy in self.copies}
        return State.FAILED if State.FAILED in states else min(states, key=ORDER.index)

    @property
    def verified_copies(self) -> int:
        """Published copies that do not share a medium."""
        return len({copy.medium for copy in self.copies if copy.state is State.PUBLISHED})

    @property
    def safe_to_clear(self) -> bool:
        """Enough verified copies stand on media of their own. Clearing is a person's act: nothing here ever does."""
        return self.verified_copies >= COPIES_SAFE

    def copy(self, target: str) -> Copy:
        """Its copy at that target. Raises KeyError: it has none there."""
        for copy in self.copies:
            if copy.target == target:
                return copy
        raise KeyError(target)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which clips are meant; an empty field means all.

    Attributes:
        recorders: device ids.
        days: YYYY-MM-DD.
        takes: numbers.
    """

    recorders: tuple[str, ...] = ()
    days: tuple[str, ...] = ()
    takes: tuple[int, ...] = ()

    def text(self) -> str:
        """As the database keeps it."""
        return json.dumps(asdict(self))

    @classmethod
    def read(cls, text: str) -> Self:
        """What `text` wrote."""
        return cls(**{name: tuple(some) for name, some in json.loads(text).items()})


@dataclass(frozen=True, slots=True)
class Sums:
    """What is done and what is not, of one recorder.

    Attributes:
        clips, bytes: present on the recorder or copied from it.
        waiting, waiting_bytes: clips with a copy that is neither published nor failed.
        unread_bytes: of clips that must still be read off the recorder.
        failed: clips with a failed copy.
        published: clips whose every copy is published.
        safe: clips that are safe to clear.
    """

    clips: int = 0
    bytes: int = 0
    waiting: int = 0
    waiting_bytes: int = 0
    unread_bytes: int = 0
    failed: int = 0
    published: int = 0
    safe: int = 0
