"""What stands behind every door? One house: resolve who is meant, expand, arm, go; and everything to be read.

Each inlet turns what came in into a `Wish` and hands it here; nothing else reaches the command path.
"""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from stagectl.control.access import Person, allowed, words_of
from stagectl.control.chronicle import Chronicle
from stagectl.control.commands import Commands
from stagectl.control.desk import Desk
from stagectl.control.devices import Devices
from stagectl.control.gate import Gate
from stagectl.control.groups import Command, Group
from stagectl.control.judging import OUT_OF_REACH
from stagectl.control.kept import Kept
from stagectl.control.notes import Notes
from stagectl.control.selections import Picture
from stagectl.control.untold import Untold
from stagectl.control.wishes import build
from stagectl.driverkit.box import Box
from stagectl.driverkit.lag import Lag
from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import Roll
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.verbs import Ask, Ended, Verdict
from stagectl.model.words import nearest
from stagectl.model.world import Handle, World
from stagectl.shoot.alarms import Alarms
from stagectl.shoot.parts import Part
from stagectl.shoot.playback.part import Playback
from stagectl.shoot.setups.part import Setups
from stagectl.shoot.takes import RollAll, Takes
from stagectl.shoot.teller import Teller
from stagectl.site import Site

ID_LONGEST: Final = 64
_ULID: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LATEST_S: Final = 2.0  # an ask that waited longer while we stood still is not carried out: a roll's own time
_SAY_SO: Final = ("stations", "setups", "playback")  # parts whose verbs say themselves what they are
KEEP_S: Final = 0.1  # the next roll is armed so long after the last take ended
KEEP_SLICE: Final = 64  # recorders armed in one turn of the loop


@dataclass(frozen=True, slots=True)
class Wish:
    """What came in through a door.

    Attributes:
        person: who asks.
        inlet: through which door: "http", "mqtt", "scene:roll-all", "terminal".
        target: device, group or house part; "takes" for roll and cut.
        verb: "roll", "cut", "set", ...
        args: by name; lists are read as comma-separated text.
        id: the caller's own id of this wish, or empty. The same id is never carried out twice.
        confirm: the word that was shown with what it ends; it is no part of what makes a wish the same.
    """

    person: Person
    inlet: str
    target: str
    verb: str
    args: Mapping[str, Any] = field(default_factory=dict)
    id: str = ""
    confirm: str = ""

    @property
    def content(self) -> str:
        """What makes two wishes the same wish."""
        return json.dumps([self.target, self.verb, self.args], sort_keys=True, separators=(",", ":"), default=str)


class House:
    """All parts of a running daemon, for the doors."""

    def __init__(
        self,
        world: World,
        site: Site,
        board: Board,
        commands: Commands,
        *,
        devices: Devices,
        chronicle: Chronicle,
        takes: Takes,
        parts: Mapping[str, Part],
        epoch: int,
        trouble: Notes | None = None,
    ) -> None:
        self.world = world
        self.site = site
        self.board = board
        self.commands = commands
        self.devices = devices
        self.chronicle = chronicle
        self.takes = takes
        self.parts: dict[str, Part] = dict(parts)
        self.epoch = epoch
        self.started: datetime = world.clock.wall()
        self.began_at = world.clock.now()  # monotonic: when this daemon started; an earlier one may have acted before
        self.untold = Untold()
        self.gate = Gate(world, chronicle)
        self.gate.trouble = self.troubled
        self.desk = Desk(world.clock, chronicle, world.chance.stream("selections"))
        self.desk.owner = self._rolled_by
        self.desk.selections.picture = self._picture
        self.desk.selections.called = self.called
        commands.desk = self.desk
        # what is wrong with the daemon itself, by part, in sentences
        self.trouble = trouble if trouble is not None else Notes()
        self._kept = Kept()  # the next roll of all recorders
        self._kept_key: tuple[int, str] | None = None  # number and name of its take; None: not whole
        takes.on_change.append(self._keep_soon)
        commands.act = self._act
        self._keep_at = float("inf")
        self._keep_timer: Handle | None = None
        self.answers: dict[str, Callable[[], str]] = {}  # of views whose part is made above us: a line in the contents
        self.on_roll: list[Callable[[Collection[str]], None]] = []  # these recorders were just asked to roll
        self.lag = Lag()
        self.teller = Teller(self)
        self.alarms = Alarms(self, self.teller.sentence)
        self.setups = self.parts[Setups.name] = Setups(self)
        self.playback = self.parts[Playback.name] = Playback(self)

    @property
    def boxes(self) -> Mapping[str, Box]:
        """The devices of the site by id."""
        return self.devices.boxes

    def called(self, device: str) -> str:
        """What people call a device."""
        entry = self.site.devices.get(device)
        return entry.called if entry is not None else device

    def capability(self, target: str) -> Capability | None:
        """The kind of a device or part."""
        if target in self.boxes:
            return self.boxes[target].capability
        part = self.parts.get(target)
        return part.capability if part is not None else None

    def permit(self, person: Person, *words: str, target: str = "") -> None:
        """Let an act pass that is no verb of a box: a mark, a scene's start, a box taken out of quarantine.

        Raises:
            RefusedError: code "token", "role" or "held".
        """
        allowed(person, words, target)
        self.desk.admit(person, words)

    def in_time(self, person: Person, what: str, within_s: float) -> None:
        """Let an ask pass, unless it may have waited at our door for longer than `within_s` while we stood still.

        Raises:
            RefusedError: code "stood-still".
        """
        waited_s = self.lag.waited_s(self.world.clock.now())
        if waited_s > within_s:
            why = f"stagectl stood still for {waited_s:.0f} s, and this may have been asked then."
            self.gate.refuse(person.name or "somebody", person.source, what, why, "stood-still")
            raise RefusedError(why, remedy="Look at what is so now, and ask again.", code="stood-still")

    def _rolled_by(self, number: int) -> str:
        take = self.takes.takes.get(number)
        return take.by if take is not None else ""

    def _picture(self, number: int) -> Picture | None:
        take = self.takes.open
        if take is None or take.number != number:
            return None
        return Picture(number, take.by, frozenset((device, len(take.lanes[device])) for device in take.rolling))

    def troubled(self, part: str, text: str | None) -> None:
        """Say what is wrong with a part of the daemon itself, in a sentence; None: nothing any more."""
        if text is None:
            self.trouble.pop(part, None)
        else:
            self.trouble[part] = text

    def resolve(self, word: str) -> list[str]:
        """Device ids (or one part) that a word means: id, group, part, what people call it, or a unique beginning.

        Raises:
            RefusedError: nobody is called that, or several are; the remedy names them.
        """
        bare = word.strip()
        if bare in self.boxes or bare in self.parts:
            return [bare]
        if bare in self.site.groups:
            return list(self.site.groups[bare])
        low = bare.casefold().replace("\u00a0", " ")
        names = {entry.called.casefold(): device for device, entry in self.site.devices.items()}
        if low in names:
            return [names[low]]
        begin = sorted({device for name, device in names.items() if low and name.startswith(low)})
        begin = begin or sorted(device for device in self.boxes if low and device.startswith(low))
        if len(begin) == 1:
            return begin
        if begin:
            raise RefusedError(f'"{word}" may be {" or ".join(begin)}.', remedy="Name one of them.", code="target")
        known = [*self.boxes, *self.site.groups, *self.parts]
        raise RefusedError(f'There is no device, group or part "{word}".', remedy=nearest(bare, known), code="target")

    # -- the one way in -------------------------------------------------------------------------------------------

    async def submit(self, wish: Wish) -> Group:
        """Carry a wish out up to "accepted": journalled, sent, being watched. `Group.wait` waits for the verdict.

        Raises:
            RefusedError: nothing of it was understood or allowed; no byte was sent. Refusals of single devices of a
                group are verdicts in it instead.
        """
        identifier = self._identified(wish)
        if (known := self.commands.known(identifier, wish.content)) is not None:
            return known
        if not wish.inlet.startswith("scene:"):
            self.in_time(wish.person, _say(wish), LATEST_S)
        late = self.born_before(wish.id)
        kept = self._pressed(wish) if late is None else None
        asks = [] if kept is not None else self.expand(wish, identifier)
        group = Group(
            identifier,
            wish.person.name,
            wish.inlet,
            wish.verb,
            asks[0].verb.say() if asks and (asks[0].target in _SAY_SO or wish.verb == "route") else _say(wish),
            wish.content,
            self.world.clock.now(),
            args=dict(wish.args),
            source=wish.person.source,
        )
        if late is not None:
            return self._too_late(group, asks, late)
        if kept is not None:
            group.take = kept.commands[0].ask.take
            self.commands.go_kept(group, wish.person, kept)
            self._rolled(group, "")
            return group
        verb, group.take = asks[0].verb, asks[0].take
        commands = self.commands.arm(wish.person, asks)
        self._shown(wish, commands)
        if Flags.FIRST in verb.flags():
            self.commands.go(group, commands)
            self._rolled(group, str(wish.args.get("name") or ""))
        else:
            await self.commands.go_durable(group, commands)
        if Flags.ENDS_TAKE in verb.flags() and group.take is not None and (cut := _let_through(group)):
            number = group.take
            group.on_end.append(lambda ended: self.takes.close_unseen(number, cut))
            if group.ended:
                self.takes.close_unseen(number, cut)
        return group

    def _shown(self, wish: Wish, commands: Sequence[Command]) -> None:
        """Show what a wish would end before it does; a scene is shown nothing, and ends nothing of that.

        Raises:
            RefusedError: code "confirm", with the word to ask again with.
        """
        unsure = [one.ask for one in commands if one.verdict is not None and one.verdict.code == "confirm"]
        if unsure and not wish.inlet.startswith("scene"):
            raise self.desk.selections.select(wish.person, unsure)

    def _rolled(self, group: Group, name: str) -> None:
        """If it is a roll: who must give way is told, and, if it went out, the take it opens is told whose it is."""
        asks = [command.ask for command in group.commands]
        if not any(ask.verb.spec is Roll.spec for ask in asks):
            return
        if any(command.verdict is None or not command.verdict.refused for command in group.commands):
            for tell in self.on_roll:
                tell([ask.target for ask in asks])
            self.takes.expect(asks, name)
        self.playback.give_way(group)

    def expand(self, wish: Wish, identifier: str = "") -> list[Ask]:
        """The asks a wish comes to, for going or for a dry run. Raises RefusedError."""
        args = {
            key: ", ".join(map(str, value)) if isinstance(value, list) else value for key, value in wish.args.items()
        }
        targets = self.resolve(wish.target)
        recorders = [target for target in targets if target in self.takes.recorders]
        if wish.verb in ("roll", "cut") and recorders and wish.target not in self.parts:
            args["on"] = ", ".join(targets)
            targets = [self.takes.name]
        asks: list[Ask] = []
        for target in targets:
            capability = self.capability(target)
            assert capability is not None
            verb = build(target, capability, wish.verb, args)
            ask = Ask(identifier, wish.person.name, wish.inlet, target, verb, confirm=wish.confirm)
            try:
                asks.extend(self.spread(ask))
            except RefusedError:
                allowed(wish.person, words_of(ask), target)  # who may not, is told that, and not what stands there
                raise
        if not asks:
            raise RefusedError(f"{wish.target} {wish.verb} comes to nothing: nobody is meant.", code="target")
        return asks

    def spread(self, ask: Ask) -> list[Ask]:
        """A part's ask as asks for devices, through parts of parts; set-ups and playback spread theirs themselves.

        Raises:
            RefusedError: the part can't do that now.
        """
        part = self.parts.get(ask.target)
        if part is None:
            return [ask]
        if part in (self.setups, self.playback):
            return list(part.expand(ask))
        asks: list[Ask] = []
        for child in part.expand(ask):
            asks.extend([child] if child.target == ask.target else self.spread(child))
        # a part's own point can only be seen with the last of what brings it about
        last = max((one.stage for one in asks), default=0)
        return [replace(one, stage=last) if one.target == ask.target else one for one in asks]

    def _act(self, ask: Ask) -> None:
        if (part := self.parts.get(ask.target)) is not None:
            part.act(ask.verb)

    def _identified(self, wish: Wish) -> str:
        if not wish.id:
            return self.world.ids.new()
        allowed = all(char.isascii() and (char.isalnum() or char in "._-") for char in wish.id)
        if len(wish.id) > ID_LONGEST or not allowed:
            raise RefusedError(
                "An id has 1 to 64 characters of A-Z a-z 0-9 . _ -", remedy="Send a shorter, plainer id.", code="id"
            )
        return wish.id

    def born_before(self, identifier: str) -> datetime | None:
        """When a time-ordered id was born, if an earlier daemon may have carried it out and left no line of it.

        This start is reckoned back on the wall clock as it reads now: one that was set right since must not make every
        new id an old one.
        """
        if len(identifier) != 26 or any(char not in _ULID for char in identifier):
            return None
        number = 0
        for char in identifier[:10]:
            number = number << 5 | _ULID.index(char)
        try:
            born = datetime.fromtimestamp(number / 1000, tz=UTC)
        except (ValueError, OverflowError, OSError):
            return None
        clock = self.world.clock
        started = clock.wall() - timedelta(seconds=clock.now() - self.began_at, milliseconds=1)
        return born if self.untold.hold(born, started, self.began_at) else None

    def _too_late(self, group: Group, asks: Sequence[Ask], born: datetime) -> Group:
        why = f"it was asked at {born:%H:%M:%S}, before stagectl started again: not known if it was carried out"
        verdict = Verdict(Ended.UNCONFIRMED, why, remedy="Look, and ask again with a new id.", code="born-before")
        group.commands = [Command(ask, verdict=verdict, group=group) for ask in asks]
        self.commands.remember(group)
        group.finish(self.world.clock.now())
        return group

    # -- roll, kept armed -----------------------------------------------------------------------------------------

    def _pressed(self, wish: Wish) -> Kept | None:
        """The plain press of roll, for everything under the next name: it takes what is kept. None: it can't."""
        plain = wish.verb == "roll" and wish.target == self.takes.name and not any(wish.args.values())
        if not plain or self._kept_key != self.takes.upcoming("") or self.takes.open is not None:
            return None
        kept, self._kept_key = self._kept, None
        self._keep_in(LATEST_S)  # if nobody rolls; else a take opens, and its end is what the next roll waits for
        return kept if kept.commands else None

    def _keep_soon(self) -> None:
        self._keep_in(KEEP_S)

    def _keep_in(self, wait_s: float) -> None:
        """Keep the next roll of all recorders armed: built in slices, so that the loop is never held."""
        at = self.world.clock.now() + wait_s
        if at < self._keep_at:
            if self._keep_timer is not None:
                self._keep_timer.cancel()
            self._keep_at, self._keep_timer = at, self.world.clock.later(at, self._keep_begin)

    def _keep_begin(self) -> None:
        self._kept.end()
        self._kept, self._kept_key = Kept(), None
        self._keep_at, self._keep_timer = float("inf"), None
        if self.takes.open is not None:
            return
        nobody = Ask("", "", "", self.takes.name, RollAll())
        asks = self.takes.roll_asks(nobody, list(self.takes.recorders), "")
        self._keep_slice(self.takes.upcoming(""), asks, self._kept)

    def _keep_slice(self, key: tuple[int, str], asks: Sequence[Ask], kept: Kept) -> None:
        if kept is not self._kept:
            return  # begun anew meanwhile
        self.commands.keep(kept, asks[:KEEP_SLICE])
        if rest := asks[KEEP_SLICE:]:
            self.world.clock.later(self.world.clock.now(), lambda: self._keep_slice(key, rest, kept))
        else:
            self._kept_key = key

    def link_changed(self, device: str) -> None:
        """A recorder came or went: what is kept armed is made anew."""
        if device in self.takes.recorders:
            self._keep_soon()


def _let_through(group: Group) -> list[str]:
    """Devices for which it was allowed, reached or not. A cut that was refused ends no take."""
    verdicts = [(command.ask.target, command.verdict) for command in group.commands]
    return [name for name, one in verdicts if one is None or not one.refused or one.code in OUT_OF_REACH]


def _say(wish: Wish) -> str:
    """A wish in words, for journals: "roll takes", "set hall output 3 source to 5"."""
    if wish.verb == "set":
        return f"set {wish.target} {str(wish.args.get('point', '')).replace('.', ' ')} to {wish.args.get('value')}"
    if wish.verb == "stay":
        return f"stop {wish.target} {str(wish.args.get('point', '')).replace('.', ' ')}"
    told = " ".join(f"{name} {_spelt(value)}" for name, value in wish.args.items() if value not in ("", None, []))
    return f"{wish.verb} {told}".strip() if wish.target == "takes" else f"{wish.verb} {wish.target} {told}".strip()


def _spelt(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
