"""Whom may scenes and set-ups speak of, and what would the house refuse whatever stands on the board?"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from stagectl.model.capabilities.base import Capability
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ask, Verb
from stagectl.shoot.scenewords import Words

if TYPE_CHECKING:
    from stagectl.shoot.house import House

# refusals that stand in the file, whatever stands on the board
_NEVER: Final = ("value", "point", "target", "argument", "verb", "unit", "range", "read-only", "setup")


class HouseVocabulary:
    """Fulfils `Vocabulary`: the devices, parts and groups of a house."""

    def __init__(self, house: "House") -> None:
        self._devices: dict[str, Capability] = {name: box.capability for name, box in house.boxes.items()}
        self._devices.update({name: part.capability for name, part in house.parts.items()})
        self._groups = {name: tuple(members) for name, members in house.site.groups.items() if members}

    def devices(self) -> Mapping[str, Capability]:
        return self._devices

    def groups(self) -> Mapping[str, tuple[str, ...]]:
        return self._groups


def words_of(house: "House") -> Words:
    """Whom and what files of this house may speak of."""
    site = house.site

    def see(device: str, verb: Verb) -> None:
        """Refuse what a part would refuse whatever stands on the board, such as a source that is nowhere."""
        part = house.parts.get(device)
        if part is not None:
            try:
                part.expand(Ask("", "", "", device, verb))
            except RefusedError as refused:
                if refused.code in _NEVER:
                    raise

    return Words(
        HouseVocabulary(house),
        {
            "device": tuple(house.boxes),
            "recorder": tuple(house.takes.recorders),
            "source": tuple(site.pictures.all_sources()),
            "destination": tuple(site.pictures.all_destinations()),
            "sound": tuple(site.sound.sources),
            "station": tuple(site.stations),
        },
        site.people,
        see,
    )
