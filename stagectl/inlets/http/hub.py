"""What are all who follow the house live told? A snapshot first, then every change once, to all who look at the same.

One tick of 50 ms gathers what changed and makes one message for all clients with the same view; what starts, ends or
judges a take goes at once. Many are told in several turns of the loop, each message to all before the next is made. A
client that does not read is not waited for: for it the newest value of each point is kept, and it is ended after 30 s.
"""

from collections.abc import Generator, Iterable, Mapping, Sequence
from itertools import islice
from typing import Any, Final

from stagectl.control.access import PRIVATE, may_read
from stagectl.control.chronicle import Entry, Follower
from stagectl.inlets.http.frames import Message
from stagectl.inlets.http.live_client import Client
from stagectl.inlets.http.metrics import Metrics
from stagectl.inlets.http.point_text import PointText
from stagectl.inlets.strict_json import written
from stagectl.model.board import View
from stagectl.model.points import Reading
from stagectl.model.world import Handle
from stagectl.shoot.deskview import DeskView
from stagectl.shoot.house import House
from stagectl.shoot.journalwords import JournalWords
from stagectl.shoot.teller import Teller

TICK_S: Final = 0.05
SLICE: Final = 200  # points written in one turn of the loop
TOLD_SLICE: Final = 200  # followers told in one turn of the loop: some 2 ms
SAY_S: Final = 1.0  # the sections are looked at anew this often, and when something happened
SHARE: Final = 0.05  # of the loop at most that looking at them may take: with 1,000 recorders it is some milliseconds
FOLLOWERS: Final = 2000  # some 22 kB each (bench `followers`); first bar of the page of numbers
AT_ONCE: Final = frozenset({"command", "verdict", "take"})  # entries that do not wait for the tick
# what clients have alike that are told the same: devices, points, and which entries of a tick are not for them
_Eyes = tuple[frozenset[str] | None, frozenset[str] | None, frozenset[int]]


class Hub:
    """All followers, `most` at once. Costs nothing while there are none."""

    def __init__(self, house: House, teller: Teller, view: DeskView, metrics: Metrics, most: int = FOLLOWERS) -> None:
        self.most = most
        self._house = house
        self._teller = teller
        self._desk = view
        self._words = JournalWords(house.called)
        self._sections: dict[str, str] = {}
        self._unsaid: dict[str, str] = {}
        self._metrics = metrics
        self._clock = house.world.clock
        self._clients: dict[Client, None] = {}
        self._telling: Generator[None] | None = None  # a message is on its way to all
        self._waiting: dict[Client, None] = {}  # who took what was waiting meanwhile
        self._view: View | None = None
        self._follower: Follower | None = None
        self._text = PointText(self._clock)
        self._pieces: dict[Reading[Any], str] = {}
        self._round: dict[Reading[Any], None] = {}  # what the next message holds
        self._unwritten: dict[Reading[Any], None] = {}  # of it, what is not in `_pieces` as it is now
        self._rev = 0  # of the board when the round last took from it
        self._timer: Handle | None = None
        self._at_once = False
        self._say_at = float("-inf")
        self._looking: Generator[None, None, dict[str, Any]] | None = None
        self._looked_s = 0.0  # what it took to look at the sections
        self._happened = False
        self.stopped = False

    @property
    def full(self) -> bool:
        """No place for another follower."""
        return self.stopped or len(self._clients) >= self.most

    def join(self, client: Client) -> None:
        """Follow from now on: a snapshot comes first."""
        if not self._clients:
            self._view = self._house.board.view(self._changed)
            self._follower = self._house.chronicle.follow(self._entered)
        self._clients[client] = None
        self._metrics.clients = len(self._clients)
        self._soon(0.0)

    def turn(self, client: Client, points: frozenset[str]) -> None:
        """It looks at other points from now on: a snapshot of them comes first."""
        if points != client.points:
            client.points = points
            client.fresh = True
            client.held.clear()
            self._soon(0.0)

    def leave(self, client: Client) -> None:
        """Safe to call twice."""
        client.lost.set()
        if self._clients.pop(client, client) is None:
            self._metrics.clients = len(self._clients)
        if not self._clients:
            self._close()

    def stop(self) -> None:
        """Say goodbye to all."""
        self.stopped = True
        for client in tuple(self._clients):
            client.end(1001)
            self.leave(client)

    def caught_up(self, client: Client) -> None:
        """A client took what was waiting: it gets what was kept for it."""
        client.release()
        if client.behind or client not in self._clients:
            return
        if self._telling is not None:  # of that message it may have its share yet to come
            self._waiting[client] = None
            return
        if client.fresh:
            self._soon(0.0)
        elif client.held or client.entries or client.unsaid:
            held, entries = list(client.held), list(client.entries)
            client.held.clear()
            client.entries.clear()
            client.unsaid = False
            self._text.begin()
            self._look_whole()
            client.send(self._changes([self._piece(reading) for reading in held], entries, self._sections))
            if self._unsaid:
                self._soon(TICK_S)

    def _close(self) -> None:
        if self._view is not None:
            self._house.board.drop_view(self._view)
        if self._follower is not None:
            self._house.chronicle.unfollow(self._follower)
        if self._timer is not None:
            self._timer.cancel()
        self._view = self._follower = self._timer = self._looking = self._telling = None
        for kept in (self._pieces, self._round, self._unwritten, self._sections, self._unsaid, self._waiting):
            kept.clear()
        self._text = PointText(self._clock)

    # -- one tick -------------------------------------------------------------------------------------------------

    def _changed(self) -> None:
        self._soon(TICK_S)

    def _entered(self) -> None:
        assert self._follower is not None
        self._happened = True
        self._soon(0.0 if self._follower.entries[-1].kind in AT_ONCE else TICK_S)

    def _soon(self, wait_s: float, *, hurried: bool | None = None) -> None:
        at_once = wait_s == 0 if hurried is None else hurried
        if self._timer is not None:
            if self._at_once or not at_once:
                return
            self._timer.cancel()
        self._at_once = at_once
        self._timer = self._clock.later(self._clock.now() + wait_s, self._tick)

    def _tick(self) -> None:
        """Write what changed, look at the sections if it is time, then tell; each in turns of the loop of its own.

        What is hurried is written at once, with what changed up to now. What is on its way to some goes to all first.
        """
        hurried, self._at_once, self._timer = self._at_once, False, None
        if self._view is None or self._follower is None:
            return
        if self._telling is None:
            if not self._ready(self._view, hurried=hurried):
                self._soon(0.0, hurried=False)
                return
            told, self._unsaid = ({}, self._unsaid) if hurried else (self._unsaid, {})
            self._telling = self._tell(told, self._follower)
            hurried = False  # its message is on its way
        if self._tell_on():
            self._soon(0.0, hurried=hurried)
        elif hurried:
            self._soon(0.0)  # asked for while the message before it was told
        elif self._happened or self._view.waiting or self._unsaid:
            self._soon(TICK_S)  # sections come when they are due; what changed while this round was told is next

    def _ready(self, view: View, *, hurried: bool) -> bool:
        """Go a step on with the next message. False: there is more to write or to look at."""
        if hurried or not self._round:
            taken = dict.fromkeys(view.take())
            self._round |= taken
            self._unwritten |= taken
            self._rev = self._house.board.rev
            self._text.begin()
        for reading in list(self._unwritten if hurried else islice(self._unwritten, SLICE)):
            del self._unwritten[reading]
            self._pieces[reading] = self._text.write(reading)
        return not self._unwritten and (hurried or not self._look_on())

    def _due_s(self) -> float:
        """Seconds until the sections are looked at again: at once if something happened, but never too often."""
        since = self._clock.now() - self._say_at
        return max(0.0 if self._happened else SAY_S, self._looked_s / SHARE) - since

    def _tell(self, told: Mapping[str, str], follower: Follower) -> Generator[None]:
        """One message for all clients of one view; a snapshot, made once too, for those who need it."""
        readings, self._round = list(self._round), {}
        entries, gap = follower.take()
        private = [entry for entry in entries if entry.kind == PRIVATE]
        shares: dict[_Eyes, _Share] = {}
        for place, client in enumerate(tuple(self._clients)):
            if place and place % TOLD_SLICE == 0:
                yield
            if client not in self._clients:
                continue  # it has left meanwhile
            hidden = frozenset(one.n for one in private if not may_read(client.person, one.kind, one.who))
            eyes = (client.devices, client.points, hidden)
            share = shares.get(eyes)
            if share is None:
                share = shares[eyes] = _Share(*eyes, readings, entries)
            if client.behind or client in self._waiting:
                client.hold(share.readings, share.entries, said=bool(told))
            elif client.fresh:
                share.snapshot = share.snapshot or self._snapshot(share.seen)
                client.fresh = False
                client.send(share.snapshot)
            elif share.readings or share.entries or told:
                pieces = map(self._pieces.__getitem__, share.readings)
                share.changes = share.changes or self._changes(pieces, share.entries, told, gap=gap)
                client.send(share.changes)

    def _tell_on(self) -> bool:
        """Tell some more. False: all are told."""
        assert self._telling is not None
        try:
            next(self._telling)
        except StopIteration:
            self._telling = None
            waiting, self._waiting = self._waiting, {}
            for client in waiting:
                self.caught_up(client)
        return self._telling is not None

    def _look_on(self) -> bool:
        """Go a step on with the look at all sections, or begin one if it is time. False: nothing to look at now."""
        if self._looking is None:
            if self._due_s() > 0:
                return False
            self._happened = False
            self._say_at, self._looked_s = self._clock.now(), 0.0
            self._looking = self._desk.sections()
        began = self._clock.now()
        try:
            next(self._looking)
        except StopIteration as done:
            self._looking = None
            self._renew(done.value)
        self._looked_s += self._clock.now() - began
        return True

    def _look_whole(self) -> None:
        """Look at all sections at once, for somebody who is told everything now."""
        self._happened, self._say_at = False, self._clock.now()
        self._looking = self._desk.sections()  # from the beginning: one under way began before what is told now
        while self._looking is not None:
            self._look_on()

    def _renew(self, sections: Mapping[str, Any]) -> None:
        """Keep the sections; those that became others, as JSON, are told with the next tick."""
        found = {name: _json(value) for name, value in sections.items()}
        if self._sections:  # else nobody was told anything yet, and whoever came gets a snapshot
            self._unsaid |= {name: text for name, text in found.items() if text != self._sections.get(name)}
        self._sections = found

    def _piece(self, reading: Reading[Any]) -> str:
        piece = self._pieces.get(reading)
        if piece is None:
            piece = self._pieces[reading] = self._text.write(reading)
        return piece

    def _changes(
        self, pieces: Iterable[str], entries: Sequence[Entry], sections: Mapping[str, str], *, gap: bool = False
    ) -> Message:
        told = "" if not entries else f',"entries":{_json([self._words.plain(entry) for entry in entries])}'
        told += f',"say":{sections["say"]}' if "say" in sections else ""
        told += f',"desk":{_object(sections)}' if sections else ""
        told += ',"gap":true' if gap else ""
        at = f'"epoch":{self._house.epoch},"rev":{self._rev}'
        text = f'{{"is":"changes",{at},"points":[{",".join(pieces)}]{told}}}'
        return Message("changes", f"{self._house.epoch}-{self._rev}", text)

    def _snapshot(self, devices: frozenset[str] | None) -> Message:
        board, house = self._house.board, self._house
        readings = (
            board.everything()
            if devices is None
            else (reading for device in sorted(devices) for reading in board.points(device).values())
        )
        pieces = ",".join(map(self._piece, readings))
        now = self._teller.now()
        self._look_whole()
        last = house.chronicle.recent[-1].n if house.chronicle.recent else 0
        text = (
            f'{{"is":"snapshot","epoch":{house.epoch},"rev":{self._rev},"entry":{last},"now":{_json(now)},'
            f'"desk":{_object(self._sections)},"points":[{pieces}]}}'
        )
        return Message("snapshot", f"{house.epoch}-{self._rev}", text)


class _Share:
    """What of one message clients with the same eyes get; each form of it is made once."""

    def __init__(
        self,
        devices: frozenset[str] | None,
        points: frozenset[str] | None,
        hidden: frozenset[int],
        readings: Sequence[Reading[Any]],
        entries: Sequence[Entry],
    ) -> None:
        self.seen = seen = points if points is not None else devices
        self.readings = readings if seen is None else [reading for reading in readings if reading.device in seen]
        self.entries = [
            entry for entry in entries if (devices is None or _concerns(entry, devices)) and entry.n not in hidden
        ]
        self.changes: Message | None = None
        self.snapshot: Message | None = None


def _json(value: Any) -> str:
    return written(value).decode()


def _object(members: Mapping[str, str]) -> str:
    """An object of values that are JSON already; names need no escaping."""
    return "{" + ",".join(f'"{name}":{text}' for name, text in members.items()) + "}"


def _concerns(entry: Entry, devices: frozenset[str]) -> bool:
    """Is an entry about one of these devices, or about all?"""
    device = entry.data.get("device")
    if device is not None:
        return device in devices
    targets = entry.data.get("targets")
    return targets is None or not devices.isdisjoint(targets)
