"""How does an ask become a verdict? Access, needs, conflicts, journal, bytes, watching, judging: the one path.

A group is armed (everything that can be done beforehand), goes (one journal write, one pass of writes, no await)
and is judged from points alone. The path never says a thing twice.
"""

from collections import OrderedDict, deque
from collections.abc import Callable, Mapping, Sequence
from typing import Final, Protocol

from stagectl.control.access import Holding, Limit, Lock, Person, may, touched
from stagectl.control.groups import Command, Group
from stagectl.control.judging import LATER_S, Judge, Log
from stagectl.control.kept import Flight, Kept
from stagectl.control.ramps import Ramp, rise_s
from stagectl.control.rises import Rises
from stagectl.driverkit.asked import Prepared
from stagectl.driverkit.box import Box
from stagectl.model.board import Board
from stagectl.model.conditions import ALWAYS, NO, UNKNOWN, YES, All, Condition, Lasts, Leaf, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.verbs import Ask, Ended, Set, Stay, Verb
from stagectl.model.world import Clock

GROUPS: Final = 10_000  # ids remembered
WAITS_S: Final = 3.0  # for the journal's sync, which is given up after 2 s; longer, and the whole daemon stood still


class Guard(Protocol):
    """A house part's word before an ask is let through, such as: a cut names the take that runs."""

    def __call__(self, ask: Ask) -> Ask:
        """Return the ask, perhaps with its take filled in. Raises RefusedError."""


class Commands:
    """The only door to boxes. One for the whole daemon.

    Attributes:
        act: lets a house part do what its own ask asks for, once that is journalled; may raise RefusedError.
    """

    def __init__(self, board: Board, clock: Clock, log: Log, boxes: Mapping[str, Box]) -> None:
        self.board = board
        self.boxes = boxes
        self.locks: list[Lock] = []
        self.limits: list[Limit] = []
        self.desk: Holding | None = None
        self.act: Callable[[Ask], None] = lambda ask: None
        self.groups: OrderedDict[str, Group] = OrderedDict()
        self._lately: deque[Group] = deque()  # those that may still be under way, or were a short while ago
        self.judge = Judge(board, clock, log, boxes)
        self.judge.relaunch = self._relaunch
        self.judge.on_stage = self._stage_over
        self.rises = Rises(self.judge)
        self.guards: dict[type[Verb], Guard] = {Stay: self.rises.guard}
        self._clock = clock
        self._log = log

    # -- arm ------------------------------------------------------------------------------------------------------

    def arm(self, person: Person, asks: Sequence[Ask]) -> list[Command]:
        """Check and encode beforehand. A refused one has its verdict already.

        Args:
            person: who asks.
            asks: one verb for one device or house part each.
        """
        now = self._clock.now()
        commands = [Command(ask, self.boxes.get(ask.target), armed_at=now) for ask in asks]
        by_box: dict[str, list[Command]] = {}
        for command in commands:
            if self._admit(person, command, now):
                if command.box is not None:
                    by_box.setdefault(command.ask.target, []).append(command)
                self._build(command)
        for some in by_box.values():
            self._prepare(some, now)
        return commands

    def foresee(self, person: Person, ask: Ask) -> RefusedError | None:
        """Why an ask would be refused now; None: it would go out. Nothing is sent or kept."""
        command = Command(ask, self.boxes.get(ask.target), person=person)
        try:
            self._let_in(person, command)
            if command.box is not None:
                command.box.translate([ask.verb])
                self._needed(command)
        except RefusedError as refused:
            return refused
        return None

    def keep(self, kept: Kept, asks: Sequence[Ask]) -> None:
        """Arm without an asker, for `go_kept`. All asks of one `Kept` are alike but for their box."""
        now = self._clock.now()
        for ask in asks:
            command = Command(ask, self.boxes.get(ask.target), armed_at=now)
            self._build(command)
            flight: Flight | None = None
            ready = False
            if command.box is not None:
                try:
                    prepared = self._share(command.box, [command])
                    flight = command.box.flight(prepared)
                    self._needed(command)
                    ready = not command.looking and judge(self.board, ask.verb.needs(), ask.target) is YES
                except RefusedError:
                    command.looking = False  # go asks again, and says what is in the way
            kept.add(self.board, command, flight, ready=ready)

    def _admit(self, person: Person, command: Command, now: float) -> bool:
        """May this person, and does the house part agree? If not, it is refused."""
        command.person = person
        try:
            self._let_in(person, command)
        except RefusedError as refused:
            self.judge.refuse(command, refused, now)
            return False
        return True

    def _let_in(self, person: Person, command: Command) -> None:
        """Raises RefusedError: not this person, or the house part does not agree, or planning found it can't be."""
        may(person, command.ask, self.locks, self.limits, self.desk)
        if (guard := self.guards.get(type(command.ask.verb))) is not None:
            command.ask = guard(command.ask)
        if command.ask.cannot is not None:
            raise command.ask.cannot

    def _build(self, command: Command) -> None:
        verb = command.ask.verb
        effect = verb.effect()
        if verb.hold_s():
            effect = Lasts(effect, verb.hold_s())
        command.watch = self.board.build(
            effect, lambda truth: self.judge.seen(command, truth), device=command.ask.target
        )

    def _prepare(self, commands: Sequence[Command], now: float) -> None:
        """Translate the commands of one box together: it may pack them (a salvo); if it refuses, one by one."""
        box = commands[0].box
        assert box is not None
        alone = [command for command in commands if _alone(command.ask.verb)]
        together = [command for command in commands if command not in alone]
        if len(together) > 1:
            try:
                self._share(box, together)
            except RefusedError:
                alone += together
        else:
            alone += together
        for command in alone:
            try:
                self._share(box, [command])
            except RefusedError as refused:
                self.judge.refuse(command, refused, now)

    def _share(self, box: Box, commands: Sequence[Command]) -> Prepared:
        prepared = box.prepare([command.ask.verb for command in commands])
        prepared.on_sent = lambda index, at: self.judge.sent(commands, index, at)
        prepared.on_no = lambda index, words: self.judge.heard_no(commands, index, words)
        for place, command in enumerate(commands):
            command.prepared, command.place = prepared, place
        return prepared

    # -- go -------------------------------------------------------------------------------------------------------

    def known(self, identifier: str, content: str) -> Group | None:
        """The group of an id that was heard before.

        Raises:
            RefusedError: the id was used for something else.
        """
        group = self.groups.get(identifier)
        if group is not None and group.content != content:
            raise RefusedError(
                f'The id "{identifier}" was used for something else: {group.say}.',
                remedy="Send each new wish with an id of its own.",
                code="id-reused",
            )
        return group

    def remember(self, group: Group) -> None:
        """Keep a group's id; the oldest ended ones go first."""
        self.groups[group.id] = group
        self._lately.append(group)
        rested = self._clock.now() - 2 * LATER_S  # nothing of them is followed any more
        while self._lately and (self._lately[0].ended_at or rested) < rested:
            self._lately.popleft().rest()
        while len(self.groups) > GROUPS:
            oldest = next((key for key, one in self.groups.items() if one.ended), None)
            if oldest is None:
                break
            del self.groups[oldest]

    def go(self, group: Group, commands: Sequence[Command]) -> None:
        """Journal, then one pass of writes. Nothing is awaited."""
        now = self._clock.now()
        group.begin(commands)
        ready = self._enter(group, commands, now)
        self._write_down(group)
        self._act(ready)
        self._launch(ready)
        self.judge.settle(group)

    def go_kept(self, group: Group, person: Person, kept: Kept) -> None:
        """As `go`, for what was kept: bytes first, for all that did not turn; then everything that follows from them.

        What tells one box from another (a lock, a token for some devices, something in flight there) makes it go the
        way of all others.
        """
        now = self._clock.now()
        if not self._alike(person, kept):
            for command in kept.commands:
                self._gets(command, group, now)
                self._admit(person, command, now)
            self.go(group, kept.commands)
            return
        group.begin(kept.commands)
        self._write_down(group)
        turned, flights = kept.turned, kept.flights
        if turned:
            flights = [one for one in flights if one[0] not in turned]
        at = self._clock.now()
        left = [write(data) for _, (write, data) in flights]
        again = list(turned)  # before anything below turns more of them
        for (command, _), gone in zip(flights, left, strict=True):
            self._gets(command, group, now)
            command.person, command.group = person, group
            self.judge.claim(command)  # nothing is in flight there
            if gone and command.box is not None and command.prepared is not None:
                command.box.flown(command.prepared, at)
            self._fired(command, at if gone else None)
        for command in again:
            self._gets(command, group, now)
            command.person = person
        self._launch(self._enter(group, again, now))
        self.judge.settle(group)

    def _alike(self, person: Person, kept: Kept) -> bool:
        """Does what holds for the first of them hold for all? Then one question is enough."""
        shows, devices = person.shows, kept.devices
        if shows is not None and shows.devices is not None:
            return False
        if any(device in devices for lock in self.locks for device, _ in lock.points):
            return False
        if not kept.commands or not self.judge.clear_of(devices):
            return False
        first = kept.commands[0].ask
        try:
            may(person, first, self.locks, self.limits, self.desk)
        except RefusedError:
            return False  # each one is refused for itself
        return type(first.verb) not in self.guards

    @staticmethod
    def _gets(command: Command, group: Group, now: float) -> None:
        """What was kept for nobody is somebody's now."""
        ask = command.ask
        ask.id, ask.who, ask.inlet = group.id, group.who, group.inlet
        command.armed_at = now

    async def go_durable(self, group: Group, commands: Sequence[Command]) -> None:
        """As `go`, for commands that can wait for the journal's sync before their first byte."""
        now = self._clock.now()
        group.begin(commands)
        ready = self._enter(group, commands, now)
        self._write_down(group)
        self._act(ready)
        if ready:
            group.leave_by = now + WAITS_S + self.takes_s(group)
            try:
                group.durable = await self._log.synced(group.number)
            except BaseException:
                self._give_up(group, ready)
                raise
            group.to_come = group.stages(ready)
            self._go_on(group)
        self.judge.settle(group)

    def _go_on(self, group: Group) -> None:
        """Send the next stage that has anything to send; the one after it follows when all of that is judged."""
        while group.to_come:
            stage = self._still_so(group, self._let_go_on(group, group.to_come.pop(0)))
            if stage:
                self._launch(stage)
                if any(command.verdict is None for command in stage):
                    group.under_way = stage
                    return

    def _stage_over(self, group: Group) -> None:
        """A command of a staged group has its verdict: the next stage goes out in a turn of the loop of its own."""
        if all(command.verdict is not None for command in group.under_way):
            group.under_way = []
            self._clock.later(self._clock.now(), lambda: self._go_on(group))

    def _let_go_on(self, group: Group, stage: Sequence[Command]) -> list[Command]:
        """Those of a stage for which nothing has failed that had to come first; the others are refused."""
        failed = {
            pair: command
            for command in group.commands
            if command.verdict is not None and command.verdict.ended not in (Ended.VERIFIED, Ended.SENT)
            for pair in touched(command.ask)
        }
        going: list[Command] = []
        for command in stage:
            first = next((failed[pair] for pair in command.ask.after if pair in failed), None)
            if first is None or command.verdict is not None:
                going.append(command)
                continue
            why = f"what had to come first did not: {first.ask.target} {first.ask.verb.say().removeprefix('set ')}"
            held = RefusedError(why, remedy="Put that right first, then ask again.", code="held-back")
            self.judge.end(command, self.judge.refusal(command, held, self._clock.now()))
        return going

    def _still_so(self, group: Group, ready: Sequence[Command]) -> list[Command]:
        """Time has passed since they were let through: its end, locks, limits, needs and moot are judged again."""
        still: list[Command] = []
        for command in ready:
            if command.verdict is not None:
                continue  # overtaken meanwhile
            try:
                if command.box is not None:
                    _in_time(group, self._clock.now())
                    if command.person is not None:
                        may(command.person, command.ask, self.locks, self.limits, self.desk)
                    command.looking = False
                    self._needed(command)
            except RefusedError as refused:
                self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))
            else:
                still.append(command)
        return still

    def _give_up(self, group: Group, ready: Sequence[Command]) -> None:
        """Who asked went away before anything was sent: nothing must stay in the way of others."""
        self._launch([command for command in ready if command.box is None])
        for command in ready:
            if command.box is not None:
                gone = RefusedError("who asked went away before it was sent", remedy="Ask again.", code="given-up")
                self.judge.end(command, self.judge.refusal(command, gone, self._clock.now()))
        self.judge.settle(group)

    def _act(self, ready: Sequence[Command]) -> None:
        """House parts do at once what needs no device."""
        for command in ready:
            if command.box is None:
                command.acted_at = self._clock.now()
                try:
                    self.act(command.ask)
                except RefusedError as refused:
                    self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))

    async def durable(self, group: Group) -> bool:
        """Wait for the journal before an answer. False: the answer must say "not durable"."""
        if group.durable is None and group.number:
            group.durable = await self._log.synced(group.number)
        return bool(group.durable)

    def _enter(self, group: Group, commands: Sequence[Command], now: float) -> list[Command]:
        """Judge needs, moot and conflicts again, now; return what is to be sent or looked at."""
        ready: list[Command] = []
        for command in commands:
            command.group = group
            if command.verdict is None:
                try:
                    self._needed(command)
                    if self.judge.claim(command):
                        ready.append(command)
                except RefusedError as refused:
                    self.judge.refuse(command, refused, now)
            if command.verdict is not None:
                group.open -= 1
        return ready

    def _needed(self, command: Command) -> None:
        verb, device = command.ask.verb, command.ask.target
        if judge(self.board, verb.moot(), device) is YES and command.box is not None:
            command.looking = True
            return
        wanted = verb.needs()
        if wanted is ALWAYS:
            return
        truth = judge(self.board, wanted, device)
        if truth is YES or (truth is UNKNOWN and Flags.FIRST in verb.flags()):
            return
        clauses = _not_yet(self.board, command)
        raise RefusedError(f"{clauses}.", code="needs" if truth is NO else "needs-unknown")

    def takes_s(self, group: Group) -> float:
        """The longest it may take from now until the last verdict: stages wait for each other, levels rise slowly."""
        return sum(
            max(self._rise_s(command) + command.ask.verb.deadline_s() + command.ask.verb.hold_s() for command in stage)
            for stage in group.stages(group.commands)
        )

    def _write_down(self, group: Group) -> None:
        self.remember(group)
        group.number = self._log.write(
            "command",
            group.who,
            id=group.id,
            inlet=group.inlet,
            source=group.source,
            verb=group.verb,
            args=group.args,
            say=group.say,
            content=group.content,
            take=group.take,
            targets=[command.ask.target for command in group.commands],
        )

    def _launch(self, ready: Sequence[Command]) -> None:
        """Bytes out, watches attached. A link that is busy is named late and holds nobody up."""
        queued: dict[int, tuple[Box, list[Command]]] = {}
        others = self._fire(ready)
        for command in others:
            if command.box is None:
                self.judge.watch_from(command, command.acted_at)
                command.deadline_at = self._clock.now() + command.ask.verb.deadline_s() + command.ask.verb.hold_s()
            elif command.looking:
                self.judge.watch_from(command, self._clock.now())
            elif command.prepared is None or command.prepared.epoch != command.box.epoch:
                self._again(command)
            elif rise := self._rise_s(command):
                self._rise(command, command.box, rise)
            else:
                queued.setdefault(id(command.prepared), (command.box, []))[1].append(command)
                self.judge.expect(command, command.ask.verb.deadline_s())
        for box, some in queued.values():
            self._queue(box, some)
        self.judge.look([command for command in others if command.looking])
        self.judge.wake()

    def _queue(self, box: Box, commands: list[Command]) -> None:
        """Send what was prepared together; packed anew if one of it is refused, joined, or so already."""
        try:
            prepared = commands[0].prepared
            if prepared is None or len(prepared.verbs) != len(commands):
                self._share(box, commands)
                prepared = commands[0].prepared
            assert prepared is not None
            prepared.leave_by = _deadlines(commands)
            box.enqueue(prepared)
        except RefusedError as refused:
            for command in commands:
                self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))

    def _fire(self, ready: Sequence[Command]) -> list[Command]:
        """Send what has right of way: one pass of bytes, then the watching, so that the last deck waits for no watch.

        Returns: the others.
        """
        first: list[tuple[Command, Box, Prepared]] = []
        others: list[Command] = []
        for command in ready:
            box, prepared = command.box, command.prepared
            if command.verdict is not None:
                continue  # overtaken, by one of the same press or just before it was to go out
            if box is None or prepared is None or command.looking or prepared.epoch != box.epoch or not command.first:
                others.append(command)
            else:
                first.append((command, box, prepared))
        left = [box.fly(prepared) for _, box, prepared in first]
        for (command, box, prepared), at in zip(first, left, strict=True):
            if at is not None:
                box.flown(prepared, at)
            self._fired(command, at)
        return others

    def _fired(self, command: Command, at: float | None) -> None:
        if at is None:
            late = RefusedError("its link is late, nothing was sent", code="late")
            self.judge.end(command, self.judge.refusal(command, late, self._clock.now()))
        else:
            self.judge.watch_from(command, at)

    def _rise_s(self, command: Command) -> float:
        verb = command.ask.verb
        return rise_s(self.board, command.ask.target, verb) if isinstance(verb, Set) else 0.0

    def _rise(self, command: Command, box: Box, seconds: float) -> None:
        """Bring a level up in steps; the last step is the command itself."""
        verb = command.ask.verb
        assert isinstance(verb, Set)
        self.judge.expect(command, seconds + verb.deadline_s() + 1.0)

        def on_top() -> None:
            if command.verdict is None:
                try:
                    self._share(box, [command])
                    assert command.prepared is not None
                    command.prepared.leave_by = _deadlines([command])
                    box.enqueue(command.prepared)
                except RefusedError as refused:
                    self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))

        def on_hand(words: str, code: str) -> None:
            self.judge.end(command, self.judge.verdict(command, Ended.FAILED, words, code=code))

        command.ramp = Ramp(self.board, box, self._clock, verb, on_top=on_top, on_hand=on_hand)

    def _relaunch(self, command: Command) -> None:
        """It seemed to be so already, but is not: the needs are asked again, and the verb goes out once."""
        try:
            self._needed(command)
        except RefusedError as refused:
            self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))
        else:
            self._launch([command])

    def _again(self, command: Command) -> None:
        """The link changed since it was armed: encode anew, once."""
        assert command.box is not None
        try:
            self._share(command.box, [command])
        except RefusedError as refused:
            self.judge.end(command, self.judge.refusal(command, refused, self._clock.now()))
        else:
            self._launch([command])


def _deadlines(commands: Sequence[Command]) -> list[float]:
    """When the time of each is over, in the order in which they were prepared together."""
    return [command.deadline_at for command in sorted(commands, key=lambda one: one.place)]


def _in_time(group: Group, now: float) -> None:
    """Raises RefusedError: the time of what has not left yet is over."""
    if now >= group.leave_by:
        why = "stagectl stood still until its time was over, nothing was sent"
        raise RefusedError(why, remedy="Look at what is so now, and ask again.", code="late")


def _alone(verb: Verb) -> bool:
    """What has right of way, or may have to rise in steps, is never packed with others."""
    return Flags.FIRST in verb.flags() or (isinstance(verb, Set) and bool(verb.point.ramp_per_s))


def _not_yet(board: Board, command: Command) -> str:
    """Which of its needs do not hold, in words."""
    told = []
    for leaf in _unmet(board, command.ask.verb.needs(), command.ask.target):
        reading = board.reading(leaf.device or command.ask.target, leaf.spec)
        other = leaf.device not in (None, command.ask.target)
        where = f"{leaf.device} {leaf.spec.name}".replace(".", " ") if other else leaf.spec.name.replace(".", " ")
        seen = leaf.spec.say(reading.value) if reading.value is not None else "not known"
        told.append(f"{where} is {seen}" + ("" if reading.quality == "good" else f" ({reading.quality})"))
    return ", ".join(told) or command.ask.verb.needs().say()


def _unmet(board: Board, wanted: Condition, device: str) -> list[Leaf]:
    """The claims that keep `wanted` from being yes: of parts that are met, none."""
    if judge(board, wanted, device) is YES:
        return []
    if isinstance(wanted, All):
        return [leaf for part in wanted.parts for leaf in _unmet(board, part, device)]
    return list(wanted.leaves())
