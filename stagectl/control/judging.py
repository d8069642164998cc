"""How is a command judged? From points alone: looks after the send, one final verdict, and whose act a change was."""

from collections import OrderedDict
from collections.abc import Callable, Container, Sequence
from typing import Any, Final, Protocol

from stagectl.control.access import touched
from stagectl.control.groups import Command, Group
from stagectl.driverkit.box import Box
from stagectl.model.board import Board
from stagectl.model.conditions import NO, UNKNOWN, YES, Condition, Truth, compare, judge
from stagectl.model.errors import RefusedError
from stagectl.model.late import BEHIND_S, PATIENCE_S, put_off
from stagectl.model.points import NEVER, Flags, Quality, Reading
from stagectl.model.verbs import Ask, Ended, Set, Stay, Verb, Verdict
from stagectl.model.world import Clock, Handle

PROVING_S: Final = PATIENCE_S  # after the bytes of a roll or cut left, what is not needed for its proof waits no longer
ANSWER_S: Final = 0.05  # ...and after the last verdict: its answer has yet to be made
FIRST_LOOK_S: Final = 0.15  # after the bytes left, look at the effect
NEXT_LOOK_S: Final = 0.2
LATER_S: Final = 30.0  # after a verdict without proof, go on watching this long and write what is seen
OURS_S: Final = 3.0  # a change this soon after our command is ours: a slow box reports late
OURS: Final = 10_000  # points whose last asker is remembered
OUT_OF_REACH: Final = ("no-link", "not-adopted", "late")  # refusals that say nothing about the person who asked


class Log(Protocol):
    """What the command path needs of the journal."""

    def write(self, kind: str, who: str, **data: Any) -> int: ...

    async def synced(self, n: int) -> bool: ...


class Judge:
    """Holds every command from its claim to its verdict.

    Attributes:
        on_end: told each group when its last verdict is in.
        relaunch: sends a command whose effect seemed to be there already and is not.
        on_stage: told a group of several stages when one of its commands has its verdict and others wait for it.
        so_by_log: was it so already when the recorder was last seen, by the take log of an earlier process?
    """

    def __init__(self, board: Board, clock: Clock, log: Log, boxes: Container[str]) -> None:
        self.on_end: list[Callable[[Group], None]] = []
        self.relaunch: Callable[[Command], None] = lambda command: None
        self.on_stage: Callable[[Group], None] = lambda group: None
        self.so_by_log: Callable[[Ask], bool] = lambda ask: False
        self._board = board
        self._boxes = boxes
        self._clock = clock
        self._log = log
        self._inflight: dict[tuple[str, str], Command] = {}
        self._ours: OrderedDict[tuple[str, str], tuple[Ask, float]] = OrderedDict()
        self._open: dict[Command, None] = {}
        self._timer: Handle | None = None
        self._look_at = 0.0
        self._due = 0.0  # when the timer is to come
        self._put_off = False  # the last look was
        self._verified_at = NEVER  # the last verdict with proof
        self._later: dict[Command, float] = {}
        self._followed: dict[tuple[str, str], Command] = {}  # which of these is the newest about a point
        board.author = self._author

    # -- from claim to send ---------------------------------------------------------------------------------------

    def claim(self, command: Command) -> bool:
        """Settle conflicts with what is in flight. False: it joined a twin.

        Raises:
            RefusedError: something else is in flight on one of its points.
        """
        pairs = touched(command.ask)
        if self._free(pairs):  # the usual case, and all of a roll's bytes wait for it
            for pair in pairs:
                self._inflight[pair] = command
                self._remember_ours(pair, command.ask)
            return True
        verb, flags = command.ask.verb, command.ask.verb.flags()
        overtaken: dict[Command, None] = {}
        for pair in pairs:
            for other in self._others(pair):
                if other is command or other.verdict is not None or _in_turn(command, other):
                    continue
                if type(verb) is type(other.ask.verb) and (Flags.FIRST in flags or verb == other.ask.verb):
                    other.twins.append(command)
                    command.joined = True
                    if command.watch is not None:
                        command.watch.attach(self._clock.now())
                    return False
                older_yields = (
                    (isinstance(verb, Set) and isinstance(other.ask.verb, Set))
                    or (Flags.FIRST in flags and Flags.FIRST not in other.ask.verb.flags())
                    or other.ask.verb.spec.name in verb.spec.overtakes
                )
                if not older_yields:
                    raise RefusedError(
                        f"{other.ask.verb.say()} by {other.ask.who} is still on its way there",
                        remedy="Wait for its verdict and ask again.",
                        code="conflict",
                    )
                overtaken[other] = None
        for other in overtaken:  # only now: who is refused overtakes nobody
            self.end(other, Verdict(Ended.FAILED, _overtaken(command.ask), code="overtaken"))
        for pair in pairs:
            self._inflight[pair] = command
            self._remember_ours(pair, command.ask)
            if (older := self._followed.get(pair)) is not None:
                self._forget(older)  # what is seen from now on is the newer one's doing
        return True

    def put_off(self, command: Command) -> Verdict | None:
        """What was just refused is to be asked again by another press: its verdict waits for `share` or `end`.

        Returns: the refusal, for `end`; None: its press is over already.
        """
        group, refusal = command.group, command.verdict
        if refusal is None or group is None or group.ended:
            return None
        command.verdict, command.joined = None, True
        group.open += 1
        return refusal

    def share(self, command: Command, other: Command) -> None:
        """What was put off has gone out by another press: it gets that one's verdict."""
        if other.verdict is not None:
            self.end(command, other.verdict)
            return
        other.twins.append(command)
        if command.watch is not None:
            command.watch.attach(self._clock.now())

    def clear_of(self, devices: Container[str]) -> bool:
        """Is nothing in flight or followed on any of these devices?"""
        return not any(pair[0] in devices for held in (self._inflight, self._followed) for pair in held)

    def under_way(self, device: str, verb: Verb) -> Verb | None:
        """What touches the same as this verb and is on its way there, without a verdict yet; None: nothing is."""
        found = (self._inflight.get((device, name)) for name in verb.touches())
        return next((command.ask.verb for command in found if command is not None), None)

    def rising(self) -> list[Command]:
        """Those that bring a level up, in the order in which they began."""
        return [one for one in self._inflight.values() if one.ramp is not None and one.verdict is None]

    def _free(self, pairs: Sequence[tuple[str, str]]) -> bool:
        """Is nothing in flight or followed on any of these points?"""
        inflight, followed = self._inflight, self._followed
        for pair in pairs:
            if pair in inflight or pair in followed or pair[1] == "*" or (pair[0], "*") in inflight:
                return False
        return True

    def _others(self, pair: tuple[str, str]) -> list[Command]:
        device, name = pair
        if name == "*":
            return [command for (one, _), command in self._inflight.items() if one == device]
        found = (self._inflight.get(pair), self._inflight.get((device, "*")))
        return [command for command in found if command is not None]

    def expect(self, command: Command, within_s: float) -> None:
        """It waits in its box's line; should it never leave, it still gets a verdict."""
        command.deadline_at = self._clock.now() + within_s
        self._open[command] = None

    def watch_from(self, command: Command, at: float) -> None:
        """Its bytes left at `at`: from now on only younger readings count."""
        command.sent_at = at
        command.deadline_at = at + command.ask.verb.deadline_s() + command.ask.verb.hold_s()
        self._open[command] = None
        if Flags.FIRST in command.ask.verb.flags():
            self._board.proving_until = at + PROVING_S
        assert command.watch is not None
        command.watch.attach(at)

    # -- what comes back ------------------------------------------------------------------------------------------

    def sent(self, commands: Sequence[Command], index: int | None, at: float) -> None:
        """The box tells that the request of one command (index None: of all) left."""
        for command in commands if index is None else [commands[index]]:
            if command.verdict is None and command.sent_at is None:
                self.watch_from(command, at)
                self.wake()

    def heard_no(self, commands: Sequence[Command], index: int | None, words: str) -> None:
        """The box refused: one more look decides."""
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
            self.end(command, self.verdict(command, Ended.FAILED, command.said_no, code="device"))

    def seen(self, command: Command, truth: Truth) -> None:
        """The effect's truth changed: the watch calls this from within a put."""
        if command.joined:
            return
        if command.verdict is not None:
            if truth is YES and command in self._later:
                self._forget(command)
                self._log.write("later", command.ask.who, id=command.ask.id, device=command.ask.target, seen="yes")
            return
        if truth is YES:
            self._verified_at = now = self._clock.now()
            after_s = now - (command.sent_at if command.sent_at is not None else command.armed_at)
            self.end(command, Verdict(Ended.VERIFIED, after_s=after_s, moot=command.looking))
        elif (
            truth is NO
            and command.looking
            and not command.relaunched
            and command.sent_at is not None
            and self._clock.now() < command.deadline_at
            and judge(self._board, command.ask.verb.moot(), command.ask.target, since=command.sent_at) is NO
        ):
            self._moot_no_more(command)

    def _moot_no_more(self, command: Command) -> None:
        """It seemed to be so already, but the look says no: the verb goes out, once."""
        command.looking, command.relaunched = False, True
        command.sent_at = None  # that was a look; its bytes have yet to leave
        assert command.watch is not None
        command.watch.detach()
        self._open.pop(command, None)
        self._clock.later(self._clock.now(), lambda: self.relaunch(command))

    def _tick(self) -> None:
        """Deadlines, and looks at what is not judged yet; one timer for all groups."""
        self._timer = None
        now = self._clock.now()
        for command in [command for command in self._open if now >= command.deadline_at]:
            self._expire(command)
        if now >= self._look_at:
            proving = now - self._verified_at < BEHIND_S  # their words come in: more questions would hold them up
            self._put_off = put_off(now - self._due, before=self._put_off, proving=proving)
            self._look_at = now + (FIRST_LOOK_S if self._put_off else NEXT_LOOK_S)
            if not self._put_off:
                self.look(tuple(self._open))
        for command in [command for command, until in self._later.items() if now >= until]:
            self._forget(command)
        self.wake()

    @staticmethod
    def look(commands: Sequence[Command]) -> None:
        """Ask each box once for all that is to be seen of it: one command must not keep the looks from the others."""
        names: dict[Box, dict[str, None]] = {}
        for command in commands:
            if command.box is not None and command.sent_at is not None:
                names.setdefault(command.box, {}).update(dict.fromkeys(command.names))
        for box, some in names.items():
            box.glance(tuple(some))

    def _expire(self, command: Command) -> None:
        if command.sent_at is None:
            verdict = self._never_left(command)
        elif command.said_no:
            verdict = self.verdict(command, Ended.FAILED, command.said_no, code="device")
        elif command.watch is not None and command.watch.blind:
            verdict = self.verdict(command, Ended.SENT)
            self._show_asked(command)
        elif command.truth is NO:
            seen = ", ".join(command.watch.missing()) if command.watch is not None else ""
            verdict = self.verdict(command, Ended.FAILED, f"seen otherwise: {seen}", code="seen-otherwise")
        else:
            verdict = self.verdict(command, Ended.UNCONFIRMED, "not known if it happened", code="not-known")
        self.end(command, verdict)

    @staticmethod
    def _show_asked(command: Command) -> None:
        """The box took it and can't report it: what was sent is shown, as asked for and no more."""
        assert command.box is not None
        for leaf in command.ask.verb.effect().leaves():
            if leaf.says == "is":
                command.box.writer.asked(leaf.spec.name, leaf.values[0])

    def _never_left(self, command: Command) -> Verdict:
        """It waited in its box's line until its time was over; `end` takes it out of there."""
        if command.ramp is not None:
            return self.verdict(command, Ended.FAILED, "it did not come all the way up: the line is busy", code="late")
        if command.prepared is not None and not command.prepared.undivided:
            return self.verdict(command, Ended.UNCONFIRMED, "it waited in line and may or may not have left")
        after_s = self._clock.now() - command.armed_at
        return Verdict(
            Ended.FAILED,
            "its line is busy, nothing was sent",
            after_s=after_s,
            remedy="Ask again.",
            code="late",
            refused=True,
        )

    def overdue(self) -> float:
        """How long the verdict that is most overdue is past its deadline, in seconds; 0: none is."""
        now = self._clock.now()
        return max([0.0, *(now - command.deadline_at for command in self._open if command.verdict is None)])

    def wake(self) -> None:
        """Be called at the next deadline or look."""
        if not self._open and not self._later:
            return
        now = self._clock.now()
        if self._look_at < now:
            self._look_at = now + FIRST_LOOK_S
        due = min((command.deadline_at for command in self._open), default=now + LATER_S)
        at = min(due, self._look_at) if self._open else now + LATER_S / 10
        if self._timer is not None:
            self._timer.cancel()
        self._timer, self._due = self._clock.later(at, self._tick), at

    # -- ends -----------------------------------------------------------------------------------------------------

    def verdict(self, command: Command, ended: Ended, why: str = "", *, code: str = "") -> Verdict:
        """A verdict from what is seen now."""
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

    def refusal(self, command: Command, refused: RefusedError, now: float) -> Verdict:
        """The verdict of an ask of which no byte was sent: it failed, or a recorder that nobody sees may roll."""
        after, ended, remedy = now - command.armed_at, Ended.FAILED, refused.remedy
        if refused.code in OUT_OF_REACH and self._may_roll(command.ask):
            ended, remedy = Ended.UNCONFIRMED, "Look at its front, and check its power and network cable."
        return Verdict(ended, str(refused), (), after, remedy, refused.code, refused=True)

    def _may_roll(self, ask: Ask) -> bool:
        """Who is told that a recorder did not stop believes that it rolls, and the other way round.

        That it did not stop is said of one that is seen alone; that it does not roll, not of one that rolled when last
        seen.
        """
        verb, device = ask.verb, ask.target
        if device not in self._boxes:
            return False
        if Flags.ENDS_TAKE in verb.flags():
            return judge(self._board, verb.effect(), device) is UNKNOWN
        return Flags.FIRST in verb.flags() and (self._was_so(verb.moot(), device) or self.so_by_log(ask))

    def _was_so(self, wanted: Condition, device: str) -> bool:
        """Did it hold when it was last seen, which is a while ago?"""
        readings = [(leaf, self._board.reading(device, leaf.spec)) for leaf in wanted.leaves()]
        return all(
            reading.quality is Quality.STALE and compare(leaf, reading.value) is YES for leaf, reading in readings
        )

    def refuse(self, command: Command, refused: RefusedError, now: float) -> None:
        """End a command that was never sent."""
        command.verdict = self.refusal(command, refused, now)
        if command.watch is not None:
            command.watch.detach()

    def end(self, command: Command, verdict: Verdict) -> None:
        """Give the final verdict, to its twins too."""
        if command.verdict is not None:
            return
        command.verdict = verdict
        self._open.pop(command, None)
        if not self._open:
            self._board.proving_until = min(self._board.proving_until, self._clock.now() + ANSWER_S)
        if command.ramp is not None:
            command.ramp.end()
        if command.sent_at is None and command.box is not None and command.prepared is not None:
            command.box.withdraw(command.prepared, command.place)  # after its verdict nothing of it leaves
        for pair in touched(command.ask):
            if self._inflight.get(pair) is command:
                del self._inflight[pair]
                self._whose(pair, command, verdict)
        if command.watch is not None:
            if verdict.ended in (Ended.VERIFIED, Ended.SENT) or command.sent_at is None:
                command.watch.detach()
            else:
                self._later[command] = self._clock.now() + LATER_S
                self._followed.update(dict.fromkeys(touched(command.ask), command))
                self.wake()
        self._count_off(command)
        if verdict.ended is Ended.VERIFIED and command.twins:  # their own watches hear the same reading in this turn
            self._clock.later(self._clock.now(), lambda: self._share(command.twins, verdict))
        elif command.twins:
            self._end_twins(command.twins, verdict)

    def _share(self, twins: Sequence[Command], verdict: Verdict) -> None:
        """What was seen before a twin was asked is no proof that it is so since: those go on."""
        self._end_twins([twin for twin in twins if twin.truth is YES], verdict)
        late = [twin for twin in twins if twin.verdict is None]
        if late:
            self._look_for(late)

    def _end_twins(self, twins: Sequence[Command], verdict: Verdict) -> None:
        for twin in twins:
            twin.verdict = verdict
            if twin.watch is not None:
                twin.watch.detach()
            self._count_off(twin)

    def _look_for(self, twins: Sequence[Command]) -> None:
        """They go on as one that seems to be so already: looked at, and sent once if it is not."""
        first = twins[0]
        first.twins, first.looking, first.joined = list(twins[1:]), True, False
        assert first.watch is not None
        first.watch.detach()
        for pair in touched(first.ask):
            self._inflight.setdefault(pair, first)
        self.watch_from(first, self._clock.now())
        self.wake()

    def _count_off(self, command: Command) -> None:
        group = command.group
        if group is not None and group.open:
            group.open -= 1
            if group.to_come and group.under_way:
                self.on_stage(group)
            self.settle(group)

    def settle(self, group: Group) -> None:
        """Close a group whose last verdict is in."""
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
            boxes=group.told,
        )
        group.finish(now)
        for tell in self.on_end:
            tell(group)

    def _forget(self, command: Command) -> None:
        self._later.pop(command, None)
        for pair in touched(command.ask):
            if self._followed.get(pair) is command:
                del self._followed[pair]
        if command.watch is not None:
            command.watch.detach()

    # -- whose act was it? ----------------------------------------------------------------------------------------

    def _whose(self, pair: tuple[str, str], command: Command, verdict: Verdict) -> None:
        """A late change is still ours if the box got the command; one whose end we could not see may be told late."""
        if verdict.refused or verdict.moot or command.said_no:
            if (ours := self._ours.get(pair)) is not None and ours[0] is command.ask:
                del self._ours[pair]
        else:
            self._remember_ours(pair, command.ask, LATER_S if verdict.ended is Ended.UNCONFIRMED else OURS_S)

    def _remember_ours(self, pair: tuple[str, str], ask: Ask, within_s: float = OURS_S) -> None:
        self._ours[pair] = (ask, self._clock.now() + within_s)
        self._ours.move_to_end(pair)
        if len(self._ours) > OURS:
            self._ours.popitem(last=False)

    def _author(self, reading: Reading[Any]) -> str:
        """Whose act changed this point: ours if a command just asked for this value, else somebody's at the box."""
        now = self._clock.now()
        for name in (reading.name, "*"):
            pair = (reading.device, name)
            command = self._inflight.get(pair)
            if command is not None and (
                not isinstance(command.ask.verb, Set)
                or _asked_for(command.ask, reading)
                or (command.ramp is not None and command.ramp.ours(reading.value))
            ):
                return command.ask.who
            ours = self._ours.get(pair)
            if ours is not None and now <= ours[1] and _asked_for(ours[0], reading):
                return ours[0].who
        if reading.device not in self._boxes:
            return ""
        self._log.write("hand", "box", device=reading.device, point=reading.name, value=reading.value)
        return "box"


def _asked_for(ask: Ask, reading: Reading[Any]) -> bool:
    """Did this ask want the value that the point has now? What touches everything wanted anything."""
    leaves = [leaf for leaf in ask.verb.effect().leaves() if leaf.spec.name == reading.name]
    return not leaves or any(compare(leaf, reading.value) is not NO for leaf in leaves)


def _in_turn(command: Command, other: Command) -> bool:
    """Do they belong to one press, one after the other, such as a cue and the play that waits for it?"""
    return command.group is other.group and command.ask.stage != other.ask.stage


def _overtaken(ask: Ask) -> str:
    """Why what was on its way came to nothing."""
    if isinstance(ask.verb, Stay):
        return f"{ask.who or 'somebody'} stopped it at {ask.verb.point.say(ask.verb.value)}"
    return f"overtaken by {ask.verb.say()} of {ask.who}"


def _remedy(command: Command, ended: Ended) -> str:
    if ended in (Ended.VERIFIED, Ended.SENT):
        return ""
    return f"Look at {command.ask.target}'s front."
