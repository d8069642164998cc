"""What does a step of a copy work with? The job, its copy, the target, and what it shares with the loop."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from stagectl.copyoff.digests import Digest, digest, quickest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.job import Copy, Job, State
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import room
from stagectl.copyoff.source import Look
from stagectl.copyoff.target import Part, Target
from stagectl.copyoff.work import Leave, Meter, Pace

KEEP_EVERY = 512 << 20  # bytes after which a part is synced and noted: the most that a power cut costs


@dataclass(frozen=True, slots=True)
class Piece:
    """One thread's piece of work on one copy of a job.

    Attributes:
        wall: UTC wall time.
        keep_free: bytes that stay free at the target.
    """

    jobs: Jobs
    job: Job
    copy: Copy
    target: Target
    leave: Leave
    pace: Pace
    meter: Meter
    wall: Callable[[], datetime]
    keep_free: int

    @property
    def clip(self) -> str:
        """For sentences: "Rec 1: 1/T001_wide.mov"."""
        return f"{self.job.called}: {self.job.source.path}"

    def put(self, state: State, **values: str | int | datetime | Reason | None) -> None:
        """Bring the copy to a state, on the medium when it returns; in no roll's way."""
        self.pace.still()
        self.jobs.put(self.job.id, self.copy.target, state, **values)

    def begin(self, size: int) -> bool:
        """Note that a part of a clip of so many bytes is being made; True: the one there is may be gone on with."""
        if self.copy.state is State.COPYING and 0 < self.copy.kept <= size:
            self.put(State.COPYING)
            return True
        self.put(State.COPYING, started=self.wall(), hash_kind=quickest(), digest="", kept=0, kept_digest="", doubt="")
        return False

    def forget(self, look: Look) -> None:
        """The source is not what it was: what there is of it is no part of it any more.

        In this order: a kill in between must not leave a part that is taken for one of the new source.
        """
        self.forget_part()
        self.jobs.looked(self.job.id, look)

    def forget_part(self) -> None:
        """What there is of the copy is worth nothing. Said before it is taken away: a kill in between loses nothing."""
        self.put(State.DISCOVERED, digest="", kept=0, kept_digest="")

    def need_room(self, size: int) -> None:
        """Raises CopyError: FULL, the target has no room for so many bytes more."""
        free, needed = self.target.free(), room(size, self.keep_free)
        if free is not None and free < needed:
            say = f"{free >> 20} MiB are free, {needed >> 20} MiB are needed. Make room, or take another target."
            raise CopyError(Reason.FULL, f"{self.target.name} has no room for {self.job.source.name}: {say}")

    def rebuilt(self, part: Part) -> Digest:
        """The hash of what a part holds for certain; of a new beginning, if it holds something else.

        After a power cut a part may be long enough and hold anything: what is gone on from is proved.
        """
        if part.size >= self.copy.kept:
            rolling = digest(self.copy.hash_kind)
            for block in part.read(self.copy.kept):
                self.pace.spend(0, self.leave)
                rolling.update(block)
            if rolling.text() == self.copy.kept_digest:
                part.cut(self.copy.kept)
                return rolling
        part.cut(0)
        return digest(self.copy.hash_kind)

    def fill(self, part: Part, blocks: Iterable[memoryview | bytes], rolling: Digest, size: int) -> None:
        """Write blocks as they come, up to one past `size` bytes; what came is noted when they break off.

        Raises:
            CopyError: as `blocks` and the part do; CHANGED: more came.
        """
        noted = part.size
        try:
            for block in blocks:
                rolling.update(block)
                part.write(memoryview(block))
                self.meter.came(len(block))
                self._no_more(part, size)
                if part.size - noted >= KEEP_EVERY:
                    self.keep(part, rolling)
                    noted = part.size
        except CopyError as error:
            if error.reason in (Reason.LINK, Reason.STOPPED):
                self.keep(part, rolling)
            raise

    def _no_more(self, part: Part, size: int) -> None:
        if part.size > size:
            raise CopyError(Reason.CHANGED, f"{self.clip} is longer than it was. It is looked at again.")

    def keep(self, part: Part, rolling: Digest) -> None:
        """Note what is on the medium for certain, and its hash."""
        self.sync(part)
        self.put(State.COPYING, kept=part.size, kept_digest=rolling.text())

    def sync(self, part: Part) -> None:
        """See to it that a part is on the medium, when that is in no roll's way. Raises CopyError: FULL, TARGET."""
        self.pace.still()
        part.sync()

    def hash_of(self, blocks: Iterable[bytes], kind: str) -> str:
        """The hash of what is read back. Raises CopyError: STOPPED."""
        rolling = digest(kind)
        for block in blocks:
            self.pace.spend(0, self.leave)
            rolling.update(block)
        return rolling.text()

    def discard(self, part: Part) -> None:
        """Take a part away that is not to be gone on with."""
        part.close()
        self.target.discard(self.copy.path, self.job.id)

    def occupied(self) -> CopyError:
        """Something else stands where the copy shall stand."""
        say = "Nothing was overwritten. Move that one away, or copy to another folder."
        return CopyError(Reason.OCCUPIED, f"{self.target.name}: another {self.copy.path} stands there. {say}")

    def stands(self, started: datetime, kind: str, found: str, doubt: str) -> None:
        """The same bytes stand under the right name: the copy is published."""
        now = self.wall()
        self.put(
            State.PUBLISHED,
            started=started,
            verified=now,
            published=now,
            hash_kind=kind,
            digest=found,
            medium=self.target.medium,
            doubt=doubt,
            reason=None,
            why="",
        )
