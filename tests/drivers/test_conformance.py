"""Do the shipped drivers keep what drivers promise, against simulators that share no code with them?

The simulators run in a process of their own; the drivers are found by entry point, as a third party's would be.
Source of all rows: own construction; what each act and fault means stands in the simulators' README.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import pytest

from stagectl.driverkit.conformance import Act, Fault, Hand, Outcome, Report, check
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.capabilities.mixer import BUS_LEVEL, STRIP_LEVEL, STRIP_MUTED, STRIP_NAME, Recall
from stagectl.model.capabilities.recorder import SLOT_ACTIVE, TRANSPORT, Cut, Play, Roll, Transport
from stagectl.model.capabilities.router import INPUT_NAME, OUTPUT_LOCK, OUTPUT_SOURCE, Lock
from stagectl.model.conditions import Condition
from stagectl.model.verbs import Set
from stagectl_simulators import client

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Plan:
    """What is done to one kind of box.

    `hand` and `back` are acts at the panel; `options` are the simulator's.
    """

    acts: tuple[Act, ...]
    hand: tuple[str, dict[str, Any]]
    shows: Condition
    back: tuple[str, dict[str, Any]]
    faults: tuple[str, ...]


PLANS: Final = {
    "text-deck": Plan(
        (
            Act(Roll("Conformance"), undo=Cut(1)),
            Act(Set(SLOT_ACTIVE, 2), undo=Set(SLOT_ACTIVE, 1)),
            Act(Set(SLOT_ACTIVE, 7), refused=True),
        ),
        ("record", {}),
        TRANSPORT.is_(Transport.RECORDING),
        ("stop", {}),
        ("never_roll", "notice_storm", "unknown_words", "no_notices", "remote_off"),
    ),
    "block-router": Plan(
        (
            Act(Set(OUTPUT_SOURCE.at(3), 7), undo=Set(OUTPUT_SOURCE.at(3), 3)),
            Act(Set(INPUT_NAME.at(2), "Hands"), undo=Set(INPUT_NAME.at(2), "Input 2")),
            Act(Set(OUTPUT_LOCK.at(4), Lock.OURS), undo=Set(OUTPUT_LOCK.at(4), Lock.FREE)),
            Act(Set(OUTPUT_SOURCE.at(3), 17), refused=True),
            Act(Play(), refused=True),
        ),
        ("route", {"output": 5, "input": 9}),
        OUTPUT_SOURCE.at(5).is_(9),
        ("route", {"output": 5, "input": 5}),
        ("ack_only", "refuse_all", "no_status", "storm", "needs_update"),
    ),
    "mixer-text": Plan(
        (
            Act(Set(STRIP_LEVEL.at(5), -12.0), undo=Set(STRIP_LEVEL.at(5), -20.0)),
            Act(Set(BUS_LEVEL.at(3), "off"), undo=Set(BUS_LEVEL.at(3), 0.0)),
            Act(Set(STRIP_MUTED.at(5), True), undo=Set(STRIP_MUTED.at(5), False)),
            Act(Set(STRIP_NAME.at(5), "Presenter"), undo=Set(STRIP_NAME.at(5), "Strip 5")),
            Act(Recall("A 2"), undo=Recall("A 1")),
        ),
        ("mute", {"strip": 2}),
        STRIP_MUTED.at(2).is_(True),
        ("unmute", {"strip": 2}),
        ("wrong_echo", "storm", "error_line", "deaf_set", "busy"),
    ),
}
ANY_BOX: Final = ("garbage", "silent", "one_byte", "reset_mid_line", "reboot")


class Simulator:
    """One simulated box in a process of its own, with its door."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.process = subprocess.Popen(
            [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps({"boxes": [{"id": "box", "kind": kind}]}) + "\n")
        self.process.stdin.flush()
        at = json.loads(self.process.stdout.readline())
        self.door: str = at["door"]
        host, _, port = at["boxes"]["box"].rpartition(":")
        self.address = (host, int(port))

    def end(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(10)
        self.process.stdout.close()

    def panel(self, act: str, args: dict[str, Any]) -> None:
        client.panel(self.door, "box", act, **args)

    def fault(self, name: str) -> Fault:
        return Fault(
            name,
            lambda: client.set_fault(self.door, "box", name, True),
            lambda: client.set_fault(self.door, "box", name, False),
        )

    async def check(self, *only: str) -> Report:
        kinds, _ = find_kinds()
        plan = PLANS[self.kind]
        return await check(
            kinds[self.kind],
            *self.address,
            acts=plan.acts,
            hand=Hand(lambda: self.panel(*plan.hand), plan.shows, undo=lambda: self.panel(*plan.back)),
            faults=[self.fault(name) for name in (*ANY_BOX, *plan.faults)],
            only=only,
        )


@pytest.fixture(params=list(PLANS))
def simulator(request: pytest.FixtureRequest) -> Iterator[Simulator]:
    simulator = Simulator(request.param)
    yield simulator
    simulator.end()


GROUPS: Final = {
    "reading and acting": (
        *("looks are reads", "points keep their specs", "acts are seen", "acts are no reads"),
        *("refusals are sentences", "line ends are refused", "a hand is seen", "a lost link comes back"),
    ),
    "bad wires": (
        *("slow answers meet their questions", "single bytes make whole answers"),
        *("answers in one piece are taken apart",),
    ),
    "garbage": (
        *("noise is survived", "an endless line is ended", "a flood leaves nothing"),
        *("any split gives the same events", "a word it lacks is unknown", "damaged bytes are no slip"),
    ),
}


@pytest.mark.parametrize("claims", GROUPS.values(), ids=[name.replace(" ", "-") for name in GROUPS])
async def test_a_shipped_driver_keeps_what_drivers_promise(simulator: Simulator, claims: tuple[str, ...]) -> None:
    report = (await simulator.check(*claims)).demand()
    assert [row.name for row in report.rows] == ["connects reading only", *claims]
    assert [row.name for row in report.rows if row.outcome is not Outcome.HELD] == []


@pytest.mark.parametrize("faults", ["any box", "its own"])
async def test_a_shipped_driver_comes_through_its_box_s_faults(simulator: Simulator, faults: str) -> None:
    names = ANY_BOX if faults == "any box" else PLANS[simulator.kind].faults
    (await simulator.check(*(f"a fault passes: {name}" for name in names))).demand()


def test_every_claim_is_tried_in_some_group() -> None:
    from stagectl.driverkit.conformance.check import CLAIMS

    tried = {name for claims in GROUPS.values() for name in claims} | {"connects reading only"}
    assert tried == {claim.__name__.replace("_", " ") for claim in CLAIMS}
