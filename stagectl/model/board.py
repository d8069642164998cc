"""What do we know now: every point of every device, one revision counter, one writer a device.

`put` is O(1). The same raw value bumps no revision but renews its times and tells watches, for otherwise a
standing timecode could never be seen to stand. Slots live for ever: declared again after a reconnect they keep
their revision and their watches.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, TypeVar

from stagectl.model.conditions import Condition, Truth, Watch
from stagectl.model.late import PATIENCE_S
from stagectl.model.points import NEVER, Author, Flags, PointSpec, Poked, Quality, Reading
from stagectl.model.world import Clock

T = TypeVar("T")
LAZY_S: Final = 0.05  # one tick of the pages: alarms, health and locks need not be told sooner
LAZY_SLICE: Final = 64  # of them in one turn of the loop: a thousand boxes may turn at once


class View:
    """Readings changed since the last `take`, newest only: its bound is the number of points."""

    __slots__ = ("_dirty", "wake")

    def __init__(self, wake: Callable[[], None] | None) -> None:
        self._dirty: dict[Reading[Any], None] = {}
        self.wake = wake

    def mark(self, reading: Reading[Any]) -> None:
        if not self._dirty and self.wake is not None:
            self.wake()
        self._dirty[reading] = None

    @property
    def waiting(self) -> bool:
        """Something changed since the last `take`: it won't wake anybody again before the next one."""
        return bool(self._dirty)

    def take(self) -> list[Reading[Any]]:
        """All that changed, and begin anew."""
        dirty, self._dirty = self._dirty, {}
        return list(dirty)


class Board:
    """All readings. Only `BoardWriter`s change them."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.rev = 0
        self.epoch = 0
        self.author: Author = lambda reading: ""  # whose act is this change? set by the command path
        self.proving_until = NEVER  # a roll or cut is being proved, and till then what is not needed for it may wait
        self.before_at = NEVER  # when the reading that just turned was read before, for whoever is told of it
        self._devices: dict[str, dict[str, Reading[Any]]] = {}
        self._views: list[View] = []
        self.later = _Later(self)  # stands in a reading's watches or turns for all its lazies
        self._turned: dict[Reading[Any], None] = {}
        self._patient_until = NEVER  # lazy watches that wait now wait no longer

    def get(self, device: str, spec: PointSpec[T]) -> Reading[T]:
        """What is known of a typed point; unknown if it was never declared."""
        slots = self._devices.get(device)
        found = slots.get(spec.name) if slots is not None else None
        return found if found is not None else self.reading(device, spec)

    def reading(self, device: str, spec: PointSpec[T]) -> Reading[T]:
        """The live slot, made (undeclared, unknown) if nobody named it before, so that watches may come first."""
        slots = self._devices.get(device)
        if slots is None:
            slots = self.slots(device)
        found = slots.get(spec.name)
        if found is None:
            found = slots[spec.name] = Reading(device, spec)
        return found

    def slots(self, device: str) -> dict[str, Reading[Any]]:
        """All live slots of a device by name, declared or not. For its writer."""
        return self._devices.setdefault(device, {})

    def find(self, device: str, name: str) -> Reading[Any] | None:
        """A declared point by its name, or None."""
        found = self._devices.get(device, {}).get(name)
        return found if found is not None and found.declared else None

    def points(self, device: str) -> Mapping[str, Reading[Any]]:
        """Declared points of a device in the order of declaration."""
        return {name: slot for name, slot in self._devices.get(device, {}).items() if slot.declared}

    def everything(self) -> Iterator[Reading[Any]]:
        """Every declared point."""
        for slots in self._devices.values():
            for slot in slots.values():
                if slot.declared:
                    yield slot

    def writer(self, device: str) -> "BoardWriter":
        """The one writer of a device; the kit or a house part keeps it."""
        return BoardWriter(self, device)

    def watch(
        self,
        condition: Condition,
        tell: Callable[[Truth], None],
        *,
        device: str = "",
        since: float = NEVER,
        lazy: bool = False,
    ) -> Watch:
        """Follow a condition from now on; `tell` is called at once and on each change.

        Args:
            condition: what to follow.
            tell: is given the truth.
            device: for leaves that name none.
            since: only readings asked for after this count.
            lazy: changes are told up to LAZY_S late, and if many are to be told, not while a roll or cut is being
                proved (half a second at most), so that they never stand in the way of a proof; `truth` is exact.
        """
        watch = self.build(condition, tell, device=device, lazy=lazy)
        watch.attach(since)
        return watch

    def build(
        self, condition: Condition, tell: Callable[[Truth], None], *, device: str = "", lazy: bool = False
    ) -> Watch:
        """Make a watch without starting it (`Watch.attach` does), so that a roll pays nothing for it at go."""
        return Watch(self, self.clock, condition, tell, device, lazy=lazy)

    def defer(self, reading: Reading[Any]) -> None:
        """Lazy watches of this reading are asked to settle a little later, with those of all others."""
        if not self._turned:
            self._patient_until = self.clock.now() + PATIENCE_S
            self.soon(self._settle_some)
        self._turned[reading] = None

    def soon(self, do: Callable[[], None]) -> None:
        """Call it as late as a lazy watch may be told."""
        self.clock.later(self.clock.now() + LAZY_S, do)

    def deferred(self, reading: Reading[Any]) -> bool:
        """Have its lazy watches yet to settle?"""
        return reading in self._turned

    def _settle_some(self) -> None:
        """As many as hold nobody up; the rest in the next turns of the loop.

        If they are more than that, none while a roll or cut is being proved: they are late by as much then.
        """
        now, until = self.clock.now(), min(self.proving_until, self._patient_until)
        if self.backlog and now < until:
            self.clock.later(min(now + LAZY_S, until), self._settle_some)
            return
        told = 0
        while self._turned and told < LAZY_SLICE:
            reading = next(iter(self._turned))
            del self._turned[reading]
            told += len(reading.lazies)
            for watch in reading.lazies:
                watch.settle()
        if self._turned:
            self.clock.later(self.clock.now(), self._settle_some)

    @property
    def backlog(self) -> bool:
        """So many readings have turned that their lazy watches are told in several turns of the loop?"""
        return len(self._turned) > LAZY_SLICE

    def settle(self) -> None:
        """Let lazy watches tell now what has turned; whoever shows what they led to calls this first."""
        turned, self._turned = self._turned, {}
        for reading in turned:
            for watch in reading.lazies:
                watch.settle()

    def view(self, wake: Callable[[], None] | None = None) -> View:
        """A feed of changes; `wake` is called when the first change after a `take` comes in."""
        view = View(wake)
        self._views.append(view)
        return view

    def drop_view(self, view: View) -> None:
        """End a feed; safe to call twice."""
        if view in self._views:
            self._views.remove(view)

    def changed(self, reading: Reading[Any]) -> None:
        """Give a changed reading its revision and mark it for every view."""
        self.rev = reading.rev = self.rev + 1
        for view in self._views:
            view.mark(reading)


class _Later(Poked):
    """Hears of readings in the place of all their lazy watches: one call, whatever their number."""

    __slots__ = ("_board",)

    def __init__(self, board: Board) -> None:
        self._board = board

    def poke(self, reading: Reading[Any]) -> None:
        self._board.defer(reading)


class Row:
    """Points that come together again and again, looked up once: see `BoardWriter.row`."""

    __slots__ = ("reads", "slots")

    def __init__(self, slots: Sequence[Reading[Any]], reads: Sequence[Callable[[Any], Any] | None]) -> None:
        self.slots = slots
        self.reads = reads


class BoardWriter:
    """Writes the points of one device. Raises KeyError for a name that was never declared."""

    __slots__ = (
        *("_gathered", "_keeps_until", "_link_old", "_slots", "age_of", "asked_at", "board", "count", "device"),
        "read_at",
    )

    def __init__(self, board: Board, device: str) -> None:
        self.board = board
        self.device = device
        self._slots = board.slots(device)  # the board's own: some may be named by watches and not declared
        self.count = 0  # of the declared ones
        self.asked_at = NEVER  # set by the kit before the puts of one event; read_at likewise
        self.read_at = NEVER
        self.age_of: Callable[[PointSpec[Any]], float] = lambda spec: 0  # set by the kit from the driver's looks
        self._gathered: list[tuple[Row, Iterable[object]]] | None = None
        self._keeps_until = NEVER  # no value that is good now turns stale by its age before that
        self._link_old = False

    def gather(self) -> None:
        """Hold the puts of one event back until `commit` knows when their question was asked."""
        self._gathered = []

    def commit(self, asked_at: float, read_at: float) -> None:
        """Do the puts gathered since `gather`, stamped."""
        gathered, self._gathered = self._gathered, None
        good = Quality.GOOD
        for row, raws in gathered or ():
            for slot, raw, read in zip(row.slots, raws, row.reads, strict=True):
                if raw == slot.raw and slot.quality is good:  # most: written out, for a call costs more than it does
                    if asked_at > slot.asked_at:
                        slot.asked_at = asked_at
                    slot.read_at = read_at
                    if slot.watches:
                        _renew(slot)
                else:
                    # each time anew: a watch told by the put before may have made the kit compute a point of its own
                    self.asked_at, self.read_at = asked_at, read_at
                    self._put(slot, raw, read)

    def drop(self) -> None:
        """Forget the puts gathered since `gather`."""
        self._gathered = None

    def declare(self, *specs: PointSpec[Any], blind: bool = False) -> None:
        """Say which points this box has; at any time, since counts are known only after connecting.

        Args:
            specs: with their indexes filled in.
            blind: this box can't report them, ever: what is sent is shown as asked.
        """
        for spec in specs:
            slot = self.board.reading(self.device, spec)
            slot.spec, slot.blind, slot.age_s = spec, blind, self.age_of(spec)
            self._keeps_until = NEVER
            slot.signed = spec.settable or Flags.ACT in spec.flags
            if not slot.declared:
                slot.declared = True
                self.count += 1
                self.board.changed(slot)

    def has(self, name: str) -> bool:
        """Is the point declared?"""
        slot = self._slots.get(name)
        return slot is not None and slot.declared

    def declared(self) -> list[Reading[Any]]:
        """The slots of this writer."""
        return [slot for slot in self._slots.values() if slot.declared]

    def put(self, name: str, raw: object, read: Callable[[Any], Any] | None = None) -> None:
        """Write what the box said.

        Args:
            name: declared point.
            raw: as the box spells it; compared first, so that nothing else is paid for a value that stands.
            read: makes the value; KeyError or ValueError in it means: a code we don't know, shown as unknown.
        """
        slot = self._declared(name)
        if self._gathered is not None:
            self._gathered.append((Row((slot,), (read,)), (raw,)))
        else:
            self._put(slot, raw, read)

    def row(self, *points: tuple[str, Callable[[Any], Any] | None]) -> Row:
        """Look up declared points, each with what reads it as in `put`, for any number of `put_row`s."""
        return Row([self._declared(name) for name, _ in points], [read for _, read in points])

    def put_row(self, row: Row, raws: Iterable[object]) -> None:
        """As `put` for each point of a row of this writer, for what comes many times a second.

        Args:
            row: from `row`.
            raws: as the box spells them, in the row's order.
        """
        if self._gathered is not None:
            self._gathered.append((row, raws))
        else:
            for slot, raw, read in zip(row.slots, raws, row.reads, strict=True):
                self._put(slot, raw, read)

    def unknown(self, name: str, raw: object) -> None:
        """The box said something that can't be read."""
        self.put(name, raw, _unreadable)

    def asked(self, name: str, value: object) -> None:
        """Write what we sent to a blind point."""
        slot = self._declared(name)
        self.board.before_at = slot.read_at
        slot.value, slot.raw, slot.quality = value, value, Quality.ASKED
        slot.asked_at = slot.read_at = slot.changed_at = self.board.clock.now()
        self.board.changed(slot)
        self._poke(slot)

    def compute(self, name: str, value: object, *, quality: Quality = Quality.GOOD, asked_at: float) -> None:
        """Write a computed point with the worst quality and the oldest times of its inputs."""
        slot = self._declared(name)
        self.asked_at, self.read_at = asked_at, self.board.clock.now()
        if quality is Quality.GOOD:
            self.put(name, value)
        elif slot.quality is not quality or slot.value != value:
            self.board.before_at = slot.read_at
            slot.value, slot.raw, slot.quality, slot.asked_at, slot.read_at = value, value, quality, asked_at, asked_at
            self.board.changed(slot)
            self._poke(slot)

    def age(self, now: float, heard_at: float, link_s: float) -> None:
        """Turn stale what is older than its promise, and all that a silent link has told.

        Args:
            now: seconds of the clock.
            heard_at: when the link last heard anything.
            link_s: how long a silent link is believed.
        """
        link_old = now - heard_at > link_s
        if now <= self._keeps_until and link_old is self._link_old:
            return
        until, good, ever = float("inf"), Quality.GOOD, float("inf")
        for slot in tuple(self._slots.values()):  # who is told may name further points
            if slot.quality is not good:
                continue
            age_s = slot.age_s  # for ever: what is known without the link; 0: as long as it speaks, told by notices
            if (link_old and age_s != ever) or 0 < age_s < now - slot.asked_at:
                self._stale(slot)
            elif age_s:
                until = min(until, slot.asked_at + age_s)
        self._keeps_until, self._link_old = until, link_old

    def lost(self) -> None:
        """The link is gone: every value turns stale and is kept."""
        for slot in tuple(self._slots.values()):
            if slot.quality is Quality.GOOD:
                self._stale(slot)

    def _declared(self, name: str) -> Reading[Any]:
        slot = self._slots[name]
        if not slot.declared:
            raise KeyError(name)
        return slot

    def _stale(self, slot: Reading[Any]) -> None:
        slot.quality = Quality.STALE
        self.board.before_at = slot.read_at
        self.board.changed(slot)
        self._poke(slot)

    def _poke(self, slot: Reading[Any]) -> None:
        """Tell all: first those of turns alone, such as the log of takes, so that no verdict stands before its take."""
        for watch in slot.turns:
            watch.poke(slot)
        for watch in slot.watches:
            watch.poke(slot)

    def _put(self, slot: Reading[Any], raw: object, read: Callable[[Any], Any] | None) -> None:
        quality, self.board.before_at = slot.quality, slot.read_at
        if raw == slot.raw and (quality is Quality.GOOD or quality is Quality.STALE):
            if self.asked_at > slot.asked_at:
                slot.asked_at = self.asked_at
            slot.read_at = self.read_at
            if quality is Quality.GOOD:
                _renew(slot)
                return
            slot.quality = Quality.GOOD
            self._keeps_until = NEVER
            self.board.changed(slot)
        elif not self._change(slot, raw, read):
            _renew(slot)
            return
        if slot.watches or slot.turns:
            self._poke(slot)

    def _change(self, slot: Reading[Any], raw: object, read: Callable[[Any], Any] | None) -> bool:
        """Take over another raw value. False: it means the same."""
        before, slot.raw = slot.value, raw
        try:
            value, quality = (raw if read is None else read(raw)), Quality.GOOD
        except (KeyError, ValueError):
            value, quality = None, Quality.UNKNOWN
        same_value = value == before and quality is slot.quality
        was_known = slot.quality is not Quality.UNKNOWN
        if slot.quality is not Quality.GOOD or self.asked_at < slot.asked_at:
            self._keeps_until = NEVER
        slot.asked_at, slot.read_at = self.asked_at, self.read_at
        if same_value:
            return False
        slot.value, slot.quality = value, quality
        if value != before:
            slot.changed_at = self.read_at
            slot.changes += 1
            if slot.signed:
                slot.by = self.board.author(slot) if was_known else ""
        self.board.changed(slot)
        return True


def _renew(slot: Reading[Any]) -> None:
    """The same value came again: only who waits for evidence or movement is told."""
    for watch in slot.watches:
        watch.poke(slot)


def _unreadable(raw: object) -> object:
    raise ValueError(raw)
