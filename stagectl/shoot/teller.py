"""What is there to say about the house now? The one teller that every door asks: page, terminal, MQTT.

It looks at the board, the take log and the alarms when asked and keeps nothing. The words are
`stagectl.shoot.wording`'s.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.chronicle import stamp
from stagectl.control.groups import Command, Group
from stagectl.model.capabilities.base import HEALTH, HEALTH_WHY, LINK_SILENT, Health
from stagectl.model.capabilities.recorder import (
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
from stagectl.model.points import NEVER, PointSpec, Quality, Reading
from stagectl.model.verbs import Ended, Set, Verdict
from stagectl.shoot import alarmrules, wording
from stagectl.shoot.alarm import Alarm
from stagectl.shoot.alarmcauses import ANOTHER
from stagectl.shoot.alarmrules import SLOTS, doubt_name
from stagectl.shoot.alarms import last_lane
from stagectl.shoot.lineup.part import FAILED, READY
from stagectl.shoot.take import Take

if TYPE_CHECKING:
    from stagectl.shoot.house import House
    from stagectl.shoot.scenerun import Run

_WELL: Final = (Ended.VERIFIED, Ended.SENT)


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is wrong, or was, in words.

    Attributes:
        called: what people call the device; "stagectl" for the daemon itself.
        say, remedy: one sentence each.
        since: wall time, UTC; None: not known.
    """

    alarm: Alarm
    called: str
    say: str
    remedy: str
    since: datetime | None

    @property
    def device(self) -> str:
        """Its id; empty: the daemon itself, or a cause behind several devices."""
        return self.alarm.device

    @property
    def grade(self) -> str:
        """One word: "now" (a take is in danger, or someone must act at once), "soon" (it will be) or "later"."""
        return self.alarm.grade

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            **self.alarm.plain(),
            "called": self.called,
            "say": self.say,
            "remedy": self.remedy,
            "since": stamp(self.since) if self.since is not None else None,
        }


@dataclass(slots=True)
class _Lack:
    """What keeps a recorder from rolling, as long as none of these readings became another one."""

    of: list[Reading[Any]]
    rev: int = -1
    says: str | None = None


class Teller:
    """Sentences about one house.

    Args:
        zone: in which times of day are told; None: this machine's.
    """

    def __init__(self, house: "House", zone: tzinfo | None = None) -> None:
        self._house = house
        self._zone = zone
        self._lacks: dict[str, _Lack] = {}

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
        """All that is wrong, worst first; what has a cause here is told with it."""
        return [self.row(alarm) for alarm in self._house.alarms.wrong()]

    def back(self) -> list[Wrong]:
        """What was wrong, is over, and was seen by nobody."""
        return [self.row(alarm) for alarm in self._house.alarms.back()]

    def now(self) -> dict[str, Any]:
        """What `stagectl now` shows: sentence, when, who can roll, the running take, what is wrong."""
        takes = self._house.takes
        can = sum(self.lacks(name) is None for name in takes.recorders)
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

    def zone_min(self, wall: datetime) -> int:
        """Minutes that times of day here are ahead of UTC."""
        ahead = wall.astimezone(self._zone).utcoffset()
        return int(ahead.total_seconds() // 60) if ahead is not None else 0

    def _idle(self) -> str:
        recorders = self._house.takes.recorders
        if not recorders:
            return wording.no_recorder()
        lacks = {name: lack for name in recorders if (lack := self.lacks(name)) is not None}
        of, can = len(recorders), len(recorders) - len(lacks)
        if lacks:
            first, lack = next(iter(lacks.items()))
            return wording.not_ready(can=can, of=of, called=recorders[first], has=lack, more=len(lacks) - 1)
        left_s, left_on = self._shortest(list(recorders))
        return wording.ready(can=can, of=of, left_s=left_s, left_on=left_on, fail=self._failing())

    def _failing(self) -> int:
        """How many checks fail of a line-up that is known not to be ready; 0: it is, or that is not known yet."""
        board = self._house.board
        ready = board.get("lineup", READY)
        if ready.quality is not Quality.GOOD or ready.value is not False:
            return 0
        return int(board.get("lineup", FAILED).value or 0)

    def _rolling(self, take: Take) -> str:
        known = list(dict.fromkeys((*take.wanted, *take.lanes)))
        rolling = dict.fromkeys(take.rolling)
        proven = dict.fromkeys(name for name in rolling if self.proven(name))
        number, of = take.number, len(known)
        for name in proven:
            health = self._house.board.get(name, HEALTH)
            if health.value is Health.DOUBTFUL:
                since = self._time(self._house.board.get(name, HEALTH_WHY)) or ""
                return wording.rolls_standing(take=number, called=self._called(name), since=since)
        for name in known:
            if name in rolling and name not in proven:
                return wording.rolls_unseen(
                    take=number, rolling=len(proven), of=of, called=self._called(name), for_s=self.unseen_s(name)
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

    def why_missing(self, take: Take, name: str) -> str:
        """Why a recorder of the take does not roll, as a clause; empty: not known."""
        lane = last_lane(take, name)
        if lane is not None and lane.ended is not None:
            say = wording.left_take(called="it", at=self.at(lane.ended), by=lane.ended_by)
            return say.removesuffix(".")
        _, verdict = self._house.alarms.rolls.get(name, (0, None))
        return self.reason(name, "roll", verdict)[0] if verdict is not None else ""

    def _missing(self, take: Take, name: str) -> str:
        """Why a recorder of the take does not roll; empty: its roll is still on its way."""
        lane = last_lane(take, name)
        called = self._called(name)
        if lane is not None and lane.ended is not None:
            return wording.left_take(called=called, at=self.at(lane.ended), by=lane.ended_by)
        number, verdict = self._house.alarms.rolls.get(name, (0, None))
        if number != take.number or verdict is None or verdict.ended in _WELL:
            return ""
        known = verdict.ended is not Ended.UNCONFIRMED
        why = self.reason(name, "roll", verdict)[0] if known or verdict.refused else ""
        return wording.not_rolled(called=called, why=why, known=known)

    # -- what is wrong --------------------------------------------------------------------------------------------

    def row(self, alarm: Alarm) -> Wrong:
        """An alarm in words."""
        say, remedy, since = self._alarm(alarm) if alarm.standing else self._over(alarm)
        called = self._called(alarm.device) if alarm.device else self._house.alarms.where(alarm)[0] or "stagectl"
        return Wrong(alarm, called, say, remedy, since)

    def sentence(self, alarm: Alarm) -> tuple[str, str]:
        """The sentence and the remedy of an alarm that stands."""
        say, remedy, _ = self._alarm(alarm)
        return say, remedy

    def _over(self, alarm: Alarm) -> tuple[str, str, datetime | None]:
        return wording.over(say=alarm.text, for_s=alarm.lasted_s), "", alarm.since

    def _alarm(self, alarm: Alarm) -> tuple[str, str, datetime | None]:
        name, since = alarm.device, alarm.since
        called = self._called(name) if name else ""
        rule = alarm.rule.name
        if not name:
            where, devices = self._house.alarms.where(alarm)
            if not devices:
                return alarm.text, "", None
            names = [self._called(device) for device in devices]
            say = wording.unreached_together(where=where, names=names, since=self.at(since) if since else "")
            return say, "Look at the switch and the cable they share.", since
        if alarm.rule.says:
            doubt = next((one for one in self._house.boxes[name].capability.doubts if doubt_name(one) == rule), None)
            if doubt is not None:
                say = wording.doubt(called=called, says=doubt.says, since=self.at(since) if since else "")
                return say, doubt.remedy, since
            return alarm.rule.says.replace("{called}", called), alarm.rule.remedy.replace("{called}", called), since
        match rule:
            case alarmrules.LEFT_ALONE:
                say = wording.set_aside(called=called, why=self._house.devices.quarantined.get(name, ""))
                return say, f"Look after its driver, then send POST /api/v1/devices/{name}/retry.", since
            case alarmrules.UNREACHED:
                return self._unreached(name, called, since)
            case alarmrules.STOPPED | alarmrules.NOT_ROLLED:
                return self._not_rolling(name, called, alarm)
            case alarmrules.FILLING:
                left = self.left(name)
                say = wording.filling(called=called, left_s=left) if left is not None else alarm.text
                return say, "Put a medium into its other slot.", None
            case alarmrules.NO_INPUT:
                return wording.no_input(called=called), "Route a source to it.", since
        lack = self.lacks(name)
        if lack is None:
            return alarm.text or wording.doubt(called=called, says="it can't roll"), alarm.remedy, since
        remedy = next((act for has, _, act in wording.LACKS.values() if has == lack), "Look at its front")
        return wording.cannot_roll(called=called, has=lack), f"{remedy}.", None

    def _unreached(self, name: str, called: str, since: datetime | None) -> tuple[str, str, datetime | None]:
        board, box = self._house.board, self._house.boxes[name]
        health = board.get(name, HEALTH)
        text = str(board.get(name, HEALTH_WHY).value or box.trouble)
        if ANOTHER in text:
            return wording.not_driven(called=called, why=text), "Check its address in the site file.", since
        since = self._wall(health) or since
        say = wording.unreached(called=called, why=text, since=self.at(since) if since else "")
        return say, "Check its power and network cable.", since

    def _not_rolling(self, name: str, called: str, alarm: Alarm) -> tuple[str, str, datetime | None]:
        takes = self._house.takes
        take = takes.open or next(reversed(takes.takes.values()), None)
        say = self._missing(take, name) if take is not None else ""
        if take is None or not say:
            return alarm.text or wording.not_rolled(called=called), alarm.remedy, alarm.since
        lane = last_lane(take, name)
        _, verdict = self._house.alarms.rolls.get(name, (0, None))
        act = "" if lane is not None or verdict is None else self.reason(name, "roll", verdict)[1]
        remedy = act or f"To roll it again: stagectl roll {name}"
        return say, remedy, lane.ended if lane is not None else take.opened

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
            unknown = sum(verdict.ended is Ended.UNCONFIRMED for verdict in group.verdicts)
            return wording.cut(take=group.take, well=well, of=of, unknown=unknown)
        if said := self._house.setups.outcome(group) or self._house.playback.outcome(group):
            return said
        if of == 1:
            return self.box(group.commands[0])
        return wording.done(say=group.say, well=well, of=of)

    def run(self, run: "Run") -> str:
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
            why, act = wording.not_known(verb=verb, why=verdict.why, code=verdict.code, remedy=verdict.remedy)
            return why or verdict.why, act
        why, act = wording.reason(verb=verb, why=verdict.why, code=verdict.code, remedy=verdict.remedy)
        return why, wording.again(remedy=act, device=device) if verb == "roll" and act else act

    def outcome(self, device: str, verb: str, verdict: Verdict, *, done: str = "") -> str:
        """How a verb ended for a box, in a word or few: "rolls", "not known if it rolls"."""
        return wording.outcome(verb=verb, ended=verdict.ended, done=done)

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

    # -- facts ----------------------------------------------------------------------------------------------------

    def _called(self, name: str) -> str:
        return self._house.called(name)

    def proven(self, name: str) -> bool:
        """Does it record by its own young report?"""
        reading = self._house.board.get(name, TRANSPORT)
        return reading.quality is Quality.GOOD and reading.value is Transport.RECORDING

    def unseen_s(self, name: str) -> float:
        """Seconds since the box last said anything; 0 if it was never reached."""
        if self._house.boxes[name].adopted:
            return float(self._house.board.get(name, LINK_SILENT).value or 0.0)
        reading = self._house.board.get(name, TRANSPORT)
        return self._house.world.clock.now() - reading.read_at if reading.read_at > NEVER else 0.0

    def lacks(self, name: str) -> str | None:
        """What keeps a recorder from rolling, going on after its name; None: it can roll, or rolls."""
        kept = self._lacks.get(name)
        if kept is None:
            specs: tuple[PointSpec[Any], ...] = (HEALTH, TRANSPORT, REMOTE, *(SLOT_STATE.at(slot) for slot in SLOTS))
            told = [*specs, *(leaf.spec for leaf in Roll().needs().leaves())]
            kept = self._lacks[name] = _Lack([self._house.board.reading(name, spec) for spec in dict.fromkeys(told)])
        newest = max(reading.rev for reading in kept.of)
        if newest != kept.rev:
            kept.rev, kept.says = newest, self._judge_lack(name)
        return kept.says

    def _judge_lack(self, name: str) -> str | None:
        board = self._house.board
        if board.get(name, HEALTH).value is Health.FAILED:
            return wording.LACKS["link"][0]
        if self.proven(name) or judge(board, Roll().needs(), name) is not NO:
            return None
        if judge(board, REMOTE.is_(True), name) is NO:
            return wording.LACKS["remote"][0]
        if board.get(name, TRANSPORT).value is Transport.PLAYING:
            return wording.LACKS["plays"][0]
        states = [board.get(name, SLOT_STATE.at(slot)).value for slot in SLOTS]
        return wording.LACKS["medium-error" if SlotState.ERROR in states else "medium"][0]

    def left(self, name: str) -> float | None:
        """Seconds left on the medium it records on; None: not known."""
        active = self._house.board.get(name, SLOT_ACTIVE).value
        reading = self._house.board.get(name, SLOT_LEFT.at(active)) if active else None
        return float(reading.value) if reading is not None and reading.value is not None else None

    def _shortest(self, names: list[str]) -> tuple[float | None, str]:
        lefts = [(left, name) for name in names if (left := self.left(name)) is not None]
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
