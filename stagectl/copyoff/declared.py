"""What does a site whose recorders are copied off declare in the house? A part with its points, and alarms.

Apart from `wiring`, which makes the engine: a house without a place to copy to need not load that.
"""

from dataclasses import replace

from stagectl.copyoff.part import COPY, DECK_FAILED, DECK_LATE, CopyPart
from stagectl.model.board import Board
from stagectl.model.conditions import Leaf
from stagectl.model.points import PointSpec
from stagectl.model.world import Clock
from stagectl.site import AlarmEntry, Site


def decks_of(site: Site) -> list[str]:
    """Recorders whose clips can be copied."""
    return [name for name, entry in site.devices.items() if entry.store is not None]


def copy_part(board: Board, clock: Clock, site: Site) -> CopyPart:
    """The house part; nothing is copied until `copy_off` has made the rest."""
    return CopyPart(board, clock, decks_of(site))


def with_alarms(site: Site) -> Site:
    """The site with an alarm for each recorder whose clips could not be copied, or were not when it was due."""
    if not site.copy.targets:
        return site
    own: list[AlarmEntry] = []
    for deck in decks_of(site):
        own += (
            AlarmEntry(
                deck,
                "copy-failed",
                _some(DECK_FAILED.at(deck)),
                "soon",
                "{called} has clips that could not be copied.",
                "See: stagectl copy report",
                site.copy.line,
            ),
            AlarmEntry(
                deck,
                "copy-late",
                _some(DECK_LATE.at(deck)),
                "soon",
                "{called} has clips that were not copied when the run that was due had ended.",
                "To copy them: stagectl copy run",
                site.copy.line,
            ),
        )
    return replace(site, alarms=(*site.alarms, *own))


def _some(spec: PointSpec[int]) -> Leaf:
    return Leaf(spec, "at least", (1,), COPY.kind)
