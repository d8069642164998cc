"""Old bugs of the take log and the alarms: whose recording is it, which cut ends it, and what is wrong?"""

from collections.abc import Sequence
from typing import Any

from stagectl.model.errors import RefusedError
from stagectl.shoot import alarms
from stagectl.shoot.alarmcauses import Causes
from stagectl.shoot.alarms import Alarms
from stagectl.shoot.takes import Takes
from tests.studio.museum.bug import Patch, bug


@bug("cut-ignores-take", "a cut ends whatever runs, whichever take it names", first=54)
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


@bug("takes-forgotten", "a take that runs is not known any more after a restart", "crash", first=4)
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


@bug("no-alarm", "a box that is lost raises no alarm", first=5)
def _() -> Sequence[Patch]:
    def deaf(*_: Any) -> None:
        """Nothing comes."""

    return [(Alarms, "_come", deaf)]


@bug("alarm-sticks", "an alarm stands on when what caused it is over")
def _() -> Sequence[Patch]:
    def deaf(*_: Any) -> None:
        """Nothing goes."""

    return [(Alarms, "_leave", deaf)]


@bug("each-box-an-alarm", "one switch that is off is an alarm for every box behind it", "one-switch-off.json")
def _() -> Sequence[Patch]:
    return [(Causes, "group", lambda self, alarms, standing, ripe: [])]


@bug("alarm-chatters", "an alarm that stands is told again and again", first=33)
def _() -> Sequence[Patch]:
    settle = Alarms._settle

    def chatter(self: Any) -> None:
        settle(self)
        for alarm in list(self._standing.values()):
            if alarm.told and self._clock.now() - alarm.since_at > 1.0 and not alarm.gone:
                self._over(alarm)
                self._come(alarm)

    return [(Alarms, "_settle", chatter)]


@bug(
    "refusal-is-an-alarm",
    "a roll that was refused to who asked is told as a recorder that did not roll",
    "deck",
    first=20,
)
def _() -> Sequence[Patch]:
    return [(alarms, "_WHO", ())]
