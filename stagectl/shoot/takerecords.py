"""How are takes written down, and read again after a restart?

A take has two kinds of records: its head (number, name, who, opened, closed, marks), and its lanes. Each says how the
thing now is, not what changed, so folding the same record twice does no harm.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from stagectl.control.chronicle import Chronicle, stamp
from stagectl.model.world import Clock
from stagectl.shoot.take import Lane, Take

LANES_S: Final = 0.05  # lanes wait this long to be written down together: no work of ours stands before a verdict
LANES_TOGETHER: Final = 128  # lanes in one record: 40 kB


class TakeRecords:
    """Writes down what changed of the takes, whole rolls at a time.

    Args:
        takes: all that are in memory, oldest first; restoring puts into it.
        finish: completes a lane just before it is written.
        written: called after each writing.
    """

    def __init__(
        self,
        clock: Clock,
        chronicle: Chronicle,
        takes: OrderedDict[int, Take],
        *,
        finish: Callable[[Lane], object],
        written: Callable[[], None],
    ) -> None:
        self._clock = clock
        self._chronicle = chronicle
        self._takes = takes
        self._finish = finish
        self._written = written
        self._dirty: dict[tuple[str, int], int] = {}  # recorder and take -> first lane to be written down
        self._heads: dict[int, None] = {}
        self._headed = 0  # the newest take of which a head was written
        self._heads_wait = False
        self._lanes_wait = False

    def slate(self, name: str) -> None:
        """The next take got this name."""
        self._chronicle.write("take", "", what="slate", name=name)

    def head_now(self, take: Take) -> None:
        """Write its head now, with what waits."""
        self._heads[take.number] = None
        self._write()

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
            self._lanes_wait = True
            self._clock.later(self._clock.now() + LANES_S, self._write_lanes)

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
                by_take.setdefault(number, []).append(lanes[at].plain() | {"i": at})
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
            notes=take.notes,
            unseen=list(take.unseen),
        )

    # -- after a restart ------------------------------------------------------------------------------------------

    def restore(self, records: Iterable[Mapping[str, Any]], recorders: Mapping[str, str]) -> str:
        """Fold the data of `take` records, oldest first, into the takes; what is no recorder of ours is left out.

        Returns: the name that is set for the next take.
        """
        slate = ""
        for data in records:
            match data.get("what"):
                case "slate":
                    slate = str(data["name"])
                case "head":
                    if int(data["take"]) not in self._takes:
                        slate = ""  # that take got the name
                    self._restore_head(data)
                case "lanes":
                    for plain in data["lanes"]:
                        if plain.get("device") in recorders:
                            self._restore_lane(int(data["take"]), plain)
        self._headed = max(self._takes, default=0)
        return slate

    def _restore_head(self, data: Mapping[str, Any]) -> None:
        from_text = type(self._clock.wall()).fromisoformat
        number = int(data["take"])
        take = self._takes.get(number)
        if take is None:
            opened = from_text(data["opened"])
            age = (self._clock.wall() - opened).total_seconds()
            take = self._takes[number] = Take(number, "", opened, self._clock.now() - age)
        take.name, take.by, take.good = str(data["name"]), str(data["by"]), bool(data["good"])
        take.wanted, take.notes = tuple(data["wanted"]), list(data["notes"])
        take.unseen = tuple(data.get("unseen", ()))
        take.closed = from_text(data["closed"]) if data.get("closed") else None

    def _restore_lane(self, number: int, plain: Mapping[str, Any]) -> None:
        take = self._takes.get(number)
        if take is None:
            return
        index = int(plain.get("i", 0))
        lanes = take.lanes.setdefault(plain["device"], [])
        lane = Lane.read({key: value for key, value in plain.items() if key != "i"})
        if index < len(lanes):
            lanes[index] = lane
        else:
            lanes.append(lane)
