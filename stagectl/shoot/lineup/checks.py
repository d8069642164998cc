"""What is asked before the first take? A row for each fact: the condition, what people read of it, and the remedy.

What a roll needs stands here as the roll's own condition, taken apart: a line-up that is ready, and then a roll that is
refused for what was checked, can't be.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from stagectl.model.board import Board
from stagectl.model.capabilities.base import HEALTH, LINK_UP, MODEL, SERIAL, Capability, Health
from stagectl.model.capabilities.recorder import (
    CHANNELS,
    CODEC,
    INPUT_FORMAT,
    INPUT_PRESENT,
    RECORDER,
    REFERENCE,
    REMOTE,
    SLOT_STATE,
    TIMECODE_SOURCE,
    TRANSPORT,
    Roll,
)
from stagectl.model.capabilities.router import OUTPUT_LOCK, Lock
from stagectl.model.conditions import All, Condition, every
from stagectl.model.points import PointSpec, Quality
from stagectl.shoot.clock.part import LOCKED, OFFSET, STATE, WHY, ClockState
from stagectl.shoot.media.part import ENOUGH, LEFT, PLANNED
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.playback.verbs import STATE as PLAYBACK
from stagectl.shoot.playback.verbs import State as Playing
from stagectl.shoot.setups.verbs import STATE as SET_UP
from stagectl.shoot.setups.verbs import State
from stagectl.site import LineupEntry, Site

Words = Callable[[Board], str]
"""What people read, from what is known now; a clause."""


@dataclass(frozen=True, slots=True)
class Check:
    """One fact that must be so.

    Attributes:
        device: whose; a name of a picture source for a camera, empty: the house's.
        name: with the device its id.
        asks: what is asked, for people: "picture format".
        condition: with every target filled in.
        must: a fail or a doubt keeps from being ready; else it is only told.
        remedy: a sentence, perhaps by what is seen.
        found: what is seen, where the points alone don't say it well.
    """

    device: str
    name: str
    asks: str
    condition: Condition
    must: bool
    remedy: str | Words
    found: Words | None = None

    @property
    def id(self) -> str:
        return f"{self.device}.{self.name}" if self.device else self.name

    def finding(self, board: Board) -> str:
        """What is seen, a clause: "input format is 1080i50"; several with commas."""
        if self.found is not None:
            return self.found(board)
        told: dict[str, None] = {}
        for leaf in self.condition.leaves():
            reading = board.reading(leaf.device or self.device, leaf.spec)
            where = leaf.spec.name.replace(".", " ")
            who = f"{leaf.device} " if leaf.device and leaf.device != self.device else ""
            doubt = "" if reading.quality is Quality.GOOD else f" ({reading.quality})"
            told[f"{who}{where} is {leaf.spec.say(reading.value)}{doubt}"] = None
        return ", ".join(told)

    def help(self, board: Board) -> str:
        """What a person can do."""
        return self.remedy if isinstance(self.remedy, str) else self.remedy(board)


# point of a roll's need: (name, what is asked, remedy)
_NEEDS: Final = MappingProxyType(
    {
        REMOTE.name: ("remote", "remote control", "Switch remote on at its front."),
        TRANSPORT.name: ("at-rest", "not playing", "Stop what it plays."),
        SLOT_STATE.name: ("medium", "a medium that can be written", "Put in a medium."),
    }
)
_CLOCK_REMEDIES: Final = MappingProxyType(
    {
        ClockState.OFF: "Jam it to the house's timecode; if it always lags so, write its lag in the site file.",
        ClockState.FREE: "Set its timecode input to the house's, and look at the cable.",
        ClockState.JUMPED: "Look who set the generator, and whether the cable is sound.",
        ClockState.FROZEN: "Look at the timecode cable and at the generator.",
        ClockState.RATE: "Set camera, generator and recorder to one frame rate.",
        ClockState.DROP: "Set its generator to count as the house does.",
        ClockState.UNKNOWN: "Let it show its input, and look whether timecode comes in.",
        ClockState.IN_STEP: "",
    }
)


_PLAYS: Final = MappingProxyType(
    {
        Playing.IDLE: "nothing is played back",
        Playing.CUEING: "a take is being cued",
        Playing.PLAYS: "a take plays",
        Playing.OVER: "a take has played, and its station has not got back what it had",
    }
)


def checks_of(site: Site, kinds: Mapping[str, Capability]) -> tuple[Check, ...]:
    """Every check of a site, device by device; those the site leaves out are not in it."""
    checks: list[Check] = []
    for device, kind in kinds.items():
        checks.extend(_of_box(device, site))
        if kind is RECORDER:
            checks.extend(_of_recorder(device, site.lineup))
        if kind is RECORDER and device in site.pictures.destinations:
            checks += [_of_route(device), _of_lock(device, *site.pictures.destinations[device])]
    checks.extend(_of_cameras(site))
    checks += [_of_set_up(), _of_playback()]
    checks.extend(
        Check(own.device, own.name, own.check.say(), own.check, own.must, own.remedy) for own in site.lineup.checks
    )
    return tuple(check for check in checks if check.name not in site.lineup.leave_out)


def _of_box(device: str, site: Site) -> Iterable[Check]:
    there = every(LINK_UP.is_(True), HEALTH.is_not(Health.FAILED)).on(device)
    yield Check(
        device, "reachable", "answers", there, must=True, remedy="Look at its power, its cable and its address."
    )
    entry = site.devices.get(device)
    expected = entry.expect if entry is not None else {}
    same = [spec.is_(expected[spec.name]) for spec in (MODEL, SERIAL) if spec.name in expected]
    if same:
        yield Check(
            device,
            "right-device",
            "is the box it should be",
            All(tuple(same)).on(device),
            must=True,
            remedy="Two addresses may be swapped: look at the site file.",
        )


def _of_recorder(device: str, wanted: LineupEntry) -> Iterable[Check]:
    yield from _of_roll(device)
    yield Check(
        device,
        "signal",
        "a picture comes in",
        INPUT_PRESENT.is_(True).on(device),
        must=True,
        remedy="Look at the camera's power, the cable and the route.",
    )
    if wanted.format:
        yield Check(
            device,
            "format",
            f"picture format {wanted.format}",
            INPUT_FORMAT.is_(wanted.format).on(device),
            must=True,
            remedy=f"Set the camera that is routed to it to {wanted.format}.",
        )
    settings: tuple[tuple[PointSpec[Any], object, str, str], ...] = (
        (CODEC, wanted.codec or None, "codec", "codec"),
        (CHANNELS, wanted.channels, "channels", "sound channels"),
        (TIMECODE_SOURCE, wanted.timecode_source or None, "timecode-source", "timecode source"),
    )
    for spec, value, name, asks in settings:
        if value is not None:
            said, point = spec.say(value), spec.name.replace(".", " ")
            yield Check(
                device,
                name,
                f"{asks} {said}",
                spec.is_(value).on(device),
                must=True,
                remedy=f'Set it so: stagectl set {device} "{point}" {said}',
            )
    yield Check(
        device,
        "timecode",
        "timecode in step",
        STATE.at(device).is_(ClockState.IN_STEP).on("clock"),
        must=True,
        remedy=lambda board: _CLOCK_REMEDIES[board.get("clock", STATE.at(device)).value or ClockState.UNKNOWN],
        found=lambda board: _clock_found(board, device),
    )
    yield Check(
        device,
        "record-time",
        "room for the day's plan",
        ENOUGH.at(device).is_(True).on("media"),
        must=True,
        remedy="Change its medium for one with more room.",
        found=lambda board: _room_found(board, device),
    )
    yield Check(
        device,
        "reference",
        "locked to the reference",
        REFERENCE.is_(True).on(device),
        must=False,
        remedy="Look at the reference cable, its end and its rate.",
    )


def _of_roll(device: str) -> Iterable[Check]:
    """A row for each part of what a roll needs."""
    needs = Roll().needs()
    for part in needs.parts if isinstance(needs, All) else (needs,):
        leaf = next(part.leaves())
        name, asks, remedy = _NEEDS.get(leaf.spec.template or leaf.spec.name, ("may-roll", part.say(), "Look at it."))
        yield Check(device, name, asks, part.on(device), must=True, remedy=remedy)


def _of_route(device: str) -> Check:
    """What comes in at a recorder is known from every crosspoint of its way."""
    return Check(
        device,
        "route",
        "its picture is known",
        SHOWS.at(device).known().on("paths"),
        must=True,
        remedy="Look whether its routers answer: stagectl paths",
        found=lambda board: f"it gets {board.get('paths', SHOWS.at(device)).value or 'a picture that is not known'}",
    )


def _of_lock(device: str, router: str, output: int) -> Check:
    """A panel that has locked a recorder's way keeps us from putting it right during the day."""
    return Check(
        device,
        "route-free",
        "nobody else has locked its picture",
        OUTPUT_LOCK.at(output).is_not(Lock.THEIRS).on(router),
        must=False,
        remedy="Release it at the panel that locked it.",
    )


def _of_playback() -> Check:
    """A station that still gets a take sees the past, and takes it for now."""
    return Check(
        "",
        "playback",
        "nothing is played back",
        PLAYBACK.is_(Playing.IDLE).on("playback"),
        must=False,
        remedy="End it: stagectl play stop",
        found=lambda board: _PLAYS[board.get("playback", PLAYBACK).value or Playing.OVER],
    )


def _of_set_up() -> Check:
    """What somebody changed since the set-up may be meant: it is told, and keeps nobody from rolling."""
    return Check(
        "",
        "set-up",
        "as it was set up",
        SET_UP.one_of(State.NONE, State.HOLDS).on("setups"),
        must=False,
        remedy="See what changed: stagectl setup list",
        found=lambda board: f"the set-up {board.get('setups', SET_UP).value or 'is not known'}",
    )


def _of_cameras(site: Site) -> Iterable[Check]:
    """A camera that runs free and moves makes tracked pictures swim; no edit can mend that."""
    for name, camera in site.cameras.items():
        if camera.tracked:
            how = f"{'by the reference' if camera.locked else 'free'}{' on a moving head' if camera.moves else ''}"
            yield Check(
                name,
                "reference",
                "kept in step, for it is tracked",
                LOCKED.at(name).is_(True).on("clock"),
                must=camera.moves,
                remedy="Give it the house's reference, or leave it out of tracked set-ups.",
                found=_said(f"it runs {how}, as the site file says"),
            )


def _said(words: str) -> Words:
    return lambda board: words


def _clock_found(board: Board, device: str) -> str:
    state, why = board.get("clock", STATE.at(device)), board.get("clock", WHY.at(device)).value
    if state.value is ClockState.IN_STEP and state.quality is Quality.GOOD:
        offset = board.get("clock", OFFSET.at(device)).value
        return f"in step, {offset:+.1f} frames" if offset else "in step"
    return why or "no timecode is known of it"


def _room_found(board: Board, device: str) -> str:
    left, planned = board.get("media", LEFT.at(device)), board.get("media", PLANNED)
    if left.quality is not Quality.GOOD or left.value is None:
        return "its record time is not known"
    return f"{_long(left.value)} left, {_long(planned.value or 0)} planned"


def _long(seconds: float) -> str:
    """A duration as people say it: "2 h 05 min", "45 min"."""
    minutes = int(seconds // 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
