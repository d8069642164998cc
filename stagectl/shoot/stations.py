"""Who sees and hears what? A station is a named place: a picture destination and a sound bus.

A house part, named "stations". `hears` speaks of the sound sources that the site names: each is *up* on the station's
bus or not; a mix of the site is a name for several. Other strips, mutes and the bus's own level are left to the mixer:
`hears` tells what is sent, not how loud.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, ClassVar, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import SEND_LEVEL
from stagectl.model.conditions import Condition, every, number_of
from stagectl.model.errors import RefusedError
from stagectl.model.points import Ear, Flags, PointSpec, Quality, Reading
from stagectl.model.verbs import Ask, Set, Verb, VerbSpec, checked
from stagectl.model.words import nearest
from stagectl.shoot.paths import SHOWS, shows
from stagectl.shoot.routes.levels import Levels
from stagectl.shoot.routes.words import Route
from stagectl.site import Site, StationEntry

UP_DB: Final = -40.0  # a send at or above this is up; own choice: below, a hall hears nothing
FULL_DB: Final = 0.0  # where a source is brought to
RISE_S: Final = 14.0  # a rise from off at the mixer's ramp takes 10 s
NOTHING: Final = "nothing"
AND: Final = " + "

SEES: Final[PointSpec[str]] = PointSpec("{station}.sees", str, settable=True, deadline_s=2)
HEARS: Final[PointSpec[str]] = PointSpec(
    "{station}.hears", str, settable=True, deadline_s=RISE_S, flags=Flags.LOUD, words=(NOTHING,)
)


@dataclass(frozen=True, slots=True)
class Show(Verb):
    """Give a station a picture and its sound. An empty one is left as it is.

    What is not to be heard any more goes down before the picture changes; what is to be heard comes up after.
    """

    spec: ClassVar[VerbSpec] = VerbSpec("show", RISE_S, "shown", flags=Flags.LOUD)
    station: str
    picture: str = ""
    sound: str = ""

    def effect(self) -> Condition:
        sees = [SEES.at(self.station).is_(self.picture)] if self.picture else []
        hears = [HEARS.at(self.station).is_(self.sound)] if self.sound else []
        return every(*sees, *hears)

    def say(self) -> str:
        said = [self.picture, f"with {self.sound}" if self.sound else ""]
        return " ".join(filter(None, [f"show {self.station}", *said]))


STATIONS: Final = Capability("stations", 1, (SEES, HEARS), (Show,))
_DOWN, _PICTURE, _UP = 0, 1, 5  # stages of one Show; a way through tie-lines takes four

_WORST_LAST: Final = (Quality.GOOD, Quality.ASKED, Quality.STALE, Quality.UNKNOWN)


@dataclass(frozen=True, slots=True)
class _Send:
    """A named sound source on a station's bus."""

    source: str
    mixer: str
    spec: PointSpec[Any]


class Stations:
    """Pictures and sounds by place. A picture is set through the paths, a sound by the sends of its strip."""

    name = "stations"

    def __init__(self, board: Board, site: Site) -> None:
        self._board = board
        self._site = site
        self._levels = Levels(site.pictures)
        self._sends = {name: self._sends_of(entry) for name, entry in site.stations.items()}
        seeing = (SEES.at(name) for name, entry in site.stations.items() if entry.sees)
        hearing = (HEARS.at(name) for name in site.stations if self._sends[name])
        self.capability = Capability(STATIONS.kind, STATIONS.version, (*seeing, *hearing), STATIONS.verbs)
        self._dirty: dict[str, None] = {}
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        for name in site.stations:
            ear = Ear(partial(self._heard_of, name))
            for reading in self._inputs(name):
                reading.watches = (*reading.watches, ear)
            self._show(name)

    def _sends_of(self, entry: StationEntry) -> tuple[_Send, ...]:
        if not entry.hears:
            return ()
        mixer, bus = self._site.sound.buses[entry.hears]
        return tuple(
            _Send(source, mixer, SEND_LEVEL.at(strip, bus))
            for source, (device, strip) in self._site.sound.sources.items()
            if device == mixer
        )

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """The ask itself, judged by what the station then sees or hears, and the Sets that bring it about."""
        match ask.verb:
            case Show(station=name, picture=picture, sound=sound):
                return self._expand_show(ask, self._entry(name), picture, sound)
            case Set(point=point, value=value):
                name, _, what = point.name.partition(".")
                entry = self._entry(name)
                if what == "hears":
                    return self._hears(ask, entry, value)
                return [replace(ask, stage=ask.stage + _UP), *self._picture(ask, entry, str(value))]
        raise RefusedError(f"stations can't {ask.verb.spec.name}.", remedy="Say what one sees or hears.", code="verb")

    def _entry(self, name: str) -> StationEntry:
        """By its name, or by what people call it. Raises RefusedError."""
        stations = self._site.stations
        found = stations.get(name) or next(
            (one for one in stations.values() if one.called.casefold() == name.casefold()), None
        )
        if found is None:
            raise RefusedError(f'There is no station "{name[:40]}".', remedy=nearest(name, stations), code="point")
        return found

    def _expand_show(self, ask: Ask, entry: StationEntry, picture: str, sound: str) -> list[Ask]:
        """In three stages: what goes down, the picture, what comes up; itself with the last, when all can be seen."""
        if not picture and not sound:
            raise RefusedError(
                f"Nothing is said of what {entry.called} sees or hears.", remedy="Say it.", code="argument"
            )
        picture = self._named(picture)
        said, down, up = self._sends_for(ask, entry, sound) if sound else ("", [], [])
        itself = replace(ask, verb=Show(entry.name, picture, said), stage=_UP if up else _PICTURE)
        asks = [itself, *(replace(one, stage=_DOWN) for one in down)]
        if picture:
            asks += [replace(one, stage=_PICTURE) for one in self._picture(ask, entry, picture)]
        return asks + [replace(one, stage=_UP) for one in up]

    def _picture(self, ask: Ask, entry: StationEntry, picture: str) -> list[Ask]:
        """Its picture, and what the routers carry beside it: none of it stays behind."""
        if not entry.sees:
            raise RefusedError(f"{entry.called} has no picture.", remedy="Give it a destination in the site file.")
        routes = self._levels.spread([Route(entry.sees, picture)])
        return [replace(ask, target="paths", verb=checked(shows(route.place), picture)) for route in routes]

    def _named(self, picture: str) -> str:
        """The name of a picture that was asked for as "hall input 4", for so it is shown."""
        ports = self._site.pictures.sources.items()
        return next((name for name, (router, number) in ports if picture == f"{router} input {number}"), picture)

    def _hears(self, ask: Ask, entry: StationEntry, value: str) -> list[Ask]:
        said, down, up = self._sends_for(ask, entry, value)
        return [replace(ask, verb=Set(HEARS.at(entry.name), said)), *down, *up]

    def _sends_for(self, ask: Ask, entry: StationEntry, value: str) -> tuple[str, list[Ask], list[Ask]]:
        """What it then hears in words, the sends that go down and those that come up.

        A send that is up already keeps its level. Every named send of the bus is in it: what is right already is looked
        at, so that `hears` is young when judged.
        """
        sends, mixes = self._sends[entry.name], self._site.sound.mixes
        if not sends:
            raise RefusedError(f"{entry.called} has no sound.", remedy="Give it a bus in the site file.")
        words = [] if value == NOTHING else [word.strip() for word in value.split("+")]
        known = [send.source for send in sends]
        wanted = [source for word in words for source in mixes.get(word, (word,))]
        for word in wanted:
            if word not in known:
                raise RefusedError(
                    f'{entry.called} has no sound "{word}" on its bus.',
                    remedy=nearest(word, (*known, *mixes)),
                    code="value",
                )
        down = [send for send in sends if send.source not in wanted]
        up = [send for send in sends if send.source in wanted]
        return (
            self._say(source for source in known if source in wanted),
            [replace(ask, target=send.mixer, verb=checked(send.spec, "off")) for send in down],
            [replace(ask, target=send.mixer, verb=checked(send.spec, self._level(send))) for send in up],
        )

    def act(self, verb: Verb) -> None:
        """Nothing happens without a device."""

    def _up(self, send: _Send) -> bool | None:
        """Is it up, by the last level seen? None: never seen."""
        level = number_of(self._board.reading(send.mixer, send.spec).value)
        return None if level is None else level >= UP_DB

    def _level(self, send: _Send) -> Any:
        """Where a send is brought to: what is up stays where a hand put it."""
        reading = self._board.reading(send.mixer, send.spec)
        return reading.value if reading.quality is Quality.GOOD and self._up(send) else FULL_DB

    # -- from points ----------------------------------------------------------------------------------------------

    def _heard_of(self, station: str, _: Reading[Any]) -> None:
        """Something of a station was read; computed at the end of this turn of the loop."""
        if not self._dirty:
            self._board.clock.later(self._board.clock.now(), self._flush)
        self._dirty[station] = None

    def _flush(self) -> None:
        dirty, self._dirty = self._dirty, {}
        for station in dirty:
            self._show(station)

    def _inputs(self, station: str) -> list[Reading[Any]]:
        entry = self._site.stations[station]
        own: list[Reading[Any]] = [self._board.reading("paths", SHOWS.at(entry.sees))] if entry.sees else []
        return own + [self._board.reading(send.mixer, send.spec) for send in self._sends[station]]

    def _show(self, station: str) -> None:
        entry, sends = self._site.stations[station], self._sends[station]
        if entry.sees:
            shown = self._board.reading("paths", SHOWS.at(entry.sees))
            self._writer.compute(SEES.at(station).name, shown.value, quality=shown.quality, asked_at=shown.asked_at)
        if sends:
            readings: list[Reading[Any]] = [self._board.reading(send.mixer, send.spec) for send in sends]
            quality = max((reading.quality for reading in readings), key=_WORST_LAST.index)
            known = all(self._up(send) is not None for send in sends)
            said = self._say(send.source for send in sends if self._up(send)) if known else None
            asked_at = min(reading.asked_at for reading in readings)
            self._writer.compute(HEARS.at(station).name, said, quality=quality, asked_at=asked_at)

    def _say(self, sources: Iterable[str]) -> str:
        """The mix of just these sources, else their names in the site's order."""
        found = tuple(sources)
        same = (name for name, members in self._site.sound.mixes.items() if set(members) == set(found))
        return next(same, "") or AND.join(found) or NOTHING
