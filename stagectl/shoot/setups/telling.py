"""What is there to say about a set-up's values? The words are `wording`'s; what is so is looked up here."""

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from stagectl.model.conditions import NO, UNKNOWN, YES
from stagectl.model.points import NEVER, Quality
from stagectl.shoot.keeper import Kept
from stagectl.shoot.setups import wording
from stagectl.shoot.setups.hold import Drift
from stagectl.shoot.setups.plan import Plan, Row
from stagectl.shoot.setups.setup import Wanted

if TYPE_CHECKING:
    from stagectl.shoot.house import House


class Telling:
    """Sentences about the set-ups of one house."""

    def __init__(self, house: "House") -> None:
        self._house = house

    def said(self, wanted: Wanted) -> str:
        """A wanted value as the subject of a sentence."""
        house = self._house
        name = wanted.spec.name
        if wanted.device == "paths" and (place := name.partition(".")[0]) in house.takes.recorders:
            name = f"{house.called(place)} input{name.removeprefix(place)}"  # a recorder's name means its input
        return wording.point(called=house.called(wanted.device), name=name, part=wanted.device in house.parts)

    def row(self, row: Row) -> str:
        """A row of a plan in a sentence; empty: it is as wanted."""
        spec = row.wanted.spec
        said, wanted = self.said(row.wanted), spec.say(row.wanted.value)
        shown = "" if row.value is None else spec.say(row.value)
        if row.truth is YES:
            return ""
        if row.by_hand:
            return wording.by_hand(said=said, seen=shown, wanted=wanted)
        if row.refused:
            return wording.left(said=said, seen=shown, wanted=wanted, why=row.refused, remedy=row.remedy)
        if row.truth is UNKNOWN:
            return wording.not_seen(said=said, seen=shown, wanted=wanted)
        return wording.differs(said=said, seen=shown, wanted=wanted)

    def plan(self, made: Plan) -> str:
        """A whole plan in a sentence or two."""
        return wording.whole(
            called=made.setup.called,
            differ=len(made.of(NO)),
            unknown=len(made.of(UNKNOWN)),
            by_hand=sum(row.by_hand for row in made.rows),
            left=sum(bool(row.refused) for row in made.rows),
            of=len(made.rows),
        )

    def drift(self, drift: Drift) -> str:
        """A drift in a sentence."""
        spec, house = drift.wanted.spec, self._house
        at = ""
        if drift.changed_at > NEVER:
            clock = house.world.clock
            at = house.teller.at(clock.wall() - timedelta(seconds=clock.now() - drift.changed_at))
        now = house.board.reading(drift.wanted.device, spec)
        seen = spec.say(now.value if now.quality is Quality.GOOD else drift.now)
        return wording.drifted(said=self.said(drift.wanted), wanted=spec.say(drift.was), now=seen, by=drift.by, at=at)

    def undoing(self, called: str, back: Sequence[Kept], left: Sequence[str]) -> str:
        """What an undo would do, in a sentence."""
        return wording.undoing(called=called, back=len(back), left=len(left))
