"""What is one press? A group of commands with a verdict each; the group's is the worst one plus a count."""

import asyncio
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from stagectl.control.access import Person
from stagectl.control.ramps import Ramp
from stagectl.driverkit.asked import Prepared
from stagectl.driverkit.box import Box
from stagectl.model.conditions import Truth, Watch
from stagectl.model.points import Flags
from stagectl.model.verbs import WORST_FIRST, Ask, Ended, Verdict


@dataclass(slots=True, eq=False)
class Command:
    """One ask on its way from heard to verdict.

    Attributes:
        box: None for a house part's own effect, which sends nothing.
        place: which verb of `prepared` is its own.
        person: who asks; None while it is only kept warm.
        acted_at: when its house part did what it does.
        watch: follows the effect from the moment the bytes left.
        sent_at: when they did; None: not (yet).
        verdict: final once set.
        said_no: the box refused in these words; one more look decides.
        twins: later asks for the very same thing, which share this verdict.
        joined: it is such a twin; its own watch only says what was seen since it was asked.
    """

    ask: Ask
    box: Box | None = None
    prepared: Prepared | None = None
    place: int = 0
    person: Person | None = None
    acted_at: float = 0.0
    watch: Watch | None = None
    armed_at: float = 0.0
    sent_at: float | None = None
    deadline_at: float = float("inf")
    looking: bool = False  # it was so already: a look instead of the verb
    relaunched: bool = False  # ...but the look said no: it goes out now, once
    said_no: str = ""
    ramp: Ramp | None = None
    verdict: Verdict | None = None
    twins: "list[Command]" = field(default_factory=list)
    joined: bool = False
    group: "Group | None" = None

    @property
    def names(self) -> tuple[str, ...]:
        """The points of the effect, for looking."""
        return tuple(dict.fromkeys(leaf.spec.name for leaf in self.ask.verb.effect().leaves()))

    def rest(self) -> None:
        """Long after its verdict: keep that alone, and let go of what was needed to get it."""
        self.prepared = self.watch = self.ramp = self.person = None
        self.twins = []

    @property
    def first(self) -> bool:
        """It has right of way."""
        return Flags.FIRST in self.ask.verb.flags()

    @property
    def truth(self) -> Truth:
        """What the effect shows now."""
        return Truth.UNKNOWN if self.watch is None else self.watch.truth


@dataclass(slots=True, eq=False)
class Group:
    """Commands that were asked with one press.

    Attributes:
        id: given by the caller or made; the same id is never carried out twice.
        say: the wish in words: "roll all", "set paths iso-1 shows to wide".
        content: what was asked, to tell a repeated id from a misused one.
        number: the journal's number of its line.
        durable: False when the journal could not be synced.
        take: the take it starts or ends.
        source: where it was asked from, such as "127.0.0.1 http"; empty: not known.
        to_come: commands of later stages, lowest first.
        leave_by: when the time of what has not left yet is over; inf: it leaves at once.
        under_way: the stage before them.
    """

    id: str
    who: str
    inlet: str
    verb: str
    say: str
    content: str
    born: float
    commands: list[Command] = field(default_factory=list)
    number: int = 0
    durable: bool | None = None
    take: int | None = None
    args: dict[str, Any] = field(default_factory=dict)
    source: str = ""
    open: int = 0
    ended_at: float | None = None
    to_come: "list[list[Command]]" = field(default_factory=list)
    leave_by: float = float("inf")
    under_way: "list[Command]" = field(default_factory=list)
    on_end: "list[Callable[[Group], None]]" = field(default_factory=list)
    _done: asyncio.Event = field(default_factory=asyncio.Event)

    def begin(self, commands: Sequence[Command]) -> None:
        """These are what it comes to; each one that is refused or ends counts itself off."""
        self.commands = list(commands)
        self.open = len(self.commands)

    @property
    def ended(self) -> bool:
        """Every command has its verdict."""
        return self.ended_at is not None

    def stages(self, of: "Iterable[Command]") -> "list[list[Command]]":
        """Some of its commands, parted by stage, lowest first; one list if nothing waits for anything."""
        found: dict[int, list[Command]] = {}
        for command in of:
            found.setdefault(command.ask.stage, []).append(command)
        return [found[stage] for stage in sorted(found)]

    @property
    def verdicts(self) -> Sequence[Verdict]:
        """In the order asked; only of commands that ended."""
        return [command.verdict for command in self.commands if command.verdict is not None]

    @property
    def worst(self) -> Ended | None:
        """The group's verdict; None: not all ended. A group of nothing failed."""
        if not self.ended:
            return None
        ends = {verdict.ended for verdict in self.verdicts}
        return next((ended for ended in WORST_FIRST if ended in ends), Ended.FAILED)

    @property
    def count(self) -> str:
        """How many ended well, of all: "4 of 5"."""
        well = sum(verdict.ended in (Ended.VERIFIED, Ended.SENT) for verdict in self.verdicts)
        return f"{well} of {len(self.commands)}"

    @property
    def told(self) -> dict[str, list[Any]]:
        """For the journal: target -> [verdict, why, seconds]; of several commands for one target the worst."""
        told: dict[str, Verdict] = {}
        for command in self.commands:
            verdict, target = command.verdict, command.ask.target
            if verdict is not None:
                other = told.get(target)
                if other is None or WORST_FIRST.index(verdict.ended) < WORST_FIRST.index(other.ended):
                    told[target] = verdict
        return {target: [str(one.ended), one.why, round(one.after_s, 4)] for target, one in told.items()}

    def finish(self, now: float) -> None:
        """All verdicts are in."""
        self.ended_at = now
        self._done.set()
        for tell in self.on_end:
            tell(self)

    def rest(self) -> None:
        """Long after its end: keep what it came to, which whoever repeats its id is told."""
        self.on_end.clear()
        for command in self.commands:
            command.rest()

    async def wait(self, deadline_s: float) -> bool:
        """Wait for the last verdict. False: not within `deadline_s`; the group goes on."""
        if self.ended:
            return True
        try:
            async with asyncio.timeout(deadline_s):
                await self._done.wait()
        except TimeoutError:
            return self.ended
        return True
