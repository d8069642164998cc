"""Who copies what, when? Runs jobs in threads, a deck at a time, and gives way to every roll."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from stagectl.copyoff.job import Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import Layout
from stagectl.copyoff.record import Published
from stagectl.copyoff.settings import Care, Deck, Seal
from stagectl.copyoff.target import Place
from stagectl.model.world import Clock, Ids, Offload
from stagectl.shoot.take import Take


class Busy(StrEnum):
    """What the engine does with one deck now."""

    IDLE = "idle"  # nothing to do
    WAITING = "waiting"  # it records, is armed to, or its state is not known
    LISTING = "listing"
    LOOKING = "looking"  # waits for the second look at a clip
    COPYING = "copying"
    RESTING = "resting"  # waits for the next try after a failure


@dataclass(frozen=True, slots=True)
class DeckNow:
    """One deck at this moment.

    Attributes:
        clip: source path of the clip that is read; empty: none.
        done, of: bytes of it.
        rate: bytes a second, over the last seconds.
        why: what it waits for or what went wrong last, a sentence; empty: nothing.
    """

    busy: Busy = Busy.IDLE
    clip: str = ""
    done: int = 0
    of: int = 0
    rate: float = 0.0
    why: str = ""


@dataclass(frozen=True, slots=True)
class Progress:
    """The run at this moment; all zero when none goes.

    Attributes:
        run: id of the run that goes, or ended last; empty: never one.
        running: it goes.
        done, of: bytes read off the recorders in this run, and bytes it has to read.
        rate: bytes a second of all decks together.
        left_s: seconds left at that rate; None: not known.
        says: the last run's last word, a sentence; empty: none.
    """

    run: str = ""
    running: bool = False
    done: int = 0
    of: int = 0
    rate: float = 0.0
    left_s: float | None = None
    says: str = ""
    decks: dict[str, DeckNow] | None = None


class Engine:
    """The copy engine: a plain object, wired by the daemon.

    Args:
        clock, ids: of the world.
        threads: of its own: `threads_needed(decks, places)` at once.
        elapsed: monotonic seconds, callable from any thread.
        jobs: the database.
        decks: whose clips are copied.
        places: the targets, the one that is copied to first in front; one or more.
        layout: where copies stand.
        takes: the takes there are, for order, layout and manifests.
        rests: does this deck neither record nor stand armed to? None: not known, so it is not read.
        care: how careful and how quick.
        seal: writes manifests.
        on_published: called on the loop for every copy that stands verified under its name.
        changed: called on the loop when what `progress` says, or what the database holds, has changed; often.
    """

    def __init__(
        self,
        *,
        clock: Clock,
        ids: Ids,
        threads: Offload,
        elapsed: Callable[[], float],
        jobs: Jobs,
        decks: Sequence[Deck],
        places: Sequence[Place],
        layout: Layout,
        takes: Callable[[], Iterable[Take]],
        rests: Callable[[str], bool | None],
        care: Care,
        seal: Seal,
        on_published: Callable[[Published], None],
        changed: Callable[[], None],
    ) -> None:
        raise NotImplementedError

    async def start(self) -> None:
        """Go on with the run that a restart interrupted, if one did."""

    async def stop(self) -> None:
        """Stop all copies where they are and end the threads; a later start goes on. Within seconds."""

    async def run(self, wanted: Wanted) -> str:
        """Begin a run; returns its id. Clips that failed earlier are tried again.

        Raises:
            RefusedError: a run goes already (code "runs").
        """
        raise NotImplementedError

    def halt(self) -> bool:
        """End the run that goes, at once; parts stay for the next one. False: none goes."""
        raise NotImplementedError

    def give_way(self, deck: str) -> None:
        """Stop reading this deck now: a roll arms. No await, no disk; reads go on once `rests` says so again.

        Call it from the loop, before the first byte of a roll leaves; a deck that is not ours is fine.
        """
        raise NotImplementedError

    def progress(self) -> Progress:
        """What goes on now; cheap."""
        raise NotImplementedError

    async def refresh(self, wanted: Wanted) -> dict[str, str]:
        """List the stores of all decks that rest, so that `Jobs` holds what a run would copy.

        Returns: deck -> why it could not be listed, a sentence; empty: all were.
        """
        raise NotImplementedError


def threads_needed(decks: Sequence[Deck], places: Sequence[Place]) -> int:
    """Threads that copy at once, and one for the database's short questions."""
    return sum(deck.sessions for deck in decks) + len(decks) + len(places) + 1
