"""How is a take played back at a station, and what was there put back? A house part, named "playback".

A play is one group in stages, like every press: cue, sound down, picture, sound up, play; each has its verdict from
points, and what comes later waits for what must come first. What the station had just before goes into the journal, so
that it can be put back also after a restart. When the take has played to its end, or plays no more, that is done by
itself; after a restart only when somebody asks.
"""

import asyncio
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import structlog

from stagectl.control.access import Person
from stagectl.control.groups import Command, Group
from stagectl.model.capabilities.recorder import TRANSPORT, Transport
from stagectl.model.errors import RefusedError
from stagectl.model.points import Ear, PointSpec, Quality, Reading
from stagectl.model.verbs import Ask, Verb
from stagectl.shoot.keeper import Keeper
from stagectl.shoot.playback.giveway import INLET, kept_from, roll_again
from stagectl.shoot.playback.passage import passage
from stagectl.shoot.playback.plan import gets, kept_of, play_asks, see_free, station_of, stop_asks
from stagectl.shoot.playback.session import Session
from stagectl.shoot.playback.telling import HELD, WELL, Telling
from stagectl.shoot.playback.verbs import PLAYBACK, PlayTake, StopPlayback
from stagectl.shoot.stations import HEARS, SEES

if TYPE_CHECKING:
    from stagectl.shoot.house import House

OVER_S: Final = 0.5  # so long it must be seen to play no more; own choice: a recorder may halt between two clips

log = structlog.get_logger()


class Playback:
    """The one playback of a house."""

    name = "playback"
    capability = PLAYBACK

    def __init__(self, house: "House") -> None:
        self._house = house
        self._board = house.board
        self._clock = house.board.clock
        self._session: Session | None = None
        self._made: tuple[Ask, Session, Sequence[Sequence[Ask]]] | None = None  # what the newest expand came to
        self._telling = Telling(house, self.name)
        self._tasks: dict[asyncio.Task[Any], None] = {}
        self._soon = False
        self._ear = Ear(self.heard)
        for device in house.takes.recorders:
            reading: Reading[Any] = house.board.reading(device, TRANSPORT)
            reading.turns = (*reading.turns, self._ear)
        self._show()
        house.commands.judge.on_end.append(self._ended)

    async def close(self) -> None:
        """Let go; nothing is sent. What plays goes on."""
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> list[Ask]:
        """The ask itself, judged by `state`, and what brings it about, already spread to boxes and in stages."""
        match ask.verb:
            case PlayTake():
                return self._expand_play(ask, ask.verb)
            case StopPlayback():
                return self._expand_stop(ask)
        raise RefusedError(f"playback can't {ask.verb.spec.name}.", remedy="Say play or stop.", code="verb")

    def _expand_play(self, ask: Ask, verb: PlayTake) -> list[Ask]:
        house, now = self._house, self._session
        station = station_of(house, verb.station)
        recorder = self._recorder(verb.recorder)
        what = passage(house.takes.takes, replace(verb, recorder=recorder), tuple(house.site.playback))
        name = station.name if station is not None else ""
        if now is not None and (now.station, set(now.what.recorders)) != (name, set(what.recorders)):
            raise RefusedError(self.say(), remedy="Stop it first: stagectl play stop", code="conflict")
        see_free(house, what, now.what.recorders if now is not None else ())
        gives = gets(house, what.recorders[0], station)
        own = PlayTake(what.take, what.recorders[0], verb.every, name, verb.mark, verb.label)
        asks, settings = play_asks(house, ask, own, what, gives)
        sees = self._seen(SEES.at(name)) if gives.picture else ""
        hears = self._seen(HEARS.at(name)) if gives.sound else ""
        keeper = Keeper(self._board)
        if now is not None:
            keeper, sees, hears = now.keeper, now.sees, now.hears
        self._made = ask, Session(ask.id, what, name, gives.picture, gives.sound, sees, hears, keeper), settings
        return asks

    def _recorder(self, word: str) -> str:
        """A recorder's id, by that or what people call it; empty: none was named. Raises RefusedError."""
        if not word:
            return ""
        found = self._house.resolve(word)
        if len(found) != 1 or found[0] not in self._house.takes.recorders:
            raise RefusedError(f'"{word[:40]}" is no one recorder.', remedy="Name one.", code="target")
        return found[0]

    def _seen(self, spec: PointSpec[str]) -> str:
        reading = self._board.get("stations", spec)
        return str(reading.value) if reading.quality is Quality.GOOD and reading.value else ""

    def _expand_stop(self, ask: Ask) -> list[Ask]:
        session = self._session
        if session is None:
            raise RefusedError(self.say(), remedy="See: stagectl takes", code="playback")
        owed, left = session.owed(self._board)
        asks, back = stop_asks(self._house, ask, ask.verb, session.what.recorders, owed)
        self._made = ask, replace(session, back=back, left=left), ()
        return asks

    def act(self, verb: Verb) -> None:
        """Keep what is so just before; from now on this is what is played, or ends. Nothing was sent yet."""
        assert self._made is not None, "it is expanded just before it acts"
        ask, session, settings = self._made
        now = self._session
        if isinstance(verb, PlayTake):
            if now is not None:
                self._let_be(now)
            kept_of(session.keeper, settings, self._house.parts)
            self._session = session
            self._log("before", ask.who, **session.plain())
        elif now is not None:
            self._let_be(now)
            now.back, now.left, now.ending, now.end = session.back, session.left, True, ask.id
            for reading in now.returning(self._board):
                reading.watches = (*reading.watches, self._ear)
        self._show()

    @staticmethod
    def _let_be(session: Session) -> None:
        """Nothing happens by itself any more at the end of what was played so far."""
        if session.until is not None:
            session.until.cancel()
            session.until = None

    # -- how it ends ----------------------------------------------------------------------------------------------

    def _ended(self, group: Group) -> None:
        """A press has its last verdict."""
        own = next((one for one in group.commands if one.ask.target == self.name), None)
        if own is None or own.verdict is None or (own.verdict.refused and own.verdict.code != HELD):
            return
        session = self._session
        if isinstance(own.ask.verb, PlayTake):
            self._telling.failed(group, own)
        if session is not None and session.id == group.id:
            self._begun(session, group, own)
        elif session is not None and session.end == group.id:
            self._over(session, group)

    def _begun(self, session: Session, group: Group, own: Command) -> None:
        session.asked, session.who = False, own.person
        if group.worst in WELL:
            left_s = session.left_s(self._board, self._clock.now())
            self._telling.plays(group, session)
            if left_s is not None and not session.ending:
                session.until = self._clock.later(self._clock.now() + left_s, lambda: self._finish(session))
        else:
            self._finish(session)
        self._show()

    def _over(self, session: Session, group: Group) -> None:
        """What is not seen to be back, or not seen to stop, is owed on."""
        boxes = self._house.boxes
        bad = {
            (one.ask.target, name)
            for one in group.commands
            if one.verdict is None or one.verdict.ended not in WELL
            for name in one.ask.verb.touches()
        }
        owed = [
            kept
            for kept, asks in session.back
            if any((one.target, name) in bad for one in asks if one.target in boxes for name in one.verb.touches())
            or any(one.cannot is not None for one in asks)
        ]
        still = [name for name in session.what.recorders if (name, TRANSPORT.name) in bad]
        self._telling.stopped(group, session, owed=len(owed), still=still)
        session.asked = session.ending = False
        session.end = ""
        for reading in session.returning(self._board):
            reading.watches = tuple(one for one in reading.watches if one is not self._ear)
        if owed or still:
            self._house.troubled(self.name, self.say())
        else:
            self._session = None
            self._log("over", group.who, take=session.what.take, left=session.left)
            self._house.troubled(self.name, None)
        self._show()

    def _finish(self, session: Session) -> None:
        """End it by itself, in the name of who asked for it."""
        if self._session is session and not session.ending and session.who is not None and not self._tasks:
            self._spawn(self._end(session))

    async def _end(self, session: Session) -> None:
        assert session.who is not None
        try:
            await self.end(session.who)
        except RefusedError as refused:
            log.warning("playback_stays", why=str(refused))
            self._house.troubled(self.name, self.say())

    # -- a roll has the right of way ------------------------------------------------------------------------------

    def give_way(self, group: Group) -> None:
        """A roll has gone out: recorders that were kept from it by a playback of ours roll too."""
        if self._session is not None and (late := kept_from(group, self._board, self._session.what.recorders)):
            self._spawn(roll_again(self._house, group, late, self.end))

    async def end(self, person: Person) -> None:
        """End what is played, unless that is under way. Raises RefusedError."""
        from stagectl.shoot.house import Wish  # noqa: PLC0415 - the house is made of its parts

        if self._session is not None and not self._session.ending:
            await self._house.submit(Wish(person, INLET, self.name, StopPlayback.spec.name))

    def _spawn(self, work: Any) -> None:
        task = asyncio.ensure_future(work)
        self._tasks[task] = None
        task.add_done_callback(self._slipped)

    def _slipped(self, task: "asyncio.Task[Any]") -> None:
        self._tasks.pop(task, None)
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("playback_slipped", error=repr(error))

    # -- from points ----------------------------------------------------------------------------------------------

    def heard(self, _: Reading[Any] | None = None) -> None:
        """Something was read that this hangs on; looked at once at the end of this turn of the loop."""
        if self._session is not None and not self._soon:
            self._soon = True
            self._clock.later(self._clock.now(), self._flush)

    def _flush(self) -> None:
        self._soon = False
        self._show()
        session = self._session
        if session is not None and session.who is not None and not session.ending and self._is_over(session):
            self._clock.later(self._clock.now() + OVER_S, lambda: self._over_for_good(session))

    def _over_for_good(self, session: Session) -> None:
        if self._is_over(session):
            self._finish(session)

    def _is_over(self, session: Session) -> bool:
        """Is one of its recorders seen to play no more?"""
        readings = [self._board.get(name, TRANSPORT) for name in session.what.recorders]
        return any(one.quality is Quality.GOOD and one.value is not Transport.PLAYING for one in readings)

    # -- told -----------------------------------------------------------------------------------------------------

    def say(self) -> str:
        """How the playback stands, in a sentence."""
        return self._telling.say(self._session)

    def outcome(self, group: Group) -> str:
        """How a press of this part ended, in a sentence; empty: it has not, or is forgotten."""
        return self._telling.outcome(group)

    def plain(self) -> dict[str, Any]:
        """As REST shows it."""
        return self._telling.plain(self._session)

    def _show(self) -> None:
        self._telling.show(self._session)

    # -- after a restart ------------------------------------------------------------------------------------------

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """From the journal's records of kind "playback", oldest first: what was not put back is owed on."""
        last: Mapping[str, Any] | None = None
        for data in records:
            last = data if data.get("what") == "before" else None
        if last is None:
            return
        try:
            self._session = Session.read(last, self._board, self._point)
        except (KeyError, TypeError, ValueError) as error:
            log.warning("playback_not_read", error=repr(error))
            return
        self._show()
        self._house.troubled(self.name, self.say())

    def _point(self, target: str, name: str) -> PointSpec[Any] | None:
        capability = self._house.capability(target)
        return capability.point(name) if capability is not None else None

    def _log(self, what: str, who: str, **data: Any) -> None:
        self._house.chronicle.write("playback", who, what=what, **data)
