"""Who finds a place at this door, however many stand there? And who never has to wait: a roll or a cut.

There are ordinary places, so many for each source, and a lane beside them. Who comes when the ordinary ones are taken
stands in the lane: one request is heard there, and only one of a route that has right of way. Whoever says nothing
makes room for the next, so that no crowd can fill the lane for longer than a request takes to come.
"""

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

BESIDE: Final = 200  # beside those who follow live: who asks something and goes; own choice
EACH: Final = 200  # of one source over the network; a page takes five, several people may stand behind one address
LANE: Final = 64
LANE_EACH: Final = 8  # of one source in the lane: a crowd from there pushes out its own first


@dataclass(slots=True, eq=False)
class Place:
    """Where one connection stands.

    Attributes:
        source: the address it came from.
        in_lane: it is heard once, and only if it has right of way.
        spoke: its request has come; nobody pushes it out any more.
        on_pushed: called when another one gets this place.
    """

    source: str
    in_lane: bool
    spoke: bool = False
    on_pushed: Callable[[], None] = field(default=lambda: None)


class Places:
    """All places of a door.

    Attributes:
        ordinary, each: how many there are, and of one source that is not this machine.
        turned_away: how many found none, or had to leave one.
    """

    def __init__(self, ordinary: int, each: int = EACH) -> None:
        self.ordinary = ordinary
        self.each = each
        self.turned_away = 0
        self._ordinary: dict[str, int] = {}  # how many of each source
        self._lane: dict[Place, None] = {}  # oldest first

    @property
    def open(self) -> int:
        """How many stand here."""
        return sum(self._ordinary.values()) + len(self._lane)

    def take(self, source: str) -> Place | None:
        """A place for a newcomer; None: none is left, and nobody here is silent."""
        of_source = self._ordinary.get(source, 0)
        crowded = of_source >= self.each and not _is_here(source)
        if not crowded and sum(self._ordinary.values()) < self.ordinary:
            self._ordinary[source] = of_source + 1
            return Place(source, in_lane=False)
        own = [one for one in self._lane if one.source == source]
        if (len(own) >= LANE_EACH and not self._push(own)) or (
            len(self._lane) >= LANE and not self._push(list(self._lane))
        ):
            self.turned_away += 1
            return None
        place = Place(source, in_lane=True)
        self._lane[place] = None
        return place

    def give(self, place: Place) -> None:
        """It is free again. Safe to call twice for one in the lane."""
        if place.in_lane:
            self._lane.pop(place, None)
            return
        left = self._ordinary[place.source] - 1
        if left:
            self._ordinary[place.source] = left
        else:
            del self._ordinary[place.source]

    def _push(self, among: list[Place]) -> bool:
        """Let the one go that has been silent longest. False: all of them have spoken."""
        silent = next((one for one in among if not one.spoke), None)
        if silent is None:
            return False
        self.turned_away += 1
        self._lane.pop(silent)
        silent.on_pushed()
        return True


def _is_here(source: str) -> bool:
    try:
        return ipaddress.ip_address(source).is_loopback
    except ValueError:
        return False
