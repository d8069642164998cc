"""Which asks does a playback come to, and may these recorders play at all? Nothing is sent."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import SLOT_ACTIVE, TIMECODE, TRANSPORT, Cue, Play, Stop, Transport
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ask, Set, Verb
from stagectl.model.words import nearest
from stagectl.shoot.keeper import Keeper, Kept
from stagectl.shoot.order import SPAN, Stage, together
from stagectl.shoot.paths import shows
from stagectl.shoot.playback.passage import Passage
from stagectl.shoot.playback.verbs import PlayTake
from stagectl.shoot.routes.levels import Levels
from stagectl.shoot.routes.words import Route
from stagectl.shoot.setups.plan import Planner
from stagectl.shoot.stations import HEARS
from stagectl.site import StationEntry

if TYPE_CHECKING:
    from stagectl.shoot.house import House

MOVES: Final = (Transport.PLAYING, Transport.SHUTTLING)
_CUE: Final = 0  # stages: before all that the station notices
_PLAY: Final = (len(Stage) + 1) * SPAN  # and after all of it


def station_of(house: "House", name: str) -> StationEntry | None:
    """A station by its name, or by what people call it; None: none was named. Raises RefusedError."""
    stations = house.site.stations
    low = name.casefold()
    found = stations.get(name) or next((one for one in stations.values() if one.called.casefold() == low), None)
    if name and found is None:
        raise RefusedError(f'There is no station "{name[:40]}".', remedy=nearest(name, stations), code="point")
    return found


def see_free(house: "House", what: Passage, ours: Sequence[str]) -> None:
    """See that every recorder may play. `ours`: those that a playback has already.

    Raises:
        RefusedError: one rolls or is to roll, is not known, plays by another hand, or has another medium in use.
    """
    board, takes = house.board, house.takes
    for device in what.recorders:
        called = house.called(device)
        reading = board.get(device, TRANSPORT)
        if reading.value is Transport.RECORDING:
            raise RefusedError(f"{called} rolls.", remedy="Cut its take first.", code="take")
        take = takes.open
        if take is not None and (device in take.wanted or device in take.lanes):
            raise RefusedError(
                f"{called} belongs to take {take.number}, which runs.",
                remedy=f"Cut it first: stagectl cut {take.number}",
                code="take",
            )
        if reading.quality is not Quality.GOOD:
            raise RefusedError(f"What {called} does is not known now.", remedy="Look at its link.", code="no-link")
        if reading.value in MOVES and device not in ours:
            raise RefusedError(f"{called} plays already.", remedy="Stop it first.", code="conflict")
        slot, active = what.slots.get(device), board.get(device, SLOT_ACTIVE).value
        if slot and active and slot != active:
            raise RefusedError(
                f"Take {what.take} is on slot {slot} of {called}, and slot {active} is in use.",
                remedy=f"Choose it first: stagectl set {device} slot.active {slot}",
                code="needs",
            )


@dataclass(frozen=True, slots=True)
class Gets:
    """What a station gets: a picture source and a sound source; empty: it has no such, or nothing is routed.

    `places`: where the picture goes, and what routers carry beside it.
    """

    station: StationEntry | None = None
    picture: str = ""
    sound: str = ""
    places: tuple[str, ...] = ()

    def wants(self) -> list[tuple[str, Set[Any]]]:
        """As settings of parts."""
        found: list[tuple[str, Set[Any]]] = []
        if self.station is not None and self.picture:
            found += [("paths", Set(shows(place), self.picture)) for place in self.places]
        if self.station is not None and self.sound:
            found.append(("stations", Set(HEARS.at(self.station.name), self.sound)))
        return found


def gets(house: "House", recorder: str, station: StationEntry | None) -> Gets:
    """What a station gets of a recorder.

    Raises:
        RefusedError: the site does not say what comes off it, or nobody would hear it.
    """
    if station is None:
        return Gets()
    called, outlet = house.called(recorder), house.site.playback.get(recorder)
    found = Gets(
        station,
        outlet.picture if outlet is not None and station.sees else "",
        outlet.sound if outlet is not None and station.hears else "",
    )
    if found.picture:
        routes = Levels(house.site.pictures).spread([Route(station.sees, found.picture)])
        found = replace(found, places=tuple(route.place for route in routes))
    lacks = [
        word
        for word, has, wants in (("picture", found.picture, station.sees), ("sound", found.sound, station.hears))
        if wants and not has
    ]
    if lacks:
        raise RefusedError(
            f"Which {' and '.join(lacks)} comes off {called} is not known.",
            remedy="Write it in the site file, under `playback`.",
            code="needs",
        )
    if found.sound:
        mixer, strip = house.site.sound.sources[found.sound]
        if house.board.get(mixer, STRIP_MUTED.at(strip)).value is True:
            raise RefusedError(
                f"{found.sound} is muted, so {station.called} would not hear it.",
                remedy=f"Open it first: stagectl mute {strip} off",
                code="needs",
            )
        if house.board.get(mixer, STRIP_LEVEL.at(strip)).value == "off":
            raise RefusedError(
                f"The fader of {found.sound} is down, so {station.called} would not hear it.",
                remedy=f"Bring it up first: stagectl level {strip} -10",
                code="needs",
            )
    return found


def play_asks(
    house: "House", ask: Ask, verb: PlayTake, what: Passage, gives: Gets
) -> tuple[list[Ask], list[list[Ask]]]:
    """The press as one group in stages, itself first; and the station's part of it, setting by setting.

    Nothing of the station changes if a recorder can't be cued; nothing plays before picture and sound are there.
    """
    cues = [replace(ask, target=device, verb=Cue(what.label), stage=_CUE) for device in what.recorders]
    cued = [(device, TIMECODE.name) for device in what.recorders]  # of these verbs a cue alone touches it
    settings = Planner(house, ask).all_of(gives.wants())
    there = list(cued)
    asks: list[Ask] = []
    for one in together([one for some in settings for one in some], house.parts):
        asks.append(replace(one, stage=one.stage + SPAN, after=(*one.after, *cued)))
        there += [(one.target, name) for name in one.verb.touches()]
    last = replace(ask, verb=verb, stage=_PLAY, after=(*ask.after, *there))
    return [last, *cues, *asks, *(replace(last, target=device, verb=Play()) for device in what.recorders)], settings


def kept_of(keeper: Keeper, settings: Sequence[Sequence[Ask]], parts: Collection[str]) -> None:
    """Note what is so just before: a picture by its destination, a sound by its sends."""
    for some in settings:
        keeper.keep([one for one in some if one.target == "paths"] or some, parts)


def stop_asks(
    house: "House", ask: Ask, verb: Verb, recorders: Sequence[str], back: Sequence[Kept]
) -> tuple[list[Ask], list[tuple[Kept, list[Ask]]]]:
    """The end as one group in stages, itself first; and what brings back each setting. No stop goes to what rolls."""
    found = Planner(house, ask).all_of([(one.target, Set(one.spec, one.before)) for one in back])
    stops = [
        replace(ask, target=device, verb=Stop())
        for device in recorders
        if house.board.get(device, TRANSPORT).value is not Transport.RECORDING
    ]
    asks = together([one for some in found for one in some], house.parts)
    stage = max((one.stage for one in asks), default=ask.stage)
    return [replace(ask, verb=verb, stage=stage), *stops, *asks], list(zip(back, found, strict=True))
