"""How are takes written down, and read again after a restart?

A take has four kinds of records: its head (number, name, who, opened, closed, good), its lanes, its marks, and what was
corrected in it, with how the take is since then. Each says how the thing now is, so folding it twice does no harm.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any, Final

import structlog

from stagectl.control.chronicle import Chronicle, stamp
from stagectl.control.journal_lines import SENSELESS
from stagectl.model.late import PATIENCE_S, put_off
from stagectl.model.world import Clock
from stagectl.shoot.take import Change, Lane, Mark, Take, moment

LANES_S: Final = 0.05  # lanes wait this long to be written down together: no work of ours stands before a verdict
LANES_TOGETHER: Final = 128  # lanes in one record: 40 kB

log = structlog.get_logger()


class TakeRecords:
    """Writes down what changed of the takes, whole rolls at a time.

    Args:
        takes: all that are in memory, oldest first; restoring puts into it.
        finish: completes a lane just before it is written.
        written: called after each writing.
        proving: is a roll or cut being proved?
    """

    def __init__(
        self,
        clock: Clock,
        chronicle: Chronicle,
        takes: OrderedDict[int, Take],
        *,
        finish: Callable[[Lane], object],
        written: Callable[[], None],
        proving: Callable[[], bool] = lambda: False,
    ) -> None:
        self._clock = clock
        self._chronicle = chronicle
        self._takes = takes
        self._finish = finish
        self._written = written
        self._proving = proving
        self._dirty: dict[tuple[str, int], int] = {}  # recorder and take -> first lane to be written down
        self._heads: dict[int, None] = {}
        self._places: dict[tuple[int, str], list[int]] = {}  # of restored lanes: their numbers, some may be lost
        self._headed = 0  # the newest take of which a head was written
        self._heads_wait = False
        self._lanes_wait = False
        self._lanes_by = 0.0  # when they wait no more

    def slate(self, name: str) -> None:
        """The next take got this name."""
        self._chronicle.write("take", "", what="slate", name=name)

    def mark_now(self, take: Take) -> None:
        """Write its newest mark now, behind what waits: no mark stands before its take."""
        if self._heads:
            self._write()
        place, mark = len(take.marks) - 1, take.marks[-1]
        self._chronicle.write("take", mark.who, what="mark", take=take.number, i=place, mark=mark.plain())

    def change_now(self, take: Take, place: int | None = None) -> None:
        """Write its newest correction now, behind what waits; `place`: of the mark that was corrected, from 0."""
        if self._heads:
            self._write()
        number, change = len(take.changes) - 1, take.changes[-1]
        after = {"name": take.name, "slate_take": take.slate_take, "good": take.good}
        mark = {"mark": take.marks[place].plain(), "place": place} if place is not None else {}
        told = {"change": change.plain(), **after, **mark}
        self._chronicle.write("take", change.who, what="change", take=take.number, i=number, **told)
        self._written()

    def head_soon(self, take: Take) -> None:
        """Write at the end of this turn of the loop that it opened, closed or was marked."""
        self._heads[take.number] = None
        if not self._heads_wait:
            self._heads_wait = True
            self._clock.later(self._clock.now(), self._write)

    def lane_soon(self, device: str, take: Take) -> None:
        """The newest lane of that recorder changed: write it down in a moment, with the others of its roll."""
        newest = len(take.lanes[device]) - 1
        self._dirty[device, take.number] = min(newest, self._dirty.get((device, take.number), newest))
        self.lanes_soon()

    def lanes_soon(self) -> None:
        """Write down and show in a moment what is known of lanes."""
        if not self._lanes_wait:
            self._lanes_wait, now = True, self._clock.now()
            self._lanes_by = now + PATIENCE_S
            self._lanes_at(now + LANES_S)

    def _lanes_at(self, at: float) -> None:
        self._clock.later(at, partial(self._lanes_due, at))

    def _lanes_due(self, due: float) -> None:
        """Write the lanes down, once the answer to the roll has left."""
        if not self._lanes_wait:
            return  # written meanwhile, before the end of their take
        now = self._clock.now()
        many = len(self._dirty) > LANES_TOGETHER
        if put_off(now - due, before=now >= self._lanes_by, proving=many and self._proving()):
            self._lanes_at(now + LANES_S)
        else:
            self._write_lanes()

    def _write(self) -> None:
        self._heads_wait = False
        heads, self._heads = self._heads, {}
        takes = [take for number in heads if (take := self._takes.get(number)) is not None]
        new = [take for take in takes if take.number > self._headed]
        for take in new:  # no lane stands before its take
            self._write_head(take)
            self._headed = take.number
        last = next(reversed(self._takes.values()), None)
        if self._dirty and (last is None or last.closed is not None):
            self._write_lanes()  # how its lanes ended stands before the end of the take
        for take in takes:
            if take not in new or take.closed is not None:
                self._write_head(take)
        self._written()

    def _write_lanes(self) -> None:
        self._lanes_wait = False
        dirty, self._dirty = self._dirty, {}
        by_take: dict[int, list[dict[str, Any]]] = {}
        for (device, number), first in dirty.items():
            take = self._takes.get(number)
            if take is None or device not in take.lanes:
                continue
            lanes = take.lanes[device]
            self._finish(lanes[-1])
            for at in range(first, len(lanes)):
                by_take.setdefault(number, []).append(lanes[at].plain() | {"i": self._place(number, device, at)})
        for number, plain in by_take.items():
            for at in range(0, len(plain), LANES_TOGETHER):
                some = plain[at : at + LANES_TOGETHER]
                self._chronicle.write("take", self._takes[number].by, what="lanes", take=number, lanes=some)
        self._written()

    def _write_head(self, take: Take) -> None:
        self._chronicle.write(
            "take",
            take.by,
            what="head",
            take=take.number,
            name=take.name,
            by=take.by,
            opened=stamp(take.opened),
            closed=stamp(take.closed) if take.closed else None,
            wanted=list(take.wanted),
            good=take.good,
            unseen=list(take.unseen),
            slate_take=take.slate_take,
        )

    # -- after a restart ------------------------------------------------------------------------------------------

    def restore(
        self, records: Iterable[Mapping[str, Any]], recorders: Mapping[str, str], *, stands: bool = False
    ) -> str:
        """Fold the data of `take` records, oldest first, into the takes; what is no recorder of ours is left out.

        `stands`: the name of the next take is a slate, and stands for more takes than one.

        A record that makes no sense, though its sums are right, is left out whole and logged.

        Returns: the name that is set for the next take.
        """
        slate = ""
        for data in records:
            try:
                match data.get("what"):
                    case "slate":
                        slate = str(data["name"])
                    case "head":
                        if self._restore_head(data) and not stands:
                            slate = ""  # that take got the name
                    case "mark":
                        self._restore_mark(data)
                    case "change":
                        self._restore_change(data)
                    case "lanes":
                        self._restore_lanes(data, recorders)
            except SENSELESS as error:
                log.warning("take_record_left_out", why=repr(error))
        self._headed = max(self._takes, default=0)
        return slate

    def _restore_head(self, data: Mapping[str, Any]) -> bool:
        """Returns: the take was not known before. Raises SENSELESS: nothing was changed."""
        number, name, by = int(data["take"]), str(data.get("name", "")), str(data.get("by", ""))
        wanted = tuple(map(str, data.get("wanted", ())))
        notes = [Mark.read_note(str(note)) for note in data.get("notes", ())]  # of earlier versions
        unseen = tuple(map(str, data.get("unseen", ())))
        closed = moment(data["closed"]) if data.get("closed") else None
        opened, slate_take = moment(data["opened"]), int(data.get("slate_take", 0))
        if number < 1:
            raise ValueError(f"{number} is no number of a take")
        take = self._takes.get(number)
        if new := take is None:
            age = (self._clock.wall() - opened).total_seconds()
            take = self._takes[number] = Take(number, "", opened, self._clock.now() - age)
        take.name, take.by, take.good = name, by, bool(data.get("good"))
        take.wanted, take.unseen, take.closed, take.slate_take = wanted, unseen, closed, slate_take
        take.marks[: len(notes)] = notes
        return new

    def _restore_mark(self, data: Mapping[str, Any]) -> None:
        """Raises SENSELESS: nothing was changed."""
        take, place, mark = self._takes.get(int(data["take"])), int(data["i"]), Mark.read(data["mark"])
        if place < 0:
            raise ValueError(f"{place} is no place of a mark")
        if take is not None:
            take.marks[place : place + 1] = [mark]  # where earlier ones were lost it goes to the end

    def _restore_change(self, data: Mapping[str, Any]) -> None:
        """Raises SENSELESS: nothing was changed."""
        take, number, change = self._takes.get(int(data["take"])), int(data["i"]), Change.read(data["change"])
        name, slate_take, good = str(data["name"]), int(data["slate_take"]), bool(data["good"])
        mark, place = (Mark.read(data["mark"]), int(data["place"])) if "mark" in data else (None, 0)
        if min(number, place) < 0:
            raise ValueError(f"{min(number, place)} is no place")
        if take is None:
            return
        take.changes[number : number + 1] = [change]
        take.name, take.slate_take, take.good = name, slate_take, good
        if mark is not None:
            take.marks[place : place + 1] = [mark]

    def _restore_lanes(self, data: Mapping[str, Any], recorders: Mapping[str, str]) -> None:
        """Raises SENSELESS: nothing was changed."""
        take = self._takes.get(int(data["take"]))
        if take is None:
            return
        found = [(int(plain.get("i", 0)), Lane.read(plain)) for plain in data["lanes"] if plain["device"] in recorders]
        for place, lane in found:
            lanes = take.lanes.setdefault(lane.device, [])
            places = self._places.setdefault((take.number, lane.device), [])
            if place in places:
                lanes[places.index(place)] = lane
            else:
                lanes.append(lane)
                places.append(place)

    def _place(self, number: int, device: str, at: int) -> int:
        """The number that lane `at` has in the journal: where earlier ones were lost it is higher than its place."""
        places = self._places.get((number, device), ())
        return places[at] if at < len(places) else at - len(places) + max(places, default=-1) + 1
