"""Which part of a set-up is meant? "paths, iso, mixer strip 5"."""

from typing import TYPE_CHECKING

from stagectl.model.errors import RefusedError
from stagectl.shoot.setups.setup import Pair

if TYPE_CHECKING:
    from stagectl.shoot.house import House


class Chosen:
    """Says of a point whether it is meant. Of no words: every one is.

    Attributes:
        text: as it was asked for.

    Raises:
        RefusedError: nobody is called so.
    """

    def __init__(self, house: "House", text: str) -> None:
        self.text = ", ".join(filter(None, map(str.strip, text.split(","))))
        self._of: list[tuple[frozenset[str], str]] = []
        for words in filter(None, self.text.split(", ")):
            who, _, what = words.removeprefix("every ").partition(" ")
            whole = words in house.boxes or " " not in words
            try:
                devices = house.resolve(words if whole else who)
                point = "" if whole else ".".join(what.split())
            except RefusedError as nobody:
                try:
                    devices, point = house.resolve(words), ""  # such as "Rec 1", as people call it
                except RefusedError:
                    raise nobody from None
            self._of.append((frozenset(devices), point))

    def __call__(self, pair: Pair) -> bool:
        device, name = pair
        return not self._of or any(
            device in devices and (not point or name == point or name.startswith(f"{point}."))
            for devices, point in self._of
        )
