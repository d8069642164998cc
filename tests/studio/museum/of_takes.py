"""Old bugs of the take log: whose recording is it, and which cut ends it?"""

from collections.abc import Sequence
from typing import Any

from stagectl.model.errors import RefusedError
from stagectl.shoot.takes import Takes
from tests.studio.museum.bug import Patch, bug


@bug("cut-ignores-take", "a cut ends whatever runs, whichever take it names")
def _() -> Sequence[Patch]:
    def whatever(self: Any, _: int) -> Any:
        if self.open is None:
            raise RefusedError("nothing rolls.", code="take")
        return self.open

    return [(Takes, "running", whatever)]


@bug("front-is-nobody", "a recorder that is rolled at its front is in no take")
def _() -> Sequence[Patch]:
    began = Takes._began

    def ours(self: Any, device: str, reading: Any) -> None:
        if reading.by != "box":
            began(self, device, reading)

    return [(Takes, "_began", ours)]


@bug("takes-forgotten", "a take that runs is not known any more after a restart", "crash")
def _() -> Sequence[Patch]:
    return [(Takes, "restore", lambda self, records: None)]


@bug("numbers-again", "a new take has the number of the last one")
def _() -> Sequence[Patch]:
    opened = Takes._open

    def same(self: Any, device: str, reading: Any, now: float) -> Any:
        take = opened(self, device, reading, now)
        self.next_number = max(1, take.number)
        return take

    return [(Takes, "_open", same)]
