"""What may be corrected in a take once it is written, and what does it keep of how it was?

A rating, a slate, a mark: each correction is journalled with what it was, who changed it and when. Nothing is deleted:
a mark that should not be there is struck out.
"""

from collections import OrderedDict
from dataclasses import replace
from typing import Final

from stagectl.model.errors import RefusedError
from stagectl.model.world import Clock
from stagectl.shoot.take import Change, Mark, MarkKind, Take
from stagectl.shoot.takenumbers import Numbering, on_slate
from stagectl.shoot.takerecords import TakeRecords

CHANGES_MOST: Final = 500  # of one take


class Corrections:
    """Corrects takes, and writes down how they were.

    Args:
        takes: all that are in memory.
    """

    def __init__(
        self, takes: OrderedDict[int, Take], records: TakeRecords, clock: Clock, numbering: Numbering = Numbering.DAY
    ) -> None:
        self._takes = takes
        self._records = records
        self._clock = clock
        self._numbering = numbering

    def rate(self, number: int, who: str, *, good: bool) -> Take:
        """Rate a take good, or take that back. Raises RefusedError: no such take, or too often corrected."""
        take = self._found(number)
        if take.good is not good:
            self._keep(take, who, "good", _yes(take.good), _yes(good))
            take.good = good
            self._records.change_now(take)
        return take

    def slate(self, number: int, who: str, name: str, slate_take: int | None = None) -> Take:
        """Give a take another slate; `slate_take`: its number there, None: the next that is free.

        Raises:
            RefusedError: no such take, or too often corrected.
        """
        take = self._found(number)
        named = replace(take, name=name)
        if slate_take is not None:
            named.slate_take = slate_take
        elif name != take.name:
            others = [one for one in self._takes.values() if one is not take]
            named.slate_take = on_slate(named, others, self._numbering)
        if (named.name, named.slate_take) != (take.name, take.slate_take):
            self._keep(take, who, "slate", slated(take), slated(named))
            take.name, take.slate_take = named.name, named.slate_take
            self._records.change_now(take)
        return take

    def mark(
        self,
        number: int,
        place: int,
        who: str,
        *,
        kind: MarkKind | None = None,
        text: str | None = None,
        struck: bool | None = None,
    ) -> Take:
        """Change what mark `place` (from one) says, strike it out, or take that back; its moment and label stay.

        Raises:
            RefusedError: no such take or mark, a note without text, or too often corrected.
        """
        take = self._found(number)
        if not 1 <= place <= len(take.marks):
            say = f"Take {number} has no mark {place}."
            raise RefusedError(say, remedy=f"See: stagectl take {number}", code="mark")
        was = take.marks[place - 1]
        now = replace(
            was,
            kind=was.kind if kind is None else kind,
            text=was.text if text is None else text,
            struck=was.struck if struck is None else struck,
        )
        if now.kind is MarkKind.NOTE and not now.text:
            raise RefusedError("A note needs its text.", remedy="Strike it out instead.", code="argument")
        if now != was:
            self._keep(take, who, f"mark {place}", _says(was), _says(now))
            take.marks[place - 1] = now
            self._records.change_now(take, place - 1)
        return take

    def _found(self, number: int) -> Take:
        take = self._takes.get(number)
        if take is None:
            raise RefusedError(f"There is no take {number}.", code="take")
        return take

    def _keep(self, take: Take, who: str, what: str, was: str, now: str) -> None:
        if len(take.changes) >= CHANGES_MOST:
            say = f"Take {take.number} was corrected {CHANGES_MOST} times, and keeps no more."
            raise RefusedError(say, code="limit")
        take.changes.append(Change(what, was, now, who, self._clock.wall()))


def slated(take: Take) -> str:
    """Slate and number as people say it: "Masterclass 3, take 2"; empty: neither."""
    return ", ".join(filter(None, (take.name, f"take {take.slate_take}" if take.slate_take else "")))


def _yes(word: bool) -> str:
    return "yes" if word else "no"


def _says(mark: Mark) -> str:
    return ", ".join(filter(None, (mark.kind.value, mark.text, "struck out" if mark.struck else "")))
