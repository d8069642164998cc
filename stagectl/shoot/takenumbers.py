"""Which number does a take have on its slate? Its own never comes again; this one is counted as the site says."""

from collections.abc import Reversible
from datetime import tzinfo
from enum import StrEnum
from itertools import takewhile

from stagectl.shoot.take import Take


class Numbering(StrEnum):
    """Within what takes are counted from one."""

    SLATE = "per slate"  # and a slate stands until another is chosen
    DAY = "per day"  # and a name that is set ahead is the next take's alone


def on_slate(take: Take, takes: Reversible[Take], numbering: Numbering, zone: tzinfo | None = None) -> int:
    """The number of a take within its slate or day, after the highest one there among `takes`; 0: it has no slate.

    `takes`: oldest first; it may be one of them. `zone`: in which days begin; None: this machine's.
    """
    others = (one for one in reversed(takes) if one is not take)
    if numbering is Numbering.DAY:
        day = take.opened.astimezone(zone).date()
        same = takewhile(lambda one: one.opened.astimezone(zone).date() == day, others)
        return 1 + max((one.slate_take for one in same), default=0)
    if not (slate := slate_key(take.name)):
        return 0
    return 1 + max((one.slate_take for one in others if slate_key(one.name) == slate), default=0)


def slate_key(name: str) -> str:
    """A slate as it is compared: people write it as they like."""
    return " ".join(name.casefold().split())
