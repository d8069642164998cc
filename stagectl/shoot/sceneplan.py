"""What would a scene do now? Every change and every end of a take, and nothing is sent.

Judged by what is seen now: a later step may find the house changed by an earlier one. Ways alone are planned one after
another, as they would take tie-lines.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from stagectl.control.access import Person, may
from stagectl.model.conditions import YES, Condition, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags, Quality
from stagectl.model.verbs import Ask, Set
from stagectl.shoot.house import House
from stagectl.shoot.scene import Check, Do, Scene, SetPoints, Step, WaitFor
from stagectl.shoot.sceneacts import expand, trial, wishes_of


@dataclass(frozen=True, slots=True)
class Change:
    """One act that a step comes to.

    Attributes:
        device: device or part.
        say: in words: "set output 3 source to 5", "roll T012_iso-1".
        point, seen, quality, wanted: of a Set; empty for other verbs. `seen` and `wanted` as people read them.
        moot: it is so already; nothing would be sent.
        ends_take: number of the take it would end; None: none.
        loud, moves: what it does to the room.
        refused: why it would be refused now; empty: it would not.
        heading: a house part's own point; the changes that bring it about stand behind it.
    """

    device: str
    say: str
    point: str = ""
    seen: str = ""
    quality: str = ""
    wanted: str = ""
    moot: bool = False
    ends_take: int | None = None
    loud: bool = False
    moves: bool = False
    refused: str = ""
    heading: bool = False

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(slots=True)
class PlanRow:
    """One step: `truth` of its claim now ("" if it makes none), `only_if` likewise, its changes, why it is refused."""

    number: str
    say: str
    truth: str = ""
    only_if: str = ""
    changes: list[Change] = field(default_factory=list)
    refused: str = ""

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "step": self.number,
            "say": self.say,
            "truth": self.truth,
            "only_if": self.only_if,
            "changes": [change.plain() for change in self.changes],
            "refused": self.refused,
        }


@dataclass(slots=True)
class Plan:
    """A dry run."""

    scene: str
    args: dict[str, str]
    rows: list[PlanRow]

    @property
    def changes(self) -> list[Change]:
        """Every change of every step, in order."""
        return [change for row in self.rows for change in row.changes]

    @property
    def ends(self) -> list[int]:
        """Takes it would end."""
        return list(dict.fromkeys(one.ends_take for one in self.changes if one.ends_take is not None))

    @property
    def loud(self) -> bool:
        return any(change.loud and not change.moot for change in self.changes)

    @property
    def moves(self) -> bool:
        return any(change.moves and not change.moot for change in self.changes)

    @property
    def say(self) -> str:
        """The whole in a sentence, such as: roll-all would make 5 changes."""
        count = sum(not change.moot and not change.heading for change in self.changes)
        ends = "".join(f" It ends take {number}." for number in self.ends)
        loud = " It may be loud." if self.loud else ""
        moves = " Something moves: stand clear." if self.moves else ""
        return f"{self.scene} would make {count} {'change' if count == 1 else 'changes'}.{ends}{loud}{moves}"

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "scene": self.scene,
            "args": self.args,
            "say": self.say,
            "steps": [row.plain() for row in self.rows],
            "ends": self.ends,
            "loud": self.loud,
            "moves": self.moves,
        }


def plan(house: House, scene: Scene, person: Person) -> Plan:
    """What a scene would do for this person, by what is seen now."""
    with trial(house):
        rows = [_row(house, scene, person, step) for step in scene.every_step()]
    if scene.ends is not None:
        rows.append(PlanRow("end", f"ends with {scene.ends_say}", _truth(house, scene.ends)))
    return Plan(scene.name, dict(scene.given), rows)


def _row(house: House, scene: Scene, person: Person, step: Step) -> PlanRow:
    row = PlanRow(step.head.number, step.head.say)
    if step.head.only_if is not None:
        row.only_if = _truth(house, step.head.only_if)
    if isinstance(step, (Check, WaitFor)):
        row.truth = _truth(house, step.claim)
    elif isinstance(step, (SetPoints, Do)):
        try:
            for wish in wishes_of(house, scene.name, person, step, ""):
                row.changes += _changes(house, person, expand(house, wish))
        except RefusedError as refused:
            row.refused = " ".join(filter(None, [str(refused), refused.remedy]))
    return row


def _truth(house: House, claim: Condition) -> str:
    return str(judge(house.board, claim))


def _changes(house: House, person: Person, asks: Sequence[Ask]) -> list[Change]:
    found = []
    for ask in asks:
        verb, flags = ask.verb, ask.verb.flags()
        point, seen, quality, wanted = "", "", "", ""
        if isinstance(verb, Set):
            reading = house.board.reading(ask.target, verb.point)
            point, wanted = verb.point.name, verb.point.say(verb.value)
            seen, quality = verb.point.say(reading.value), str(reading.quality)
        moot = judge(house.board, verb.moot(), ask.target) is YES
        found.append(
            Change(
                ask.target,
                verb.say(),
                point,
                seen,
                quality if quality != Quality.GOOD else "",
                wanted,
                moot,
                ends_take=ask.take if Flags.ENDS_TAKE in flags else None,
                loud=Flags.LOUD in flags,
                moves=Flags.MOVES in flags,
                refused=_refused(house, person, ask),
                heading=ask.target in house.parts and len(asks) > 1,
            )
        )
    return found


def _refused(house: House, person: Person, ask: Ask) -> str:
    try:
        may(person, ask, house.commands.locks, house.commands.limits)
        if (guard := house.commands.guards.get(type(ask.verb))) is not None:
            guard(ask)
    except RefusedError as refused:
        return str(refused)
    return ""
