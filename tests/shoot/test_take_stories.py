"""Whatever recorders do and whenever the daemon dies: is every recording in a take, and no take open for nothing?

Source: own construction. The decks' own state is the truth that the take log is held against after every step.
"""

import asyncio
import copy
from dataclasses import dataclass, field
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagectl.model.capabilities.recorder import SLOT_ACTIVE, TIMECODE, TRANSPORT, Transport
from tests.driverkit.memory import virtual
from tests.shoot.takelog import RECORDERS, Log

NAMES = tuple(RECORDERS)


@dataclass
class Deck:
    """What one recorder really does."""

    rolls: bool = False
    seen: bool = True
    slot: int = 1
    clips: int = 0
    clip: tuple[str, str] = ("OLD", "00:00:00:00")


@dataclass
class Stage:
    """Three decks, a take log, and a daemon that may die at any moment."""

    log: Log
    decks: dict[str, Deck] = field(default_factory=lambda: {name: Deck() for name in NAMES})
    before: list[dict[str, Any]] = field(default_factory=list)  # records of the daemons that died

    def label(self) -> str:
        frames = int(asyncio.get_running_loop().time() * 25)
        return f"10:{frames // 1500 % 60:02d}:{frames // 25 % 60:02d}:{frames % 25:02d}"

    def tell(self, name: str, by: str = "") -> None:
        """What the daemon hears in one look at this deck."""
        deck = self.decks[name]
        if deck.seen:
            self.log.by = by
            self.log.says(name, TRANSPORT, Transport.RECORDING if deck.rolls else Transport.STOPPED)
            self.log.says(name, SLOT_ACTIVE, deck.slot)
            self.log.says(name, TIMECODE, self.label() if deck.rolls else "00:00:00:00")

    # -- steps

    def press(self, name: str) -> None:
        self.log.presses(*NAMES, name="Masterclass")
        for one in NAMES:
            self.roll(one)

    def roll(self, name: str) -> None:
        deck = self.decks[name]
        if not deck.rolls:
            deck.rolls, deck.clips = True, deck.clips + 1
            deck.clip = (f"{name}-{deck.clips}", self.label())
            self.tell(name, "ines")

    def stop(self, name: str) -> None:
        self.decks[name].rolls = False
        self.tell(name, "box")

    def spill(self, name: str) -> None:
        deck = self.decks[name]
        if deck.rolls:
            deck.slot, deck.clips = 3 - deck.slot, deck.clips + 1
            deck.clip = (f"{name}-{deck.clips}", self.label())
            self.tell(name, "box")

    def list(self, name: str) -> None:
        deck = self.decks[name]
        if deck.seen:
            self.log.lists(name, *deck.clip)

    def lose(self, name: str) -> None:
        self.decks[name].seen = False
        self.log.loses(name)

    def back(self, name: str) -> None:
        self.decks[name].seen = True
        self.tell(name)

    def cut(self, name: str) -> None:
        """A cut of the running take, of whom it can reach; then its group has ended."""
        take = self.log.takes.open
        if take is not None:
            for one in list(take.rolling):
                if self.decks[one].seen:
                    self.stop(one)
            self.log.takes.close_unseen(take.number, NAMES)

    def die(self, name: str) -> None:
        """Killed and started again; then each deck in view is looked at."""
        self.before += self.log.records
        self.log = self.log.again(copy.deepcopy(self.before))
        for one in NAMES:
            self.tell(one)

    def mark(self, name: str) -> None:
        takes = self.log.takes
        if takes.takes:
            takes.mark(self.log.last.number, "ines", good=True)

    # -- what must be so

    def judge(self) -> None:
        takes = self.log.takes
        running = takes.open
        for name, deck in self.decks.items():
            lane = running.open_lane(name) if running is not None else None
            if deck.seen:
                assert (lane is not None) is deck.rolls, name
        numbers = list(takes.takes)
        assert numbers == sorted(set(numbers))
        assert takes.next_number == max(numbers, default=0) + 1
        for take in takes.takes.values():
            assert (take.closed is None) is (take is running)
            if take is not running:
                assert take.rolling == []
            elif all(deck.seen for deck in self.decks.values()):
                assert take.rolling
            for lanes in take.lanes.values():
                assert all(lane.ended is not None for lane in lanes[:-1])
        for name in NAMES:  # no clip stands in two lanes, unless it says that it goes on from the take before
            told = [
                lane.clip
                for take in takes.takes.values()
                for lane in take.lanes.get(name, ())
                if lane.clip and "still rolls" not in lane.note
            ]
            assert len(told) == len(set(told)), told

    def kept(self) -> None:
        """What the records tell is what the log tells, but for what is gone with a process."""
        again = Log()
        again.takes.restore([*self.before, *self.log.records])
        gone = {"spread": None, "for_s": None}
        assert [take.plain() | gone for take in again.takes.takes.values()] == [
            take.plain() | gone for take in self.log.takes.takes.values()
        ]


WHAT = ("press", "roll", "roll", "stop", "stop", "spill", "list", "list", "lose", "back", "back", "cut", "die", "mark")
steps = st.tuples(st.sampled_from(WHAT), st.sampled_from(NAMES), st.sampled_from([0.0, 0.0, 0.03, 0.2, 1.0, 7.0]))


@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.lists(steps, min_size=1, max_size=30))
def test_every_recording_in_view_is_in_the_take_that_runs(plan: list[tuple[str, str, float]]) -> None:
    @virtual
    async def story() -> None:
        stage = Stage(Log())
        for name in NAMES:
            stage.tell(name)
        for what, name, after_s in plan:
            getattr(stage, what)(name)
            stage.judge()
            await asyncio.sleep(after_s)
        await asyncio.sleep(1)
        stage.judge()
        stage.kept()

    story()
