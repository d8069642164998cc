"""What is worth an alarm? Conditions over points, for every kind of box and as the site file adds them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from stagectl.model.capabilities.base import HEALTH, Capability, Doubt, Health
from stagectl.model.capabilities.recorder import (
    INPUT_PRESENT,
    RECORDER,
    SLOT_ACTIVE,
    SLOT_LEFT,
    TRANSPORT,
    Roll,
    Transport,
)
from stagectl.model.conditions import All, Condition, Not, every, some
from stagectl.shoot.clock.part import STATE, ClockState
from stagectl.site import AlarmEntry
from stagectl.site.words import slug_of

OFF_S: Final = 3.0  # gone for this long counts as over; shorter is the same alarm, so that nothing chatters; own choice
LOW_S: Final = (1800.0, 600.0, 180.0)  # a medium that is full sooner while it records; reliability goal D03
SLOTS: Final = (1, 2)

LEFT_ALONE: Final = "left-alone"
UNREACHED: Final = "unreached"
NOT_ROLLED: Final = "not-rolled"
STOPPED: Final = "stopped"
CANNOT_ROLL: Final = "cannot-roll"
FILLING: Final = "filling"
NO_INPUT: Final = "no-input"
FREE_CLOCK: Final = "free-clock"
FREE_S: Final = 5.0  # a clock must be proven free for so long; own choice: one bad answer is no drift
_GONE: Final = (LEFT_ALONE, UNREACHED)
_IN_TAKE: Final = (STOPPED, NOT_ROLLED)


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that can be wrong with a device.

    Attributes:
        name: with the device's id it makes the alarm's: "iso-1.no-input".
        grade: "now": a take is in danger or someone must act at once; "soon": it will become so; "later".
        when: the condition; None: the house tells it, from the take log.
        in_take: the grade while the device belongs to the running take.
        off_s: how long it must be gone until it is over.
        behind: names of rules of the same device that are the cause of this one while both stand.
        steps: further conditions; each that is yes makes it worse, and news again. The last one is "now".
        says, remedy: of the site's own ones; "{called}" is the device.
    """

    name: str
    grade: str
    when: Condition | None
    in_take: str = ""
    off_s: float = OFF_S
    behind: tuple[str, ...] = ()
    steps: tuple[Condition, ...] = ()
    says: str = ""
    remedy: str = ""

    @property
    def points(self) -> frozenset[str]:
        """Names of the points it looks at."""
        return frozenset(leaf.spec.name for leaf in self.when.leaves()) if self.when is not None else frozenset()


def rules_of(kind: Capability, own: Iterable[AlarmEntry] = ()) -> list[Rule]:
    """The rules for one device: what every box has, what its kind adds, what the site file adds. Causes first."""
    rules = [
        Rule(LEFT_ALONE, "soon", None, "now", off_s=0),
        Rule(UNREACHED, "soon", HEALTH.is_(Health.FAILED), "now", behind=(LEFT_ALONE,)),
    ]
    doubts = [_doubted(doubt) for doubt in kind.doubts]
    rules.extend(doubts)
    if kind is RECORDER:
        rules.extend(_of_recorder([rule.name for rule in doubts]))
    built_in = list(rules)
    for entry in own:
        names = tuple(rule.name for rule in built_in if entry.points and entry.points <= rule.points)
        rules.append(
            Rule(
                entry.name,
                entry.grade,
                entry.when,
                behind=(*_GONE, *names),
                says=entry.says,
                remedy=entry.remedy,
            )
        )
    return rules


def _doubted(doubt: Doubt) -> Rule:
    return Rule(doubt_name(doubt), "soon", doubt.when, "now", behind=_GONE, says=doubt.says)


def doubt_name(doubt: Doubt) -> str:
    """What an alarm about a doubt is called."""
    return doubt.name or slug_of(doubt.says)


def _of_recorder(doubts: list[str]) -> list[Rule]:
    rolls = TRANSPORT.is_(Transport.RECORDING)
    low = [every(rolls, _left(seconds)) for seconds in LOW_S]
    return [
        Rule(STOPPED, "now", None, off_s=0, behind=_GONE),
        Rule(NOT_ROLLED, "now", None, off_s=0, behind=(*_GONE, STOPPED, *doubts)),
        Rule(FILLING, "soon", low[0], behind=_GONE, steps=tuple(low[1:])),
        Rule(NO_INPUT, "soon", INPUT_PRESENT.is_(False), behind=(*_GONE, *_IN_TAKE)),
        Rule(
            CANNOT_ROLL,
            "soon",
            All((TRANSPORT.is_not(Transport.RECORDING), Not(Roll().needs()))),
            behind=(*_GONE, *_IN_TAKE, *doubts),
        ),
    ]


def _left(seconds: float) -> Condition:
    """The medium it records on is full within `seconds`."""
    return some(*(every(SLOT_ACTIVE.is_(slot), SLOT_LEFT.at(slot).at_most(seconds)) for slot in SLOTS))


def by_device(kinds: Mapping[str, Capability], own: Iterable[AlarmEntry]) -> dict[str, list[Rule]]:
    """The rules of every device, in the site's order."""
    entries: dict[str, list[AlarmEntry]] = {name: [] for name in kinds}
    for entry in own:
        entries[entry.device].append(entry)
    usual = {kind.kind: rules_of(kind) for kind in kinds.values()}  # shared by all devices of a kind that add none
    return {
        name: [
            *(rules_of(kind, entries[name]) if entries[name] else usual[kind.kind]),
            *([_of_clock(name)] if kind is RECORDER else ()),
        ]
        for name, kind in kinds.items()
    }


def _of_clock(device: str) -> Rule:
    """A recorder whose labels run away from the others': nobody sees it on any front, and the edit is apart."""
    return Rule(
        FREE_CLOCK,
        "soon",
        STATE.at(device).is_(ClockState.FREE).on("clock").lasting(FREE_S),
        behind=_GONE,
        says="{called} runs on a clock of its own: its timecode drifts away from the others.",
        remedy="Set its timecode input to the house's, and look at the cable. To see by how much: stagectl clock",
    )
