"""How does a playback read, in points and in sentences?"""

from collections import OrderedDict
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.groups import Command, Group
from stagectl.model.capabilities.recorder import TRANSPORT, Transport
from stagectl.model.points import Quality, Reading
from stagectl.model.verbs import Ended
from stagectl.shoot.playback import wording
from stagectl.shoot.playback.plan import MOVES
from stagectl.shoot.playback.session import Session
from stagectl.shoot.playback.verbs import PLAYBACK, RECORDERS, STATE, STATION, TAKE, PlayTake, State

if TYPE_CHECKING:
    from stagectl.shoot.house import House

OUTCOMES: Final = 50  # sentences of presses that are remembered
HELD: Final = "held-back"  # the code of what did not go out since something before it failed
WELL: Final = (Ended.VERIFIED, Ended.SENT)
_WORST_LAST: Final = (Quality.GOOD, Quality.ASKED, Quality.STALE, Quality.UNKNOWN)


class Telling:
    """Writes the part's points and keeps how presses ended. `name`: of the part."""

    def __init__(self, house: "House", name: str) -> None:
        self._house = house
        self._board = house.board
        self._clock = house.board.clock
        self._name = name
        self._outcomes: OrderedDict[str, str] = OrderedDict()
        self._writer = house.board.writer(name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*PLAYBACK.points)

    # -- how a press ended ----------------------------------------------------------------------------------------

    def failed(self, group: Group, own: Command) -> None:
        """A take is not played: what failed of itself is why, not what waited for that."""
        verb, house = own.ask.verb, self._house
        assert isinstance(verb, PlayTake)
        bad = [one for one in group.commands if one.verdict is not None and one.verdict.ended not in WELL]
        first = [one for one in bad if one.ask.target in house.boxes and one.verdict and one.verdict.code != HELD]
        found = next(iter([*first, *bad]), own)
        self._remember(group, wording.failed(take=verb.take, why=house.teller.box(found)))

    def plays(self, group: Group, session: Session) -> None:
        """A take plays."""
        said = wording.plays(
            take=session.what.take,
            on=[self._house.called(name) for name in session.what.recorders],
            label=session.what.label,
            for_s=session.what.lasts_s,
            station=self._station(session),
            picture=session.picture,
            sound=session.sound,
        )
        self._remember(group, said)

    def stopped(self, group: Group, session: Session, *, owed: int, still: Sequence[str]) -> None:
        """It has ended; `owed`: what is not seen to be back, `still`: recorders that are not seen to stop."""
        said = wording.stopped(
            take=session.what.take,
            station=self._station(session),
            sees=session.sees,
            hears=session.hears,
            bad=owed,
            left=[*session.left, *(f"{self._house.called(name)} is not seen to stop" for name in still)],
        )
        self._remember(group, said)

    def outcome(self, group: Group) -> str:
        """How a press of this part ended, in a sentence; empty: it has not, or is forgotten."""
        return self._outcomes.get(group.id, "")

    def _remember(self, group: Group, said: str) -> None:
        self._outcomes[group.id] = said
        while len(self._outcomes) > OUTCOMES:
            self._outcomes.popitem(last=False)

    # -- how it stands --------------------------------------------------------------------------------------------

    def say(self, session: Session | None) -> str:
        """How the playback stands, in a sentence."""
        state = str(self._board.get(self._name, STATE).value)
        if session is None:
            return wording.stands(state=state, take=0, on=[], station="")
        called = [self._house.called(name) for name in session.what.recorders]
        return wording.stands(state=state, take=session.what.take, on=called, station=self._station(session))

    def plain(self, session: Session | None) -> dict[str, Any]:
        """As REST shows it."""
        board = self._board
        told: dict[str, Any] = {"say": self.say(session), "state": str(board.get(self._name, STATE).value)}
        if session is None:
            return told | {"take": None, "recorders": [], "label": "", "left_s": None, "station": None, "left": []}
        left_s = session.left_s(board, self._clock.now())
        names = ("picture", "sound", "sees", "hears")
        station = {"name": session.station, **{name: getattr(session, name) for name in names}}
        return told | {
            "take": session.what.take,
            "recorders": list(session.what.recorders),
            "label": session.what.label,
            "left_s": None if left_s is None else round(left_s, 1),
            "station": station if session.station else None,
            "left": session.owed(board)[1],
        }

    def _station(self, session: Session) -> str:
        entry = self._house.site.stations.get(session.station)
        return entry.called if entry is not None else session.station

    # -- points ---------------------------------------------------------------------------------------------------

    def show(self, session: Session | None) -> None:
        """Write the part's points; whether it plays is as old and as sure as the transports it is read from."""
        quality, asked_at = Quality.GOOD, self._clock.now()
        state, take, recorders, station = State.IDLE, 0, "", ""
        if session is not None:
            transports = [self._board.get(name, TRANSPORT) for name in session.what.recorders]
            readings: list[Reading[Any]] = [*transports, *(session.returning(self._board) if session.ending else ())]
            quality = max((one.quality for one in readings), key=_WORST_LAST.index)
            asked_at = min(one.asked_at for one in readings)
            state = self._state(session, [one.value for one in transports])
            take, station = session.what.take, session.station
            recorders = ", ".join(session.what.recorders)
        for spec, value in ((TAKE, take), (RECORDERS, recorders), (STATION, station)):
            self._writer.compute(spec.name, value, asked_at=self._clock.now())
        # last: with it a press may have its verdict, and all of this be shown anew
        self._writer.compute(STATE.name, state, quality=quality, asked_at=asked_at)

    def _state(self, session: Session, values: Sequence[Transport | None]) -> State:
        if session.ending and not any(value in MOVES for value in values):
            return State.IDLE if session.is_back(self._board) else State.OVER
        if all(value is Transport.PLAYING for value in values):
            return State.PLAYS
        return State.CUEING if session.asked else State.OVER
