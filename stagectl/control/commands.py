"""How does an ask become a verdict? Access, needs, conflicts, journal, bytes, watching, judging: the one path.

A group is armed (everything that can be done beforehand), goes (one journal write, one pass of writes, no await)
and is judged from points alone. The path never says a thing twice.
"""

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, Protocol

from stagectl.control.access import Limit, Lock, Person, may, touched
from stagectl.control.groups import Command, Group
from stagectl.control.ramps import Ramp, rise_s
from stagectl.driverkit.box import Box, Prepared
from stagectl.model.board import Board
from stagectl.model.conditions import ALWAYS, NO, UNKNOWN, YES, Lasts, Truth, compare, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags, Reading
from stagectl.model.verbs import Ask, Ended, Set, Verb, Verdict
from stagectl.model.world import Clock, Handle

FIRST_LOOK_S: Final = 0.15  # after the bytes left, look at the effect
NEXT_LOOK_S: Final = 0.2
LATER_S: Final = 30.0  # after a verdict without proof, go on watching this long and write what is seen
OURS_S: Final = 3.0  # a change this soon after our command is ours: a slow box reports late
GROUPS: Final = 10_000  # ids remembered
SYNC_S: Final = 2.0  # longest wait for the journal before an answer says "not durable"


class Log(Protocol):
    """What the command path needs of the journal."""

    def write(self, kind: str, who: str, **data: Any) -> int: ...

    async def synced(self, n: int) -> bool: ...


class Guard(Protocol):
    """A house part's word before an ask is let through, such as: a cut names the take that runs."""

    def __call__(self, ask: Ask) -> Ask:
        """Return the ask, perhaps with its take filled in. Raises RefusedError."""


class Commands:
    """The only door to boxes. One for the whole daemon."""

    def __init__(self, board: Board, clock: Clock, log: Log, boxes: Mapping[str, Box]) -> None:
        self.board = board
        self.boxes = boxes
        self.locks: list[Lock] = []
        self.limits: list[Limit] = []
        self.guards: list[Guard] = []
        self.groups: OrderedDict[str, Group] = OrderedDict()
        self.on_group: list[Callable[[Group, str], None]] = []  # told "accepted", "refused" and "ended"
        self._clock = clock
        self._log = log
        self._inflight: dict[tuple[str, str], Command] = {}
        self._ours: OrderedDict[tuple[str, str], tuple[Ask, float]] = OrderedDict()
        self._open: dict[Command, None] = {}
        self._timer: Handle | None = None
        self._look_at = 0.0
        self._later: dict[Command, float] = {}
        board.author = self._author

    # -- arm ------------------------------------------------------------------------------------------------------

    def arm(self, person: Person, asks: Sequence[Ask], *, warm: bool = False) -> list[Command]:
        """Check and encode beforehand. A refused one has its verdict already.

        Args:
            person: who asks.
            asks: one verb for one device or house part each.
            warm: kept for later: its needs and moot are followed, so that go only looks at them.
        """
        now = self._clock.now()
        commands = [Command(ask, self.boxes.get(ask.target), armed_at=now) for ask in asks]
        by_box: dict[str, list[Command]] = {}
        for command in commands:
            try:
                may(person, command.ask, self.locks, self.limits)
                for guard in self.guards:
                    command.ask = guard(command.ask)
            except RefusedError as refused:
                self._refuse(command, refused, now)
                continue
            if command.box is not None:
                by_box.setdefault(command.ask.target, []).append(command)
            self._build(command, warm=warm)
        for some in by_box.values():
            self._prepare(some, now)
        return commands

    def arm_warm(self, asks: Sequence[Ask]) -> list[Command]:
        """Arm without an asker, to be kept: needs and moot are followed; `recheck` asks who may, at go."""
        now = self._clock.now()
        commands = [Command(ask, self.boxes.get(ask.target), armed_at=now) for ask in asks]
        for command in commands:
            self._build(command, warm=True)
            if command.box is not None:
                try:
                    self._share(command.box, [command])
                except RefusedError:
                    command.prepared = None
        return commands

    def recheck(self, person: Person, commands: Sequence[Command]) -> list[Command]:
        """What `arm` asks of access and guards, for commands that were kept warm."""
        now = self._clock.now()
        for command in commands:
            try:
                may(person, command.ask, self.locks, self.limits)
                for guard in self.guards:
                    command.ask = guard(command.ask)
            except RefusedError as refused:
                self._refuse(command, refused, now)
        return list(commands)

    def disarm(self, commands: Sequence[Command]) -> None:
        """Give up what `arm(warm=True)` follows."""
        for command in commands:
            for watch in (command.needs, command.moot, command.watch):
                if watch is not None:
                    watch.detach()

    def _build(self, command: Command, *, warm: bool) -> None:
        verb, device = command.ask.verb, command.ask.target
        effect = verb.effect()
        if verb.hold_s():
            effect = Lasts(effect, verb.hold_s())
        command.watch = self.board.build(effect, lambda truth: self._seen(command, truth), device=device)
        if warm:
            command.needs = self.board.watch(verb.needs(), _nothing, device=device)
            command.moot = self.board.watch(verb.moot(), _nothing, device=device)

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
                self._refuse(command, refused, now)

    def _share(self, box: Box, commands: Sequence[Command]) -> None:
        prepared = box.prepare([command.ask.verb for command in commands])
        prepared.on_sent = lambda index, at: self._sent(commands, index, at)
        prepared.on_no = lambda index, words: self._said_no(commands, index, words)
        for command in commands:
            command.prepared = prepared

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
        while len(self.groups) > GROUPS:
            oldest = next((key for key, one in self.groups.items() if one.ended), None)
            if oldest is None:
                break
            del self.groups[oldest]

    def go(self, group: Group, commands: Sequence[Command]) -> None:
        """Journal, then one pass of writes. Nothing is awaited."""
        now = self._clock.now()
        ready = self._enter(group, commands, now)
        self._write_down(group)
        self._launch(ready)
        self._settle_group(group)

    async def go_durable(self, group: Group, commands: Sequence[Command]) -> None:
        """As `go`, for commands that can wait for the journal's sync before their first byte."""
        now = self._clock.now()
        ready = self._enter(group, commands, now)
        self._write_down(group)
        if ready:
            group.durable = await self._log.synced(group.number)
            ready = [command for command in ready if command.verdict is None]
        self._launch(ready)
        self._settle_group(group)

    async def durable(self, group: Group) -> bool:
        """Wait for the journal before an answer. False: the answer must say "not durable"."""
        if group.durable is None and group.number:
            group.durable = await self._log.synced(group.number)
        return bool(group.durable)

    def _enter(self, group: Group, commands: Sequence[Command], now: float) -> list[Command]:
        """Judge needs, moot and conflicts again, now; return what is to be sent or looked at."""
        group.commands = list(commands)
        group.open = len(group.commands)
        ready: list[Command] = []
        for command in commands:
            command.group = group
            if command.verdict is None:
                try:
                    self._needed(command)
                    if self._claim(command):
                        ready.append(command)
                except RefusedError as refused:
                    self._refuse(command, refused, now)
            if command.verdict is not None:
                group.open -= 1
        return ready

    def _needed(self, command: Command) -> None:
        verb, device = command.ask.verb, command.ask.target
        moot = command.moot.truth if command.moot is not None else judge(self.board, verb.moot(), device)
        if moot is YES and command.box is not None:
            command.looking = True
            return
        wanted = verb.needs()
        if wanted is ALWAYS:
            return
        truth = command.needs.truth if command.needs is not None else judge(self.board, wanted, device)
        if truth is YES or (truth is UNKNOWN and Flags.FIRST in verb.flags()):
            return
        clauses = _not_yet(self.board, command)
        raise RefusedError(f"{clauses}.", code="needs" if truth is NO else "needs-unknown")

    def _claim(self, command: Command) -> bool:
        """Settle conflicts with what is in flight. False: it joined a twin.

        Raises:
            RefusedError: something else is in flight on one of its points.
        """
        verb, flags = command.ask.verb, command.ask.verb.flags()
        pairs = touched(command.ask)
        for pair in pairs:
            for other in self._others(pair):
                if other is command or other.verdict is not None:
                    continue
                if type(verb) is type(other.ask.verb) and (Flags.FIRST in flags or verb == other.ask.verb):
                    other.twins.append(command)
                    return False
                older_yields = (isinstance(verb, Set) and isinstance(other.ask.verb, Set)) or (
                    Flags.FIRST in flags and Flags.FIRST not in other.ask.verb.flags()
                )
                if not older_yields:
                    raise RefusedError(
                        f"{other.ask.verb.say()} by {other.ask.who} is still on its way there",
                        remedy="Wait for its verdict and ask again.",
                        code="conflict",
                    )
                self._end(
                    other, Verdict(Ended.FAILED, f"overtaken by {verb.say()} of {command.ask.who}", code="overtaken")
                )
        for pair in pairs:
            self._inflight[pair] = command
            self._remember_ours(pair, command.ask)
        return True

    def _others(self, pair: tuple[str, str]) -> list[Command]:
        device, name = pair
        if name == "*":
            return [command for (one, _), command in self._inflight.items() if one == device]
        found = (self._inflight.get(pair), self._inflight.get((device, "*")))
        return [command for command in found if command is not None]

    def _write_down(self, group: Group) -> None:
        self.remember(group)
        group.number = self._log.write(
            "command",
            group.who,
            id=group.id,
            inlet=group.inlet,
            verb=group.verb,
            args=group.args,
            say=group.say,
            content=group.content,
            take=group.take,
            targets=[command.ask.target for command in group.commands],
        )

    def _launch(self, ready: Sequence[Command]) -> None:
        """One pass: bytes out, watch attached. A link that is busy is named late and holds nobody up."""
        queued: dict[int, tuple[Box, Prepared]] = {}
        for command in ready:
            if command.box is None or command.looking:
                self._watch_from(command, self._clock.now())
                if command.box is not None:
                    command.box.glance(command.names)
            elif command.prepared is None or command.prepared.epoch != command.box.epoch:
                self._again(command)
            elif Flags.FIRST in command.ask.verb.flags():
                self._fire(command, command.box, command.prepared)
            elif rise := self._rise_s(command):
                self._rise(command, command.box, rise)
            else:
                queued[id(command.prepared)] = (command.box, command.prepared)
                command.deadline_at = self._clock.now() + command.ask.verb.deadline_s()
                self._open[command] = None
        for box, prepared in queued.values():
            try:
                box.enqueue(prepared)
            except RefusedError as refused:
                for command in ready:
                    if command.prepared is prepared:
                        self._end(command, self._refusal(command, refused, self._clock.now()))
        self._arm_timer()

    def _fire(self, command: Command, box: Box, prepared: Prepared) -> None:
        at = box.launch(prepared)
        if at is None:
            self._end(command, Verdict(Ended.FAILED, "its link is late, nothing was sent", code="late", refused=True))
        else:
            self._watch_from(command, at)

    def _rise_s(self, command: Command) -> float:
        verb = command.ask.verb
        return rise_s(self.board, command.ask.target, verb) if isinstance(verb, Set) else 0.0

    def _rise(self, command: Command, box: Box, seconds: float) -> None:
        """Bring a level up in steps; the last step is the command itself."""
        verb = command.ask.verb
        assert isinstance(verb, Set)
        command.deadline_at = self._clock.now() + seconds + verb.deadline_s() + 1.0
        self._open[command] = None

        def on_top() -> None:
            if command.verdict is None:
                try:
                    self._share(box, [command])
                    assert command.prepared is not None
                    box.enqueue(command.prepared)
                except RefusedError as refused:
                    self._end(command, self._refusal(command, refused, self._clock.now()))

        def on_hand(words: str) -> None:
            self._end(command, self._verdict(command, Ended.FAILED, words, code="hand"))

        command.ramp = Ramp(self.board, box, self._clock, verb, on_top=on_top, on_hand=on_hand)

    def _again(self, command: Command) -> None:
        """The link changed since it was armed: encode anew, once."""
        assert command.box is not None
        try:
            self._share(command.box, [command])
        except RefusedError as refused:
            self._end(command, self._refusal(command, refused, self._clock.now()))
        else:
            self._launch([command])

    def _watch_from(self, command: Command, at: float) -> None:
        command.sent_at = at
        command.deadline_at = at + command.ask.verb.deadline_s() + command.ask.verb.hold_s()
        self._open[command] = None
        assert command.watch is not None
        command.watch.attach(at)

    # -- what comes back ------------------------------------------------------------------------------------------

    def _sent(self, commands: Sequence[Command], index: int | None, at: float) -> None:
        for command in commands if index is None else [commands[index]]:
            if command.verdict is None and command.sent_at is None:
                self._watch_from(command, at)
                self._arm_timer()

    def _said_no(self, commands: Sequence[Command], index: int | None, words: str) -> None:
        for command in commands if index is None else [commands[index]]:
            if command.verdict is None and not command.said_no:
                command.said_no = words
                self._decide_after_no(command)

    def _decide_after_no(self, command: Command) -> None:
        """One look after a refusal: the effect may be there all the same."""
        assert command.box is not None
        if command.box.look_now(command.names, lambda: self._after_no(command)) is None:
            self._after_no(command)

    def _after_no(self, command: Command) -> None:
        if command.verdict is None:
            self._end(command, self._verdict(command, Ended.FAILED, command.said_no, code="device"))

    def _seen(self, command: Command, truth: Truth) -> None:
        """The effect's truth changed: the watch calls this from within a put."""
        if command.verdict is not None:
            if truth is YES and command in self._later:
                self._forget(command)
                self._log.write("later", command.ask.who, id=command.ask.id, device=command.ask.target, seen="yes")
            return
        if truth is YES:
            self._end(command, self._verdict(command, Ended.VERIFIED))
        elif (
            truth is NO
            and command.looking
            and command.sent_at is not None
            and judge(self.board, command.ask.verb.moot(), command.ask.target, since=command.sent_at) is NO
        ):
            self._moot_no_more(command)

    def _moot_no_more(self, command: Command) -> None:
        """It seemed to be so already, but the look says no: the verb goes out, once."""
        command.looking = False
        assert command.watch is not None
        command.watch.detach()
        self._open.pop(command, None)
        self._clock.later(self._clock.now(), lambda: self._launch_late(command))

    def _launch_late(self, command: Command) -> None:
        try:
            self._needed(command)
        except RefusedError as refused:
            self._end(command, self._refusal(command, refused, self._clock.now()))
        else:
            self._launch([command])
        if command.group is not None:
            self._settle_group(command.group)

    def _tick(self) -> None:
        """Deadlines, and looks at what is not judged yet; one timer for all groups."""
        self._timer = None
        now = self._clock.now()
        for command in [command for command in self._open if now >= command.deadline_at]:
            self._expire(command)
        if now >= self._look_at:
            self._look_at = now + NEXT_LOOK_S
            for command in tuple(self._open):
                if command.box is not None and command.sent_at is not None:
                    command.box.glance(command.names)
        for command in [command for command, until in self._later.items() if now >= until]:
            self._forget(command)
        self._arm_timer()

    def _expire(self, command: Command) -> None:
        if command.sent_at is None:
            verdict = self._verdict(command, Ended.UNCONFIRMED, "it waited in line and may or may not have left")
        elif command.watch is not None and command.watch.blind:
            verdict = self._verdict(command, Ended.SENT)
        elif command.said_no:
            verdict = self._verdict(command, Ended.FAILED, command.said_no, code="device")
        elif command.truth is NO:
            seen = ", ".join(command.watch.missing()) if command.watch is not None else ""
            verdict = self._verdict(command, Ended.FAILED, f"seen otherwise: {seen}", code="seen-otherwise")
        else:
            verdict = self._verdict(command, Ended.UNCONFIRMED, "not known if it happened", code="not-known")
        self._end(command, verdict)

    def _arm_timer(self) -> None:
        if not self._open and not self._later:
            return
        now = self._clock.now()
        if self._look_at < now:
            self._look_at = now + FIRST_LOOK_S
        due = min((command.deadline_at for command in self._open), default=now + LATER_S)
        at = min(due, self._look_at) if self._open else now + LATER_S / 10
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self._clock.later(at, self._tick)

    # -- ends -----------------------------------------------------------------------------------------------------

    def _verdict(self, command: Command, ended: Ended, why: str = "", *, code: str = "") -> Verdict:
        now = self._clock.now()
        missing = tuple(command.watch.missing()) if command.watch is not None and ended is not Ended.VERIFIED else ()
        return Verdict(
            ended,
            why,
            missing if ended is not Ended.SENT else (),
            now - (command.sent_at if command.sent_at is not None else command.armed_at),
            remedy=_remedy(command, ended),
            code=code,
            moot=command.looking,
        )

    def _refusal(self, command: Command, refused: RefusedError, now: float) -> Verdict:
        after = now - command.armed_at
        return Verdict(Ended.FAILED, str(refused), (), after, refused.remedy, refused.code, refused=True)

    def _refuse(self, command: Command, refused: RefusedError, now: float) -> None:
        command.verdict = self._refusal(command, refused, now)
        if command.watch is not None:
            command.watch.detach()

    def _end(self, command: Command, verdict: Verdict) -> None:
        """Give the final verdict, to its twins too."""
        if command.verdict is not None:
            return
        command.verdict = verdict
        self._open.pop(command, None)
        if command.ramp is not None:
            command.ramp.end()
        for pair in touched(command.ask):
            if self._inflight.get(pair) is command:
                del self._inflight[pair]
                self._remember_ours(pair, command.ask)
        if command.watch is not None:
            if verdict.ended in (Ended.VERIFIED, Ended.SENT) or command.sent_at is None:
                command.watch.detach()
            else:
                self._later[command] = self._clock.now() + LATER_S
                self._arm_timer()
        for watch in (command.needs, command.moot):
            if watch is not None:
                watch.detach()
        self._count_off(command)
        for twin in command.twins:
            twin.verdict = verdict
            if twin.watch is not None:
                twin.watch.detach()
            self._count_off(twin)

    def _count_off(self, command: Command) -> None:
        group = command.group
        if group is not None and group.open:
            group.open -= 1
            self._settle_group(group)

    def _settle_group(self, group: Group) -> None:
        if group.open or group.ended or not group.number:
            return
        now = self._clock.now()
        group.ended_at = now
        self._log.write(
            "verdict",
            group.who,
            id=group.id,
            ended=str(group.worst),
            count=group.count,
            take=group.take,
            boxes={
                command.ask.target: [str(command.verdict.ended), command.verdict.why, round(command.verdict.after_s, 4)]
                for command in group.commands
                if command.verdict is not None
            },
        )
        group.finish(now)
        for tell in self.on_group:
            tell(group, "ended")

    def _forget(self, command: Command) -> None:
        self._later.pop(command, None)
        if command.watch is not None:
            command.watch.detach()

    # -- whose act was it? ----------------------------------------------------------------------------------------

    def _remember_ours(self, pair: tuple[str, str], ask: Ask) -> None:
        self._ours[pair] = (ask, self._clock.now() + OURS_S)
        self._ours.move_to_end(pair)
        while len(self._ours) > GROUPS:
            self._ours.popitem(last=False)

    def _author(self, reading: Reading[Any]) -> str:
        """Whose act changed this point: ours if a command just asked for this value, else somebody's at the box."""
        now = self._clock.now()
        for name in (reading.name, "*"):
            pair = (reading.device, name)
            command = self._inflight.get(pair)
            if command is not None and (not isinstance(command.ask.verb, Set) or _asked_for(command.ask, reading)):
                return command.ask.who
            ours = self._ours.get(pair)
            if ours is not None and now <= ours[1] and _asked_for(ours[0], reading):
                return ours[0].who
        if reading.device not in self.boxes:
            return ""
        self._log.write("hand", "box", device=reading.device, point=reading.name, value=reading.value)
        return "box"


def _asked_for(ask: Ask, reading: Reading[Any]) -> bool:
    """Did this ask want the value that the point has now? What touches everything wanted anything."""
    leaves = [leaf for leaf in ask.verb.effect().leaves() if leaf.spec.name == reading.name]
    return not leaves or any(compare(leaf, reading.value) is not NO for leaf in leaves)


def _alone(verb: Verb) -> bool:
    """What has right of way, or may have to rise in steps, is never packed with others."""
    return Flags.FIRST in verb.flags() or (isinstance(verb, Set) and bool(verb.point.ramp_per_s))


def _nothing(truth: Truth) -> None:
    """A warm watch is only looked at."""


def _not_yet(board: Board, command: Command) -> str:
    """Which of its needs do not hold, in words."""
    told = []
    for leaf in command.ask.verb.needs().leaves():
        reading = board.reading(command.ask.target, leaf.spec)
        if judge(board, leaf, command.ask.target) is not YES:
            where = leaf.spec.name.replace(".", " ")
            seen = leaf.spec.say(reading.value) if reading.value is not None else "not known"
            told.append(f"{where} is {seen}" + ("" if reading.quality == "good" else f" ({reading.quality})"))
    return ", ".join(told) or command.ask.verb.needs().say()


def _remedy(command: Command, ended: Ended) -> str:
    if ended in (Ended.VERIFIED, Ended.SENT):
        return ""
    return f"Look at {command.ask.target}'s front."
