"""What is there to say about the house now? The one teller that every door asks: page, terminal, MQTT.

It looks at the board and the take log when asked and keeps nothing but the last verdict of each recorder's roll.
The words are `stagectl.shoot.wording`'s.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.control.groups import Command, Group
from stagectl.driverkit.box import Box
from stagectl.model.capabilities.base import HEALTH, HEALTH_WHY, LINK_SILENT, Health
from stagectl.model.capabilities.recorder import (
    INPUT_PRESENT,
    REMOTE,
    SLOT_ACTIVE,
    SLOT_LEFT,
    SLOT_STATE,
    TRANSPORT,
    Roll,
    SlotState,
    Transport,
)
from stagectl.model.conditions import NO, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import NEVER, Quality, Reading
from stagectl.model.verbs import Ended, Set, Verdict
from stagectl.shoot import wording
from stagectl.shoot.house import House
from stagectl.shoot.scenerun import Run
from stagectl.shoot.take import Lane, Take

LOW_S: Final = 1800.0  # a medium that is full sooner while it records is told as wrong; own choice, half an hour
UNSEEN_S: Final = 3.0  # a box is told as not seen from here on: its values are stale then
SLOTS: Final = (1, 2)
_WELL: Final = (Ended.VERIFIED, Ended.SENT)


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is wrong.

    Attributes:
        device: its id; empty: the daemon itself.
        say, remedy: one sentence each.
        since: wall time, UTC; None: not known.
        grade: "now": a take is in danger or someone must act at once; "soon": it will become so.
    """

    device: str
    called: str
    say: str
    remedy: str
    since: datetime | None
    grade: str

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "device": self.device,
            "called": self.called,
            "say": self.say,
            "remedy": self.remedy,
            "since": stamp(self.since) if self.since is not None else None,
            "grade": self.grade,
        }


class Teller:
    """Sentences about one house.

    Args:
        zone: in which times of day are told; None: this machine's.
    """

    def __init__(self, house: House, zone: tzinfo | None = None) -> None:
        self._house = house
        self._zone = zone
        self._rolls: dict[str, tuple[int, Verdict]] = {}
        house.commands.judge.on_end.append(self._heard)

    # -- the state ------------------------------------------------------------------------------------------------

    def state(self) -> str:
        """The house in one or two sentences, the worst fact first."""
        take = self._house.takes.open
        return self._rolling(take) if take is not None else self._idle()

    def last(self) -> str:
        """How the newest ended take ended; empty: there is none."""
        takes = self._house.takes.takes
        take = next((one for one in reversed(takes.values()) if one.closed is not None), None)
        return self.ended(take) if take is not None else ""

    def wrong(self) -> list[Wrong]:
        """All that is wrong, worst first; each device once."""
        rows = [Wrong("", "stagectl", text, "", None, "now") for text in self._house.trouble.values()]
        take = self._house.takes.open
        for name, box in self._house.boxes.items():
            row = self._wrong(name, box, take)
            if row is not None:
                rows.append(row)
        return sorted(rows, key=lambda row: row.grade != "now")

    def now(self) -> dict[str, Any]:
        """What `stagectl now` shows: sentence, when, who can roll, the running take, what is wrong."""
        takes = self._house.takes
        can = sum(self._lacks(name) is None for name in takes.recorders)
        now = self._house.world.clock.now()
        return {
            "say": self.state(),
            "at": stamp(self._house.world.clock.wall()),
            "can_roll": can,
            "recorders": len(takes.recorders),
            "take": takes.open.plain(now) if takes.open is not None else None,
            "last": self.last(),
            "next": {"take": takes.upcoming("")[0], "name": takes.slate},
            "wrong": [row.plain() for row in self.wrong()],
        }

    def ended(self, take: Take) -> str:
        """A closed take in a sentence."""
        assert take.closed is not None
        long = (take.closed - take.opened).total_seconds()
        common = take.common()
        shared = None
        if common is not None:
            rate = next(iter(take.all_lanes())).rate
            shared = int(common["frames"]) * rate.seconds / rate.frames if rate is not None else None
        seen = len(take.lanes) - sum(device in take.unseen for device in take.lanes)
        return wording.ended(
            take=take.number, ended=seen, of=len(take.lanes), at=self.at(take.closed), for_s=long, shared_s=shared
        )

    def at(self, wall: datetime) -> str:
        """A time of day as people here read it: "15:17:02"."""
        return f"{wall.astimezone(self._zone):%H:%M:%S}"

    def _idle(self) -> str:
        recorders = self._house.takes.recorders
        if not recorders:
            return wording.no_recorder()
        lacks = {name: lack for name in recorders if (lack := self._lacks(name)) is not None}
        of, can = len(recorders), len(recorders) - len(lacks)
        if lacks:
            first, lack = next(iter(lacks.items()))
            return wording.not_ready(can=can, of=of, called=recorders[first], has=lack, more=len(lacks) - 1)
        left_s, left_on = self._shortest(list(recorders))
        return wording.ready(can=can, of=of, left_s=left_s, left_on=left_on)

    def _rolling(self, take: Take) -> str:
        known = list(dict.fromkeys((*take.wanted, *take.lanes)))
        rolling = dict.fromkeys(take.rolling)
        proven = dict.fromkeys(name for name in rolling if self._proven(name))
        number, of = take.number, len(known)
        for name in proven:
            health = self._house.board.get(name, HEALTH)
            if health.value is Health.DOUBTFUL:
                since = self._time(self._house.board.get(name, HEALTH_WHY)) or ""
                return wording.rolls_standing(take=number, called=self._called(name), since=since)
        for name in known:
            if name in rolling and name not in proven:
                return wording.rolls_unseen(
                    take=number, rolling=len(proven), of=of, called=self._called(name), for_s=self._unseen_s(name)
                )
        for name in known:
            if name not in rolling and (say := self._missing(take, name)):
                return wording.rolls_without(take=number, rolling=len(proven), of=of, say=say)
        spread = take.spread()
        left_s, left_on = self._shortest(list(proven))
        return wording.rolls(
            take=number,
            rolling=len(proven),
            of=of,
            for_s=self._house.world.clock.now() - take.opened_at,
            spread=spread.frames if spread is not None else None,
            give=spread.give if spread is not None else 0,
            left_s=left_s,
            left_on=left_on,
        )

    def _missing(self, take: Take, name: str) -> str:
        """Why a recorder of the take does not roll; empty: its roll is still on its way."""
        lane = self._last_lane(take, name)
        called = self._called(name)
        if lane is not None and lane.ended is not None:
            return wording.left_take(called=called, at=self.at(lane.ended), by=lane.ended_by)
        number, verdict = self._rolls.get(name, (0, None))
        if number != take.number or verdict is None or verdict.ended in _WELL:
            return ""
        why, _ = self.reason(name, "roll", verdict)
        return wording.not_rolled(called=called, why=why, known=verdict.ended is not Ended.UNCONFIRMED)

    # -- what is wrong --------------------------------------------------------------------------------------------

    def _wrong(self, name: str, box: Box, take: Take | None) -> Wrong | None:
        """The worst thing about one device."""
        called = self._called(name)
        in_take = take is not None and (name in take.rolling or name in take.wanted)
        health, why = self._house.board.get(name, HEALTH), self._house.board.get(name, HEALTH_WHY)
        if name in self._house.devices.quarantined:
            say = wording.set_aside(called=called, why=self._house.devices.quarantined[name])
            remedy = f"Look after its driver, then send POST /api/v1/devices/{name}/retry."
            return Wrong(name, called, say, remedy, self._wall(why), "now" if in_take else "soon")
        if health.value is Health.FAILED:
            return self._failed(name, called, box, in_take=in_take)
        silent = self._unseen_s(name)
        if silent >= UNSEEN_S:
            rolled = take is not None and name in take.rolling
            say = (wording.unseen if rolled else wording.came_stale)(called=called, for_s=silent)
            since = self._house.world.clock.wall() - timedelta(seconds=silent)
            return Wrong(name, called, say, "Look at its front.", since, "now" if in_take else "soon")
        if health.value not in (Health.WELL, None):
            doubt = next((one for one in box.capability.doubts if one.says == why.value), None)
            say = wording.doubt(called=called, says=str(why.value), since=self._time(why) or "")
            remedy = doubt.remedy if doubt is not None else ""
            return Wrong(name, called, say, remedy, self._wall(why), "now" if in_take else "soon")
        return self._wrong_recorder(name, called, take) if name in self._house.takes.recorders else None

    def _failed(self, name: str, called: str, box: Box, *, in_take: bool) -> Wrong:
        why = self._house.board.get(name, HEALTH_WHY)
        text = str(why.value or box.trouble)
        grade = "now" if in_take else "soon"
        if "another box" not in text:
            since = self._wall(self._house.board.get(name, HEALTH))
            say = wording.unreached(called=called, why=text, since=self.at(since) if since else "")
            return Wrong(name, called, say, "Check its power and network cable.", since, grade)
        remedy = "Check its address in the site file."
        return Wrong(name, called, wording.not_driven(called=called, why=text), remedy, self._wall(why), grade)

    def _wrong_recorder(self, name: str, called: str, take: Take | None) -> Wrong | None:
        records = self._proven(name)
        if take is not None and name in take.wanted and name not in take.rolling:
            say = self._missing(take, name)
            if say:
                lane = self._last_lane(take, name)
                _, verdict = self._rolls.get(name, (0, None))
                act = "" if lane is not None or verdict is None else self.reason(name, "roll", verdict)[1]
                remedy = act or f"To roll it again: stagectl roll {name}"
                return Wrong(name, called, say, remedy, lane.ended if lane is not None else take.opened, "now")
        if records and (left := self._left(name)) is not None and left < LOW_S:
            say = wording.filling(called=called, left_s=left)
            return Wrong(name, called, say, "Put a medium into its other slot.", None, "now" if left < 180 else "soon")
        present = self._house.board.get(name, INPUT_PRESENT)
        if present.quality is Quality.GOOD and present.value is False:
            say = wording.no_input(called=called)
            return Wrong(name, called, say, "Route a source to it.", self._wall(present), "now" if records else "soon")
        lack = None if records else self._lacks(name)
        if lack is not None:
            remedy = next((act for has, _, act in wording.LACKS.values() if has == lack), "Look at its front")
            return Wrong(name, called, wording.cannot_roll(called=called, has=lack), f"{remedy}.", None, "soon")
        return None

    # -- verdicts and refusals ------------------------------------------------------------------------------------

    def group(self, group: Group) -> str:
        """How a press ended, or that it is on its way."""
        of = len(group.commands)
        if not group.ended:
            return wording.on_the_way(say=group.say, of=of)
        well = sum(verdict.ended in _WELL for verdict in group.verdicts)
        if group.verb == "roll":
            take = self._house.takes.takes.get(group.take) if group.take is not None else None
            spread = take.spread() if take is not None else None
            return wording.rolled(
                take=group.take,
                well=well,
                of=of,
                unknown=sum(verdict.ended is Ended.UNCONFIRMED for verdict in group.verdicts),
                spread=spread.frames if spread is not None else None,
                give=spread.give if spread is not None else 0,
            )
        if group.verb == "cut" and group.take is not None:
            return wording.cut(take=group.take, well=well, of=of)
        if of == 1:
            return self.box(group.commands[0])
        return wording.done(say=group.say, well=well, of=of)

    def run(self, run: Run) -> str:
        """How a run of a scene stands."""
        ended = str(run.ended) if run.ended is not None else ""
        return wording.scene(called=run.scene.called, count=run.count, ended=ended, why=run.why, remedy=run.remedy)

    def box(self, command: Command) -> str:
        """How one command ended, as a sentence with its remedy; empty: it has not."""
        verdict = command.verdict
        if verdict is None:
            return ""
        verb = command.ask.verb
        what = verb.say().removeprefix("set ") if isinstance(verb, Set) else ""
        return self._told(command.ask.target, verb.spec.name, verdict, what=what, done=verb.spec.done)

    def reason(self, device: str, verb: str, verdict: Verdict) -> tuple[str, str]:
        """Why it did not happen and what to do, in people's words; both empty if it did."""
        if verdict.ended in _WELL:
            return "", ""
        if verdict.ended is Ended.UNCONFIRMED:
            return verdict.why, verdict.remedy if verdict.code == "born-before" else "Look at its front."
        why, act = wording.reason(verb=verb, why=verdict.why, code=verdict.code, remedy=verdict.remedy)
        return why, wording.again(remedy=act, device=device) if verb == "roll" and act else act

    def refusal(self, refused: RefusedError) -> str:
        """A refusal with its remedy."""
        return wording.closed(say=str(refused), remedy=refused.remedy)

    def unnamed_cut(self) -> RefusedError:
        """A cut that names no take: what it should have said."""
        take = self._house.takes.open
        if take is None:
            return RefusedError(wording.nothing_to_cut(), code="take")
        for_s = self._house.world.clock.now() - take.opened_at
        say = wording.name_the_take(take=take.number, recorders=len(take.rolling), for_s=for_s)
        sentence, _, remedy = say.partition(". ")
        return RefusedError(f"{sentence}.", remedy=remedy, code="take-unnamed")

    def _told(self, device: str, verb: str, verdict: Verdict, *, what: str = "", done: str = "") -> str:
        return wording.box(
            called=self._called(device),
            device=device,
            verb=verb,
            ended=verdict.ended,
            what=what,
            why=verdict.why,
            remedy=verdict.remedy,
            code=verdict.code,
            done=done,
            moot=verdict.moot,
        )

    def _heard(self, group: Group) -> None:
        if group.verb == "roll":
            for command in group.commands:
                if command.verdict is not None and command.ask.target in self._house.takes.recorders:
                    self._rolls[command.ask.target] = (group.take or 0, command.verdict)

    # -- facts ----------------------------------------------------------------------------------------------------

    def _called(self, name: str) -> str:
        return self._house.called(name)

    @staticmethod
    def _last_lane(take: Take, name: str) -> Lane | None:
        lanes = take.lanes.get(name)
        return lanes[-1] if lanes else None

    def _proven(self, name: str) -> bool:
        """Does it record by its own young report?"""
        reading = self._house.board.get(name, TRANSPORT)
        return reading.quality is Quality.GOOD and reading.value is Transport.RECORDING

    def _unseen_s(self, name: str) -> float:
        """Seconds since the box last said anything; 0 if it was never reached."""
        if self._house.boxes[name].adopted:
            return float(self._house.board.get(name, LINK_SILENT).value or 0.0)
        reading = self._house.board.get(name, TRANSPORT)
        return self._house.world.clock.now() - reading.read_at if reading.read_at > NEVER else 0.0

    def _lacks(self, name: str) -> str | None:
        """What keeps a recorder from rolling, going on after its name; None: it can roll, or rolls."""
        board = self._house.board
        if board.get(name, HEALTH).value is Health.FAILED:
            return wording.LACKS["link"][0]
        if self._proven(name) or judge(board, Roll().needs(), name) is not NO:
            return None
        if judge(board, REMOTE.is_(True), name) is NO:
            return wording.LACKS["remote"][0]
        if board.get(name, TRANSPORT).value is Transport.PLAYING:
            return wording.LACKS["plays"][0]
        states = [board.get(name, SLOT_STATE.at(slot)).value for slot in SLOTS]
        return wording.LACKS["medium-error" if SlotState.ERROR in states else "medium"][0]

    def _left(self, name: str) -> float | None:
        """Seconds left on the medium it records on; None: not known."""
        active = self._house.board.get(name, SLOT_ACTIVE).value
        reading = self._house.board.get(name, SLOT_LEFT.at(active)) if active else None
        return float(reading.value) if reading is not None and reading.value is not None else None

    def _shortest(self, names: list[str]) -> tuple[float | None, str]:
        lefts = [(left, name) for name in names if (left := self._left(name)) is not None]
        if not lefts:
            return None, ""
        left, name = min(lefts)
        return left, self._called(name)

    def _wall(self, reading: Reading[Any]) -> datetime | None:
        """Wall time of a reading's last change."""
        if reading.changed_at == NEVER:
            return None
        clock = self._house.world.clock
        return clock.wall() - timedelta(seconds=clock.now() - reading.changed_at)

    def _time(self, reading: Reading[Any]) -> str | None:
        wall = self._wall(reading)
        return self.at(wall) if wall is not None else None
