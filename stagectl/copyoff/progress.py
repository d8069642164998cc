"""How far is copying off, deck by deck? What the engine tells whoever shows it."""

from dataclasses import dataclass, field
from enum import StrEnum


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
        says: why the last run did not get through all it could have, sentences; empty: it did.
        decks: by device id.
    """

    run: str = ""
    running: bool = False
    done: int = 0
    of: int = 0
    rate: float = 0.0
    left_s: float | None = None
    says: str = ""
    decks: dict[str, DeckNow] = field(default_factory=dict)
