"""Whatever is pressed and whatever breaks: one verdict each, no yes that was not so, nothing said twice?

Source: own construction. The far ends keep a record of what they truly showed and of every act they heard; no verdict
is compared with anything else.
"""

import asyncio
from dataclasses import dataclass, field
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagectl.control.groups import Command, Group
from stagectl.control.judging import OUT_OF_REACH
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import CODEC, TRANSPORT, Cut, Play, Roll, Stop
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.verbs import Ask, Ended, Set, Verb
from tests.control.booth import INES, Booth, FarEnd, deck, mixer, router
from tests.driverkit.memory import until, virtual

BOXES = ("iso-1", "iso-2", "hall", "mixer")
SWITCHES = ("deaf", "refuses", "refuses_but_does", "silent", "frozen", "mute", "slow_s", "roll_s", "hold")
VERBS: dict[str, tuple[Verb, ...]] = {
    "iso-1": (Roll("T001"), Cut(1), Play(), Stop(), Set(CODEC, "dnx"), Set(CODEC, "vc3-185")),
    "hall": tuple(Set(OUTPUT_SOURCE.at(output), source) for output in (1, 2) for source in (1, 2, 3)),
    "mixer": (
        *(Set(STRIP_LEVEL.at(1), level) for level in (-60.0, -12.0, -9.0, "off")),
        *(Set(STRIP_MUTED.at(strip), muted) for strip in (1, 2) for muted in (True, False)),
    ),
}
VERBS["iso-2"] = VERBS["iso-1"]
HANDS: dict[str, tuple[tuple[Any, Any], ...]] = {
    "iso-1": ((TRANSPORT, "recording"), (TRANSPORT, "stopped"), (TRANSPORT, "playing"), ("remote", False)),
    "hall": ((OUTPUT_SOURCE.at(1), 7), (OUTPUT_SOURCE.at(2), 1)),
    "mixer": ((STRIP_LEVEL.at(1), -30.0), (STRIP_MUTED.at(1), True)),
}
HANDS["iso-2"] = HANDS["iso-1"]

times = st.sampled_from([0.0, 0.0, 0.02, 0.1, 0.3, 1.1, 2.5])
asks = st.sampled_from(BOXES).flatmap(lambda name: st.tuples(st.just(name), st.sampled_from(VERBS[name])))
hands = st.sampled_from(BOXES).flatmap(lambda name: st.tuples(st.just(name), st.sampled_from(HANDS[name])))
steps = st.one_of(
    st.tuples(st.just("press"), times, st.lists(asks, min_size=1, max_size=4), st.booleans()),
    st.tuples(st.just("stages"), times, st.lists(asks, min_size=2, max_size=5), st.booleans()),
    st.tuples(st.just("hand"), times, hands, st.booleans()),
    st.tuples(st.just("switch"), times, st.sampled_from(BOXES), st.sampled_from(SWITCHES)),
    st.tuples(st.just("heal"), times, st.sampled_from(BOXES), st.none()),
    st.tuples(st.just("lose"), times, st.sampled_from(BOXES), st.booleans()),
    st.tuples(st.just("disk"), times, st.booleans(), st.none()),
)


@dataclass
class Story:
    """One run: what was pressed, and what the far ends say of it afterwards."""

    booth: Booth
    groups: list[Group] = field(default_factory=list)
    tasks: list["asyncio.Task[None]"] = field(default_factory=list)

    async def tell(self, plan: list[tuple[str, float, Any, Any]]) -> None:
        for what, after_s, one, other in plan:
            await asyncio.sleep(after_s)
            getattr(self, f"_{what}")(one, other)
        for name in BOXES:
            self._heal(name, None)
        self._disk(True, None)
        await asyncio.gather(*self.tasks)
        for group in self.groups:
            assert await group.wait(60), group
        await self.booth.rest()
        await until(lambda: all(box.adopted for box in self.booth.boxes.values()))

    def _press(self, some: list[tuple[str, Verb]], cancel: bool) -> None:
        self._ask([Ask("", "ines", "test", name, verb) for name, verb in some], cancel)

    def _stages(self, some: list[tuple[str, Verb]], cancel: bool) -> None:
        """Two at a time, each only after the one two before it."""
        asked = [Ask("", "ines", "test", name, verb, stage=place // 2) for place, (name, verb) in enumerate(some)]
        for first, then in zip(asked, asked[2:], strict=False):
            then.after = tuple((first.target, name) for name in first.verb.touches())
        self._ask(asked, cancel)

    def _ask(self, asked: list[Ask], cancel: bool) -> None:
        group = self.booth.group()
        commands = self.booth.commands.arm(INES, asked)
        self.groups.append(group)
        if all(ask.verb.spec.name in ("roll", "cut") for ask in asked):
            self.booth.commands.go(group, commands)
            return
        task = asyncio.create_task(self.booth.commands.go_durable(group, commands))
        if cancel:
            asyncio.get_running_loop().call_later(0.05, task.cancel)
        self.tasks.append(asyncio.create_task(_quietly(task)))

    def _hand(self, what: tuple[str, tuple[Any, Any]], tell: bool) -> None:
        name, (point, value) = what
        self.booth.far[name].has(point, value, tell=tell)

    def _switch(self, name: str, switch: str) -> None:
        values: dict[str, Any] = {"refuses": "117 not now", "slow_s": 0.4, "roll_s": 0.7}
        setattr(self.booth.far[name], switch, values.get(switch, True))

    def _heal(self, name: str, _: None) -> None:
        far = self.booth.far[name]
        for switch in SWITCHES:
            setattr(far, switch, {"refuses": "", "slow_s": 0.0, "roll_s": 0.0}.get(switch, False))
        far.release()
        self.booth.wires[name].refuse = None

    def _lose(self, name: str, stays: bool) -> None:
        self.booth.far[name]._held.clear()
        if stays:
            self.booth.wires[name].refuse = ConnectionRefusedError(111, "Connection refused")
        if self.booth.wires[name].peers:
            self.booth.wires[name].peers[-1].cut()

    def _disk(self, well: bool, _: None) -> None:
        gate = self.booth.log.gate
        if well and gate is not None:
            gate.set()
            self.booth.log.gate = None
        elif not well and gate is None:
            self.booth.log.gate = asyncio.Event()

    # -- what must be so

    def judge(self) -> None:
        commands = [command for group in self.groups for command in group.commands]
        assert all(command.verdict is not None for command in commands)
        for command in commands:
            self._true(command)
        for name in BOXES:
            self._once(name, [command for command in commands if command.ask.target == name])

    def _true(self, command: Command) -> None:
        verdict = command.verdict
        assert verdict is not None
        if verdict.ended is Ended.VERIFIED:
            far = self.booth.far[command.ask.target]
            main = command if command.sent_at is not None else self._joined(command)
            assert main.sent_at is not None
            assert _showed(far, command.ask.verb, main.sent_at, main.sent_at + verdict.after_s), command
        if verdict.refused:
            unseen = isinstance(command.ask.verb, (Roll, Cut)) and verdict.code in OUT_OF_REACH
            assert verdict.ended is Ended.FAILED or (unseen and verdict.ended is Ended.UNCONFIRMED)

    def _joined(self, twin: Command) -> Command:
        (main,) = [
            command
            for group in self.groups
            for command in group.commands
            if command.verdict is twin.verdict and command is not twin and command.sent_at is not None
        ]
        return main

    def _once(self, name: str, commands: list[Command]) -> None:
        """Each act that a far end heard stands for one command that says it was sent, but for the steps of a rise."""
        heard = [line for _, line in self.booth.far[name].acts if "strip.1.level" not in line]
        went = [
            command
            for command in commands
            if command.sent_at is not None
            and command.verdict is not None
            and not command.verdict.refused
            and not command.verdict.moot
            and "strip.1.level" not in command.ask.verb.say()
        ]
        assert len(heard) <= len(went), (heard, [command.ask.verb for command in went])


def _showed(far: FarEnd, verb: Verb, begin: float, end: float) -> bool:
    slack = 1e-6
    match verb:
        case Set(point=point, value=value):
            if isinstance(value, float):  # within its tolerance
                return any(
                    far.showed(point.name, near, begin - slack, end + slack)
                    for near in {value, *(one for _, name, one in far.truth if name == point.name)}
                    if isinstance(near, float) and abs(near - value) <= point.tolerance + 1e-6
                )
            return far.showed(point.name, value, begin - slack, end + slack)
        case Roll():
            return far.showed("transport", "recording", begin - slack, end + slack)
        case Play():
            return far.showed("transport", "playing", begin - slack, end + slack)
        case Cut():
            return any(far.showed("transport", one, begin - slack, end + slack) for one in ("stopped", "playing"))
        case Stop():
            return far.showed("transport", "stopped", begin - slack, end + slack)
    raise AssertionError(verb)


async def _quietly(task: "asyncio.Task[None]") -> None:
    await asyncio.wait({task}, timeout=120)
    assert task.done()
    if not task.cancelled():
        task.result()


@settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.lists(steps, min_size=1, max_size=25))
def test_whatever_happens_each_command_ends_once_and_truly(plan: list[tuple[str, float, Any, Any]]) -> None:
    @virtual
    async def story() -> None:
        booth = await Booth(iso_1=deck(), iso_2=deck(), hall=router(packs=True), mixer=mixer(window=1)).up()
        told = Story(booth)
        await told.tell(plan)
        told.judge()

    story()
