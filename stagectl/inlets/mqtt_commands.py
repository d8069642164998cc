"""How is a command from MQTT carried out? Read, held against what its sender saw, wished for, and answered twice.

The answers are "accepted" or "refused", then how it ended. A command that was heard before is not judged again:
it gets the answers of its first time, whatever has changed since. No broker and no client in sight.
"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import structlog

from stagectl.control.access import Person, allowed
from stagectl.control.groups import Group
from stagectl.inlets.mqtt_payloads import (
    NO_ID,
    ROOT,
    Command,
    id_of,
    in_time,
    opened,
    part_of,
    plain,
    read_command,
    shown,
    verdict,
)
from stagectl.inlets.rate import Rates
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.shoot.house import House, Wish
from stagectl.shoot.scenerun import Run
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.teller import Teller

ACTS: Final = 64  # commands being carried out at once; more are dropped
GROUP_S: Final = 150.0  # longest wait for a verdict: the slowest verb takes 120 s
RUN_S: Final = 3600.0  # longest wait for a scene's end: it may ask a person
AGAIN_S: Final = 0.2  # a task that has not ended by then is cancelled again
CORRELATION_BYTES: Final = 256  # own choice: an id of any kind, and no load on the way back
_INLET: Final = "mqtt"

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Back:
    """Where the answers to a command go: a topic below the site's own, and what is sent with them unread."""

    topic: str
    correlation: bytes = b""


class MqttCommands:
    """Carries out what comes in on cmd/<principal>.

    Attributes:
        counts: "commands" heard, "refused", "dropped" unread because too many were on their way.
    """

    def __init__(
        self,
        house: House,
        scenes: Scenes,
        teller: Teller,
        say: Callable[[Back, Mapping[str, Any]], Awaitable[None]],
    ) -> None:
        """`say` publishes an answer and never raises for the broker's sake."""
        self.counts = {"commands": 0, "refused": 0, "dropped": 0}
        self._house = house
        self._scenes = scenes
        self._teller = teller
        self._say = say
        self._base = f"{ROOT}/{house.site.slug}"
        self._rates = Rates(house.world.clock)
        self._lines = Rates(house.world.clock)  # a flood of refusals must not fill the journal
        self._unwritten = 0
        self._acts: set[asyncio.Task[None]] = set()

    def hear(
        self, principal: str, payload: bytes, *, retained: bool, response_topic: str = "", correlation: bytes = b""
    ) -> None:
        """Begin to carry out one command; returns at once.

        Args:
            principal: who sent it, as the topic says and the broker's access list proves.
            payload: as it came.
            retained: with the retain flag, which a command never has.
            response_topic: where the sender wants its answers, MQTT 5.0 section 4.10; empty: it does not say.
            correlation: goes back with each answer.
        """
        if retained and not payload:
            return  # somebody clears a retained command: good
        self.counts["commands"] += 1
        if len(self._acts) >= ACTS:
            self.counts["dropped"] += 1
            self._audit(principal, f"{ACTS} commands are on their way already", "busy")
            return
        wanted = Back(response_topic, correlation)
        act = asyncio.create_task(self._carry_out(principal, payload, wanted, retained=retained))
        self._acts.add(act)
        act.add_done_callback(self._over)

    async def close(self) -> None:
        """Let go of every command; what was sent stays sent."""
        await end_tasks(list(self._acts))

    def _over(self, act: asyncio.Task[None]) -> None:
        self._acts.discard(act)
        if not act.cancelled() and (slip := act.exception()) is not None:
            log.error("mqtt_command_slipped", error=repr(slip))

    async def _carry_out(self, principal: str, payload: bytes, wanted: Back, *, retained: bool) -> None:
        if not plain(principal):
            self._audit(principal, "no principal is called that", "principal")
            return
        identifier = NO_ID
        try:
            try:
                given = opened(payload)
                identifier = id_of(given)
                self._refuse_foreign(principal, wanted)
                self._refuse_kept(retained)
                command = read_command(given)
            except RefusedError:
                self._not_too_often(principal)
                raise
            if command.verb != "roll":
                self._not_too_often(principal)
            person = self._house.gate.principal(principal, self._house.site.people)
            person = replace(person, source=f"{_INLET} cmd/{principal}")  # what it does is written down with it
            begun = await self._begin(person, command)
        except RefusedError as refused:
            self._audit(principal, str(refused), refused.code)
            more = {"confirm": refused.word} if refused.word else {}
            say = self._teller.refusal(refused)
            back = self._back(principal, identifier, wanted)
            await self._answer(back, identifier, "refused", why=refused.code, say=say, **more)
            return
        back = self._back(principal, identifier, wanted)
        if isinstance(begun, Run):
            await self._follow_run(back, begun)
        else:
            await self._follow(back, begun)

    async def _begin(self, person: Person, command: Command) -> Group | Run:
        """The group or run of a command, begun now or at its first coming. Raises RefusedError."""
        if command.verb == "scene":
            if command.id not in self._scenes.runs:
                self._as_seen(person, command)
            args = {key: _spoken(value) for key, value in command.args.items()}
            name = args.pop("name", command.on[0] if command.on else "")
            return self._scenes.start(name, person, args, command.id)
        wish = self._wish(person, command)
        if (known := self._house.commands.known(wish.id, wish.content)) is not None:
            return known
        self._as_seen(person, command)
        self._erases_nothing(wish)
        return await self._house.submit(wish)

    # -- what is refused ------------------------------------------------------------------------------------------

    def _refuse_foreign(self, principal: str, wanted: Back) -> None:
        if len(wanted.correlation) > CORRELATION_BYTES:
            raise RefusedError(
                f"Correlation data has at most {CORRELATION_BYTES} bytes.", remedy="Send an id.", code="correlation"
            )
        if wanted.topic and not self._own(principal, wanted.topic):
            remedy = f"Take {self._base}/verdict/{principal}/ and a name."
            raise RefusedError("This response topic is not its sender's own.", remedy=remedy, code="response-topic")

    @staticmethod
    def _refuse_kept(retained: bool) -> None:
        if retained:
            raise RefusedError(
                "A command is never retained: it would be carried out again at every start.",
                remedy="Send it without the retain flag, and clear this one with an empty retained message.",
                code="retained",
            )

    def _not_too_often(self, principal: str) -> None:
        """Five a second, ten at once; a roll is never refused for that."""
        if wait_s := self._rates.take(principal):
            raise RefusedError(
                f"{principal} sends too many commands.", remedy=f"Wait {wait_s:.1f} s, then send it again.", code="rate"
            )

    def _as_seen(self, person: Person, command: Command) -> None:
        """Time, epoch and revisions it was decided on; a cut must name both epoch and take."""
        in_time(command, self._house.world.clock.wall())
        if command.verb == "cut":
            allowed(person, ("cut",))  # who may not cut is not told what runs
            if command.if_epoch is None:
                raise RefusedError(
                    "A cut over MQTT needs if_epoch.", remedy="Read it from the link topic.", code="if-epoch"
                )
            if "take" not in command.args:
                raise self._teller.unnamed_cut()
        if command.if_epoch is not None and command.if_epoch != self._house.epoch:
            raise RefusedError(
                f"stagectl has started again: its epoch is {self._house.epoch}, not {command.if_epoch}.",
                remedy="Read the state anew.",
                code="epoch",
            )
        for place, rev in command.if_rev.items():
            device, _, part = place.partition("/")
            points = self._house.board.points(device).values()
            # as published: points that move with every frame are not counted
            own = [one.rev for one in points if shown(one) and part_of(one.name)[0] == part]
            if not own:
                raise RefusedError(f'There is no state "{place[:80]}".', remedy="See the manifest topic.", code="field")
            if max(own) != rev:
                raise RefusedError(f"{place} has changed since.", remedy="Read the state anew.", code="revision")

    @staticmethod
    def _wish(person: Person, command: Command) -> Wish:
        args = dict(command.args)
        if command.verb in ("roll", "cut"):
            if command.on not in ((), ("takes",)):
                args["on"] = list(command.on)
            return Wish(person, _INLET, "takes", command.verb, args, command.id, command.confirm)
        if len(command.on) != 1:
            raise RefusedError(
                f'{command.verb[:40]} needs one name in "on".', remedy="Name a device, group or part.", code="field"
            )
        return Wish(person, _INLET, command.on[0], command.verb, args, command.id, command.confirm)

    def _erases_nothing(self, wish: Wish) -> None:
        """Whoever may publish is not known to be an engineer who stands at the box."""
        for target in self._house.resolve(wish.target):
            capability = self._house.capability(target)
            verb = capability.verb(wish.verb) if capability is not None else None
            if verb is not None and Flags.ERASES in verb.spec.flags:
                raise RefusedError(
                    "A medium is never erased over MQTT.", remedy="Do it at the box or over REST.", code="erases"
                )

    def _audit(self, principal: str, why: str, code: str) -> None:
        """Journal a refusal; of a flood, what the journal can bear, and how many more."""
        self.counts["refused"] += 1
        if self._lines.take(""):
            self._unwritten += 1
            return
        more = {"more": self._unwritten} if self._unwritten else {}
        self._unwritten = 0
        self._house.chronicle.write(
            "access",
            principal[:64],
            inlet=_INLET,
            what="refused",
            source=f"{_INLET} cmd/{principal[:64]}",
            why=why[:500],
            code=code,
            **more,
        )

    # -- what is told ---------------------------------------------------------------------------------------------

    def _own(self, principal: str, topic: str) -> str:
        """A sender's own response topic, below the site's; empty: it is not its own."""
        head = f"{self._base}/verdict/{principal}/"
        name = topic.removeprefix(head)
        return f"verdict/{principal}/{name}" if topic.startswith(head) and plain(name) else ""

    def _back(self, principal: str, identifier: str, wanted: Back) -> Back:
        """Where the answers go: as the sender wants, if it may; else to the id's own topic."""
        topic = self._own(principal, wanted.topic) or f"verdict/{principal}/{identifier}"
        return Back(topic, wanted.correlation if len(wanted.correlation) <= CORRELATION_BYTES else b"")

    async def _answer(self, back: Back, identifier: str, phase: str, **more: Any) -> None:
        await self._say(back, {"v": 1, "id": identifier, "epoch": self._house.epoch, "phase": phase, **more})

    async def _follow(self, back: Back, group: Group) -> None:
        await self._answer(back, group.id, "accepted", take=group.take)
        await group.wait(GROUP_S)
        await self._house.commands.durable(group)
        said = verdict(group, self._house.epoch, self._house.board.rev, self._teller.group(group))
        await self._say(back, said)

    async def _follow_run(self, back: Back, run: Run) -> None:
        await self._answer(back, run.id, "accepted", scene=run.scene.name)
        await run.wait(RUN_S)
        phase = str(run.ended) if run.ended is not None else "unconfirmed"
        steps = {number: str(result.stand) for number, result in run.results.items()}
        await self._answer(back, run.id, phase, of=run.count, say=self._teller.run(run), steps=steps)


async def end_tasks(tasks: Sequence[asyncio.Task[None]]) -> None:
    """Cancel tasks until each has ended; what they raised is fetched.

    Once is not enough: aiomqtt waits with `asyncio.wait_for`, which before Python 3.12 loses a cancel that comes in the
    same turn as what it waits for.
    """
    left = list(tasks)
    while left:
        for task in left:
            task.cancel()
        await asyncio.wait(left, timeout=AGAIN_S)
        left = [task for task in left if not task.done()]
    await asyncio.gather(*tasks, return_exceptions=True)


def _spoken(value: object) -> str:
    """A scene's argument as its file would have it."""
    return ("no", "yes")[value] if isinstance(value, bool) else str(value)
