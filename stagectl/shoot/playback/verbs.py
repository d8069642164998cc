"""What can be known and asked of a playback, as of a box?"""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final

from stagectl.model.capabilities.base import Capability
from stagectl.model.conditions import Condition, every
from stagectl.model.points import Flags, PointSpec
from stagectl.model.verbs import Verb, VerbSpec
from stagectl.shoot.stations import RISE_S

PLAYS_S: Final = 4.0  # from the press until the recorders are seen to play, once all that comes first is judged


class State(StrEnum):
    """How a playback stands."""

    IDLE = "idle"  # nothing is played back, and nothing is owed
    CUEING = "cueing"  # asked for, and not seen to play yet
    PLAYS = "plays"
    OVER = "over"  # it plays no more; what was there before is still to be put back


STATE: Final[PointSpec[State]] = PointSpec("state", State)
TAKE: Final[PointSpec[int]] = PointSpec("take", int)  # its number; 0: none
RECORDERS: Final[PointSpec[str]] = PointSpec("recorders", str)  # comma-separated
STATION: Final[PointSpec[str]] = PointSpec("station", str)  # empty: none


@dataclass(frozen=True, slots=True)
class PlayTake(Verb):
    """Cue a take, give its picture and sound to a station, and play it.

    `take` 0: the newest one. `recorder` empty: the first of the site's `playback` that has it. `every`: all recorders
    of the take in step; the station then gets what comes off `recorder`. `mark`, counted from one, or `label`: play
    from there on. `station` empty: nothing is routed.
    """

    spec: ClassVar[VerbSpec] = VerbSpec("play", PLAYS_S, "plays", flags=Flags.LOUD)
    take: int = 0
    recorder: str = ""
    every: bool = False
    station: str = ""
    mark: int = 0
    label: str = ""

    def effect(self) -> Condition:
        return every(STATE.is_(State.PLAYS), TAKE.is_(self.take))

    def say(self) -> str:
        said = [f"play take {self.take}" if self.take else "play the last take"]
        said += [f"from mark {self.mark}"] if self.mark else []
        said += [f"from {self.label}"] if self.label else []
        return " ".join(said + ([f"on {self.station}"] if self.station else []))


@dataclass(frozen=True, slots=True)
class StopPlayback(Verb):
    """End the playback, and put back what the station saw and heard before, where it is still ours."""

    spec: ClassVar[VerbSpec] = VerbSpec("stop", RISE_S, "stopped", flags=Flags.LOUD, overtakes=("play",))

    def effect(self) -> Condition:
        return STATE.is_(State.IDLE)

    def say(self) -> str:
        return "stop the playback"


PLAYBACK: Final = Capability("playback", 1, (STATE, TAKE, RECORDERS, STATION), (PlayTake, StopPlayback))
