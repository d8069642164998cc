"""What must a campaign have reached, or it proves nothing? States of the daemon, and every fault."""

from collections.abc import Collection

from tests.studio.faults import KINDS
from tests.studio.run import SOMETIMES


def missing(reached: Collection[str]) -> list[str]:
    """What was never reached of all that can be."""
    ids = sorted({one for kind in KINDS.values() for one in kind.ids})
    return [what for what in (*SOMETIMES, *ids) if what not in reached]
