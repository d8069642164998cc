"""What is wrong in the house, since when, and who knows? Every alarm, driven by watches alone.

What changes is gathered for a moment and then told once: a cause first, what follows from it folded under it. An alarm
whose condition is not known any more is kept; one that is over but was seen by nobody stays as "back" until somebody
says so.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.access import Person
from stagectl.control.groups import Group
from stagectl.model.capabilities.recorder import TRANSPORT, Cut, Roll
from stagectl.model.conditions import NO, YES, Truth
from stagectl.model.errors import RefusedError
from stagectl.model.points import Ear, Reading
from stagectl.model.verbs import Ended, Verdict
from stagectl.model.words import nearest
from stagectl.shoot.alarm import GRADES, Alarm, Aside, Rates, Tally
from stagectl.shoot.alarmcauses import Causes
from stagectl.shoot.alarmrules import LEFT_ALONE, NOT_ROLLED, OFF_S, STOPPED, UNREACHED, Rule, by_device
from stagectl.shoot.takes import LOST

if TYPE_CHECKING:
    from stagectl.shoot.house import House
    from stagectl.shoot.take import Lane, Take

GATHER_S: Final = 0.05  # what comes together is told together
BACKLOG_S: Final = 0.5  # so long at most they wait until what turned is told, some in each turn of the loop
START_S: Final = 3.0  # a box that was never met is news only so long after the start
ASIDE_MAX_S: Final = 8 * 3600.0  # nothing is put aside for longer: a shift
REASON: Final = 200  # letters
_WHO: Final = ("token", "role", "held")  # refusals of who asked: nothing is wrong with the recorder
_WELL: Final = (Ended.VERIFIED, Ended.SENT)


class Feed:
    """Ids of alarms that changed since the last `take`; its bound is the number of alarms."""

    __slots__ = ("_changed", "_wake")

    def __init__(self, wake: Callable[[], None]) -> None:
        self._changed: dict[str, None] = {}
        self._wake = wake

    def mark(self, identifier: str) -> None:
        self._changed[identifier] = None
        self._wake()

    def take(self) -> list[str]:
        """All that changed, and begin anew."""
        changed, self._changed = self._changed, {}
        return list(changed)


class Alarms:
    """All alarms of a house.

    Attributes:
        rolls: the last verdict of each recorder's roll, with its take.
    """

    def __init__(self, house: "House", words: Callable[[Alarm], tuple[str, str]]) -> None:
        """Begin to watch everything; `words` gives the sentence and the remedy of an alarm that stands."""
        self._words = words
        self.rolls: dict[str, tuple[int, Verdict]] = {}
        self._house = house
        self._clock = house.world.clock
        self._alarms: dict[str, Alarm] = {}
        self._standing: dict[str, Alarm] = {}
        self._feeds: list[Feed] = []
        self._tally = Tally()
        self._causes = Causes(house)
        self._met: dict[str, None] = {}  # boxes that were reached once
        self._started = self._clock.now()
        self._numbers = 0
        self._on_truth, self._stepped = self._heard, self._step_turned  # bound once, for thousands of watches
        self._timer = False
        self._dirty = False
        self._takes_moved = False
        self._open: int | None = None
        self._clock.later(self._started + START_S, self._soon)
        for device, rules in by_device(
            {name: box.capability for name, box in house.boxes.items()}, house.site.alarms
        ).items():
            for rule in rules:
                self._add(device, rule)
        transport = Ear(self._take_moved)
        for device in house.takes.recorders:
            turning = house.board.reading(device, TRANSPORT)
            turning.turns = (*turning.turns, transport)
        house.takes.on_change.append(self._take_moved)
        house.commands.judge.on_end.append(self._judged)
        house.trouble.on_change.append(self._troubled)
        house.devices.quarantined.on_change.append(self._left_alone)
        for part in house.trouble:
            self._troubled(part)

    # -- to be read -----------------------------------------------------------------------------------------------

    def everything(self) -> list[Alarm]:
        """All that stand, are put aside, or are over and not seen: worst first, then newest number last."""
        self._settle()
        found = [alarm for alarm in self._alarms.values() if alarm.state != "off"]
        return sorted(found, key=lambda alarm: (GRADES.index(alarm.grade), not alarm.standing, alarm.number))

    def wrong(self) -> list[Alarm]:
        """What is wrong now and stands for itself, not put aside, worst first; "later" is for lists."""
        self._settle()
        rows = [
            alarm
            for alarm in self._standing.values()
            if not alarm.gone and not alarm.under and alarm.aside is None and alarm.grade != "later"
        ]
        order = {device: place for place, device in enumerate(("", *self._house.boxes))}
        return sorted(rows, key=lambda alarm: (GRADES.index(alarm.grade), order[alarm.device]))

    def back(self) -> list[Alarm]:
        """What is over, and nobody has seen it."""
        self._settle()
        return [alarm for alarm in self._alarms.values() if alarm.state == "back"]

    def where(self, alarm: Alarm) -> tuple[str, list[str]]:
        """Of a cause behind several devices: the network in words, and the devices."""
        return self._causes.where(alarm.id)

    def rates(self) -> Rates:
        """How many there are and were."""
        self._settle()
        return self._tally.rates(list(self._alarms.values()), self._clock.now())

    def find(self, word: str) -> Alarm:
        """An alarm by its id, or by the number of its newest occurrence. Raises RefusedError: code "alarm"."""
        self._settle()
        found = self._alarms.get(word)
        if found is None and len(word) < 10 and word.isascii() and word.isdigit():
            found = next((one for one in self._alarms.values() if one.number == int(word) > 0), None)
        if found is None:
            known = [alarm.id for alarm in self._alarms.values() if alarm.state != "off"]
            remedy = nearest(word, known) if known else "See what is wrong: stagectl wrong"
            raise RefusedError(f'There is no alarm "{word[:60]}".', remedy=remedy, code="alarm")
        return found

    def ids(self) -> list[str]:
        """Ids of all alarms there can be, and of those that were found on the way."""
        return list(self._alarms)

    def feed(self, wake: Callable[[], None]) -> Feed:
        """What changes from now on."""
        feed = Feed(wake)
        self._feeds.append(feed)
        return feed

    def drop_feed(self, feed: Feed) -> None:
        """Safe to call twice."""
        if feed in self._feeds:
            self._feeds.remove(feed)

    # -- what people do -------------------------------------------------------------------------------------------

    def know(self, alarm: Alarm, person: Person, inlet: str) -> None:
        """Somebody has seen it, with all that is folded under it. Raises RefusedError: there is nothing to see."""
        if alarm.state == "off":
            raise RefusedError(f"Nothing is wrong there: {alarm.id} is off.", code="alarm-off")
        for one in (alarm, *(self._alarms[name] for name in alarm.under_it)):
            one.back = False
            if one.standing:
                one.known_by = person.name
            self._changed(one)
        self._write(alarm, "known", person.name, inlet=inlet, source=person.source)

    def put_aside(self, alarm: Alarm, person: Person, inlet: str, until: datetime, reason: str) -> None:
        """Leave it out of what is wrong until a time. An alarm that comes meanwhile waits, and is news at the end.

        Raises:
            RefusedError: it is off, the time is past or more than 8 h ahead, or the reason is missing.
        """
        if alarm.state == "off":
            raise RefusedError(f"Nothing is wrong there: {alarm.id} is off.", code="alarm-off")
        left = (until - self._clock.wall()).total_seconds()
        if not 0 < left <= ASIDE_MAX_S:
            raise RefusedError(
                "An alarm is put aside for 8 h at most, and not into the past.",
                remedy="Name an earlier time, and put it aside again then.",
                code="alarm-time",
            )
        words = " ".join(reason.split())
        if not words or len(words) > REASON:
            raise RefusedError(
                "The reason is missing." if not words else f"The reason is longer than {REASON} letters.",
                remedy="Write in a few words why it can wait.",
                code="argument",
            )
        self._set_aside(alarm, Aside(until, self._clock.now() + left, person.name, words))
        told = {"inlet": inlet, "source": person.source, "until": until.isoformat(), "reason": words}
        self._write(alarm, "aside", person.name, **told)
        self._changed(alarm)
        self._soon()

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """What was put aside before a restart still is, until its time; from the data of `alarm` records, in order."""
        newest: dict[str, Mapping[str, Any]] = {}
        for data in records:
            if data.get("what") in ("aside", "again"):
                newest[str(data.get("alarm"))] = data
        for name, data in newest.items():
            alarm = self._alarms.get(name)
            try:
                until = datetime.fromisoformat(str(data.get("until")))
                left = (until - self._clock.wall()).total_seconds()
            except (TypeError, ValueError):
                continue
            if alarm is not None and data["what"] == "aside" and 0 < left <= ASIDE_MAX_S:
                by, reason = str(data.get("by", "")), str(data.get("reason", ""))
                self._set_aside(alarm, Aside(until, self._clock.now() + left, by, reason))

    def _set_aside(self, alarm: Alarm, aside: Aside) -> None:
        if alarm.aside_ends is not None:
            alarm.aside_ends.cancel()
        alarm.aside = aside
        alarm.aside_ends = self._clock.later(aside.at, lambda: self._again(alarm))

    def _again(self, alarm: Alarm) -> None:
        """Its time aside is over: if it still stands it is news."""
        alarm.aside, alarm.aside_ends = None, None
        self._write(alarm, "again", "")
        if alarm.standing:
            alarm.known_by, alarm.headed = "", False
        self._changed(alarm)
        self._soon()

    # -- what is heard --------------------------------------------------------------------------------------------

    def _add(self, device: str, rule: Rule) -> Alarm:
        alarm = Alarm(f"{device}.{rule.name}", rule, device, grade=rule.grade, on_truth=self._on_truth)
        self._alarms[alarm.id] = alarm
        if rule.when is not None:
            watch = self._house.board.watch
            alarm.watches = (
                watch(rule.when, alarm.turned, device=device, lazy=True),
                *(watch(step, self._stepped, device=device, lazy=True) for step in rule.steps),
            )
        else:
            alarm.truth = NO
        return alarm

    def _heard(self, alarm: Alarm, truth: Truth) -> None:
        alarm.truth = truth
        if truth is YES:
            self._come(alarm)
        elif truth is NO:
            if alarm.rule.name == UNREACHED:
                self._met[alarm.device] = None
            self._leave(alarm)
        elif alarm.standing:
            self._changed(alarm)

    def _come(self, alarm: Alarm) -> None:
        if alarm.leaving is not None:
            alarm.leaving.cancel()
            alarm.leaving = None
            self._changed(alarm)
        if not alarm.standing:
            alarm.standing, alarm.told, alarm.headed, alarm.known_by = True, False, False, ""
            alarm.since, alarm.since_at = self._clock.wall(), self._clock.now()
            alarm.level = 0
            self._standing[alarm.id] = alarm
        self._soon()

    def _leave(self, alarm: Alarm) -> None:
        if not alarm.standing or alarm.leaving is not None:
            return
        if not alarm.told or not alarm.rule.off_s:
            self._over(alarm)
        else:
            at = self._clock.now() + alarm.rule.off_s
            alarm.leaving = self._clock.later(at, lambda: self._over(alarm))
            self._changed(alarm)
            self._soon()  # what was folded under it stands for itself from now on

    def _over(self, alarm: Alarm) -> None:
        alarm.leaving = None
        alarm.standing = False
        alarm.ended, alarm.lasted_s = self._clock.wall(), self._clock.now() - alarm.since_at
        self._standing.pop(alarm.id, None)
        if alarm.told:
            alarm.back = not alarm.known_by and not alarm.under
            self._write(alarm, "off", "", seconds=round(alarm.lasted_s, 1))
            self._changed(alarm)
        alarm.under, alarm.under_it = "", ()
        self._soon()

    def _troubled(self, part: str) -> None:
        """The daemon itself has a trouble, another one, or one less."""
        text = self._house.trouble.get(part)
        name = f"stagectl.{part}"
        alarm = self._alarms.get(name)
        if alarm is None:
            if text is None:
                return
            grade = next((word for word in ("soon", "later") if part.endswith(f"-{word}")), "now")
            grade = "soon" if part.startswith("mqtt") else grade
            alarm = self._alarms[name] = Alarm(name, Rule(part, grade, None, off_s=OFF_S), grade=grade)
        self._told_by_house(alarm, on=text is not None)
        if text is not None and alarm.text != text:
            alarm.text = text
            self._changed(alarm)

    def _left_alone(self, device: str) -> None:
        self._told_by_house(self._alarms[f"{device}.{LEFT_ALONE}"], on=device in self._house.devices.quarantined)

    def _told_by_house(self, alarm: Alarm, *, on: bool) -> None:
        truth = YES if on else NO
        if alarm.truth is not truth:
            self._heard(alarm, truth)

    def _judged(self, group: Group) -> None:
        if group.verb == "roll":
            for command in group.commands:
                verdict, recorder = command.verdict, command.ask.target in self._house.takes.recorders
                if verdict is not None and recorder and verdict.code not in _WHO:
                    self.rolls[command.ask.target] = (group.take or 0, verdict)
        if group.verb in ("roll", "cut"):
            self._take_moved()

    def _take_moved(self, _: Reading[Any] | None = None) -> None:
        self._takes_moved = True
        self._soon()

    # -- settling -------------------------------------------------------------------------------------------------

    def _soon(self) -> None:
        self._dirty = True
        if not self._timer:
            self._timer = True
            self._soon_since = self._clock.now()
            self._clock.later(self._clock.now() + GATHER_S, self._settle_later)

    def _step_turned(self, truth: Truth) -> None:
        self._soon()

    def _settle_later(self) -> None:
        if self._house.board.backlog and self._clock.now() < self._soon_since + BACKLOG_S:
            self._clock.later(self._clock.now(), self._settle_later)  # a thousand boxes turned at once
            return
        self._timer = False
        self._settle()

    def _settle(self) -> None:
        """Make what follows from the take log, fold what has a cause, then tell what is news."""
        self._house.board.settle()
        if not self._dirty:
            return
        self._dirty = False
        if self._takes_moved:
            self._takes_moved = False
            self._look_at_take()
        for group, on in self._causes.group(self._alarms, self._standing, self._ripe):
            self._told_by_house(group, on=on)
        self._fold()
        for alarm in list(self._standing.values()):
            self._grade(alarm)
        for alarm in list(self._standing.values()):
            if not alarm.gone and (not alarm.told or (not alarm.under and not alarm.headed)) and self._ripe(alarm):
                self._tell(alarm)
        self._dirty = False

    def _ripe(self, alarm: Alarm) -> bool:
        """May it be news? At the start every box is still unmet for a moment."""
        if alarm.rule.name != UNREACHED or not alarm.device or alarm.device in self._met:
            return True
        return self._clock.now() >= self._started + START_S

    def _look_at_take(self) -> None:
        """Which recorders of the running take do not roll, and why?"""
        takes = self._house.takes
        take = takes.open
        if self._open is not None and (take is None or take.number != self._open):
            self._closed(takes.takes.get(self._open))
        self._open = take.number if take is not None else None
        wanted = frozenset(take.wanted) if take is not None else frozenset()
        cut = take is not None and self._being_cut(take)
        for device in takes.recorders:
            missing = take is not None and device in wanted and take.open_lane(device) is None
            lane = last_lane(take, device) if take is not None and missing else None
            left = lane is not None and lane.ended is not None and lane.note != LOST
            if left and cut and lane is not None and lane.ended_by != "box":
                left = False  # it only was the first to stop
            number, verdict = self.rolls.get(device, (0, None))
            failed = missing and not left and verdict is not None and verdict.ended not in _WELL
            failed = failed and take is not None and number == take.number
            if failed and self._house.commands.judge.under_way(device, Roll("")) is not None:
                failed = False  # that verdict is of an earlier press: what the new one comes to is told with its own
            self._told_by_house(self._alarms[f"{device}.{STOPPED}"], on=left)
            self._told_by_house(self._alarms[f"{device}.{NOT_ROLLED}"], on=failed)

    def _being_cut(self, take: "Take") -> bool:
        """Is a cut on its way to what still rolls of it?"""
        judge = self._house.commands.judge
        return any(isinstance(judge.under_way(device, Cut(take.number)), Cut) for device in take.rolling)

    def _closed(self, take: "Take | None") -> None:
        """A take is over: what a hand ended with it is news, though nothing is wrong any more."""
        for device in take.lanes if take is not None else ():
            alarm = self._alarms.get(f"{device}.{STOPPED}")
            if take is None or alarm is None or alarm.standing or device not in take.wanted:
                continue
            lane = last_lane(take, device)
            if lane is None or lane.ended_by != "box":
                continue
            self._told_by_house(alarm, on=True)
            self._grade(alarm)
            self._tell(alarm)
            self._told_by_house(alarm, on=False)

    def _fold(self) -> None:
        before = {name: (alarm.under, alarm.under_it) for name, alarm in self._standing.items()}
        under: dict[str, list[str]] = {}
        for alarm in self._standing.values():
            if not alarm.gone:  # what is not so now ends as it was told, under its cause
                alarm.under = self._causes.of(alarm, self._standing)
            if alarm.under:
                under.setdefault(alarm.under, []).append(alarm.id)
        for name, alarm in self._standing.items():
            alarm.under_it = tuple(under.get(name, ()))
            if before[name] != (alarm.under, alarm.under_it):
                self._changed(alarm)

    def _grade(self, alarm: Alarm) -> None:
        """How bad it is now. What got worse is news again."""
        level = sum(watch.truth is YES for watch in alarm.watches[1:])
        take = self._house.takes.open
        rule, grade = alarm.rule, alarm.rule.grade
        in_take = take is not None and (take.open_lane(alarm.device) is not None or alarm.device in take.wanted)
        if rule.in_take and in_take:
            grade = rule.in_take
        if rule.name == "no-input" and self._house.board.get(alarm.device, TRANSPORT).value == "recording":
            grade = "now"
        if rule.steps and level == len(rule.steps):
            grade = "now"
        for name in alarm.under_it:
            grade = min(grade, self._alarms[name].grade, key=GRADES.index)
        worse = level > alarm.level or GRADES.index(grade) < GRADES.index(alarm.grade)
        changed = grade != alarm.grade or level != alarm.level
        alarm.grade, alarm.level = grade, max(level, alarm.level)
        if alarm.told and worse and not alarm.under:
            alarm.known_by, alarm.headed = "", False
        elif alarm.told and changed:
            self._changed(alarm)

    def _tell(self, alarm: Alarm) -> None:
        """It is news: write it down, count it if it stands for itself, give it a number."""
        take = self._house.takes.open
        alarm.told = True
        alarm.take = take.number if take is not None else None
        alarm.back = False
        if not alarm.under:
            alarm.headed = True
            self._numbers += 1
            alarm.number = self._numbers
            if alarm.aside is None:
                self._tally.count(alarm, self._clock.now())
        self._write(alarm, "on", "")
        self._changed(alarm)

    def _write(self, alarm: Alarm, what: str, who: str, **more: Any) -> None:
        if alarm.standing:
            alarm.text, alarm.remedy = self._words(alarm)
        data: dict[str, Any] = {
            "what": what,
            "alarm": alarm.id,
            "device": alarm.device,
            "grade": alarm.grade,
            "say": alarm.text,
            "take": alarm.take,
        }
        if who:
            data["by"] = who
        if alarm.under:
            data["under"] = alarm.under
        self._house.chronicle.write("alarm", who, **data, **more)

    def _changed(self, alarm: Alarm) -> None:
        for feed in self._feeds:
            feed.mark(alarm.id)


def last_lane(take: "Take", device: str) -> "Lane | None":
    """The newest recording of a device in a take."""
    lanes = take.lanes.get(device)
    return lanes[-1] if lanes else None
