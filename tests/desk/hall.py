"""What tests of the page do with the hall."""

from typing import Any

from tests.stories.studio import RECORDERS, Studio, until

WITHIN_S = 10.0


class Hall:
    """The demo hall, in the words of a shoot."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.url = studio.url
        self._faults: list[tuple[str, str]] = []

    def roll(self, name: str = "") -> int:
        """Roll all; its number."""
        status, told = self.studio.post("roll", {"name": name})
        assert status == 200, told
        return int(told["take"])

    def cut(self, take: int) -> None:
        self.studio.post("cut", {"take": take})
        until(lambda: self.now()["take"] is None, WITHIN_S, "the take has ended")

    def now(self) -> Any:
        return self.studio.get("now")

    def fault(self, box: str, name: str) -> None:
        self._faults.append((box, name))
        self.studio.fault(box, name)

    def rolling(self) -> list[str]:
        """Decks that record, whatever anybody says."""
        return [name for name in RECORDERS if self.studio.truth(name)["transport"] == "record"]

    def commands(self) -> int:
        """How many commands the journal of this daemon has."""
        return len(self.studio.get("commands?count=1000")["commands"])

    def calm(self) -> None:
        """Back at rest: faults off, nothing rolls, nothing is wrong."""
        for box, name in self._faults:
            self.studio.fault(box, name, on=False)
        self._faults.clear()
        take = self.now()["take"]
        if take is not None:
            self.cut(take["take"])
        until(lambda: self.now()["say"].startswith("Ready: 5 of 5"), WITHIN_S, "all can roll again")
