"""What is one alarm: what stands, who knows, what was put aside; and how many came in which time?"""

from collections import deque
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import takewhile
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.model.conditions import UNKNOWN, Truth, Watch
from stagectl.model.world import Handle
from stagectl.shoot.alarmrules import Rule

GRADES: Final = ("now", "soon", "later")
WINDOW_S: Final = 600.0  # rates are counted over ten minutes
FLOOD: Final = 10  # more in ten minutes is a flood
CHATTER: Final = 3  # times in CHATTER_S
CHATTER_S: Final = 60.0
OLD_S: Final = 86_400.0  # an alarm that stands for a day is stale
REMEMBERED: Final = 10_000


@dataclass(frozen=True, slots=True)
class Aside:
    """An alarm was put aside: until when, by whom, why. `at`: its end on the monotonic clock."""

    until: datetime
    at: float
    by: str
    reason: str


@dataclass(slots=True, eq=False)
class Alarm:
    """One thing that can be wrong, whether it is now or not.

    Attributes:
        id: for addresses and topics: "iso-1.no-input", "stagectl.journal", "net-10.0.5.unreached".
        device: empty: the daemon itself, or a cause behind several devices.
        number: short name of its newest occurrence, for a terminal; 0: never told.
        truth: of its condition now; not known while it stands: it is kept.
        standing: it is on, until it was gone for the rule's time.
        told: it was written down. headed: as news by itself, so that it was counted and has its number.
        back: it is over and nobody has seen it.
        since: when it came, UTC; `since_at` on the monotonic clock.
        ended: when it was over.
        level: how many of the rule's steps are met.
        grade: of its newest occurrence.
        known_by: who said "I know"; empty: nobody.
        under: id of the alarm that is its cause; empty: it stands for itself.
        under_it: ids of those that have this one as their cause.
        text: the sentence for the daemon's own; of others the newest sentence and remedy that were told.
    """

    id: str
    rule: Rule
    device: str = ""
    number: int = 0
    truth: Truth = UNKNOWN
    standing: bool = False
    told: bool = False
    headed: bool = False
    back: bool = False
    since: datetime | None = None
    since_at: float = 0.0
    ended: datetime | None = None
    lasted_s: float = 0.0
    level: int = 0
    grade: str = "soon"
    known_by: str = ""
    under: str = ""
    under_it: tuple[str, ...] = ()
    aside: Aside | None = None
    text: str = ""
    remedy: str = ""
    take: int | None = None
    watches: tuple[Watch, ...] = ()
    on_truth: "Callable[[Alarm, Truth], None] | None" = None  # told when its condition turns
    leaving: Handle | None = None  # runs while it is gone, until that counts as over
    aside_ends: Handle | None = None

    def turned(self, truth: Truth) -> None:
        """Its condition is another one: for its watch, since a function for each of thousands would weigh more."""
        assert self.on_truth is not None
        self.on_truth(self, truth)

    @property
    def state(self) -> str:
        """One word: "on", "known", "aside", "back" (over, but nobody has seen it) or "off"."""
        if self.aside is not None:
            return "aside"
        if self.standing:
            return "known" if self.known_by else "on"
        return "back" if self.back else "off"

    @property
    def kept(self) -> bool:
        """It stands, but what it rests on is not known at present."""
        return self.standing and self.truth is UNKNOWN

    @property
    def gone(self) -> bool:
        """It is not so now, though it may come back at once."""
        return not self.standing or self.leaving is not None

    def plain(self) -> dict[str, Any]:
        """As JSON holds it, without its words."""
        return {
            "id": self.id,
            "number": self.number,
            "device": self.device,
            "is": self.state,
            "grade": self.grade,
            "kept": self.kept,
            "clearing": self.leaving is not None,
            "since": stamp(self.since) if self.since is not None else None,
            "ended": stamp(self.ended) if self.ended is not None and not self.standing else None,
            "known_by": self.known_by,
            "aside": {"until": stamp(self.aside.until), "by": self.aside.by, "reason": self.aside.reason}
            if self.aside is not None
            else None,
            "under": self.under,
            "under_it": list(self.under_it),
            "take": self.take,
        }


@dataclass(frozen=True, slots=True)
class Rates:
    """How many alarms there are, counted as ISA-18.2 does (from memory): what an operator was told, causes only.

    Attributes:
        ten_minutes: told in the last ten minutes; one or two are well, more than ten are a flood.
        worst: the most in any ten minutes since start.
        now, soon, later: shares of all told since start, by count.
        standing: on now. aside: put aside now. back: over and not seen.
        stale: standing for more than a day.
        chattering: ids of those told three times or more within a minute.
    """

    ten_minutes: int
    flood: bool
    worst: int
    total: int
    now: int
    soon: int
    later: int
    standing: int
    aside: int
    back: int
    stale: int
    chattering: list[str]

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return asdict(self)


class Tally:
    """Counts what was told."""

    def __init__(self) -> None:
        self._told: deque[tuple[float, str]] = deque(maxlen=REMEMBERED)
        self._grades = dict.fromkeys(GRADES, 0)
        self._worst = 0
        self._chatter: dict[str, float] = {}

    def count(self, alarm: Alarm, now: float) -> None:
        """An alarm became news."""
        self._told.append((now, alarm.id))
        self._grades[alarm.grade] += 1
        self._worst = max(self._worst, self._since(now - WINDOW_S))
        minute = takewhile(lambda told: told[0] > now - CHATTER_S, reversed(self._told))
        recent = sum(one == alarm.id for _, one in minute)
        if recent >= CHATTER:
            self._chatter[alarm.id] = now

    def _since(self, at: float) -> int:
        return sum(1 for _ in takewhile(lambda told: told[0] > at, reversed(self._told)))

    def rates(self, alarms: "list[Alarm]", now: float) -> Rates:
        """All counts now."""
        ten = self._since(now - WINDOW_S)
        shown = [alarm for alarm in alarms if alarm.standing and not alarm.under]
        return Rates(
            ten_minutes=ten,
            flood=ten > FLOOD,
            worst=self._worst,
            total=sum(self._grades.values()),
            now=self._grades["now"],
            soon=self._grades["soon"],
            later=self._grades["later"],
            standing=sum(alarm.aside is None for alarm in shown),
            aside=sum(alarm.aside is not None for alarm in alarms),
            back=sum(alarm.state == "back" for alarm in alarms),
            stale=sum(now - alarm.since_at > OLD_S for alarm in shown),
            chattering=[one for one, at in self._chatter.items() if now - at < WINDOW_S],
        )
