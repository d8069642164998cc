"""Which number does a take have on its slate? Its own never comes again; this one is counted as the site says."""

from collections.abc import Iterable
from datetime import tzinfo
from enum import StrEnum

from stagectl.shoot.take import Take


class Numbering(StrEnum):
    """Within what takes are counted from one."""

    SLATE = "per slate"  # and a slate stands until another is chosen
    DAY = "per day"  # and a name that is set ahead is the next take's alone


def on_slate(take: Take, others: Iterable[Take], numbering: Numbering, zone: tzinfo | None = None) -> int:
    """The number of a take within its slate or day, after the highest one there among `others`; 0: it has no slate.

    `zone`: in which days begin; None: this machine's.
    """
    if numbering is Numbering.SLATE and not take.name.strip():
        return 0

    def where(one: Take) -> str:
        if numbering is Numbering.DAY:
            return f"{one.opened.astimezone(zone):%Y-%m-%d}"
        return " ".join(one.name.casefold().split())

    here = where(take)
    return 1 + max((one.slate_take for one in others if one is not take and where(one) == here), default=0)
