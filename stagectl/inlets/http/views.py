"""What does each resource look like? Plain dicts from the house, ready for JSON."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, asdict, fields
from functools import cache
from importlib.metadata import version
from types import MappingProxyType
from typing import Any, Final, cast

from stagectl.control.access import Person, may_read
from stagectl.control.chronicle import stamp
from stagectl.control.groups import Command, Group
from stagectl.inlets.http.point_text import PointText
from stagectl.model.capabilities.base import EVERY_BOX, HEALTH, HEALTH_WHY, Capability
from stagectl.model.conditions import Leaf, number_of
from stagectl.model.points import Flags, PointSpec, Reading
from stagectl.model.verbs import Ended, Set, Verb
from stagectl.shoot.house import House
from stagectl.shoot.journalwords import JournalWords
from stagectl.shoot.take import Take
from stagectl.shoot.teller import Teller
from stagectl.site import VIDEO

DETAIL_MOST: Final = 64  # boxes; a larger roll is answered without its lanes, which hold the loop: ask for the take
LISTS: Final = {"recorder": ("clips",)}  # lists that can be asked of a kind of box


def site(house: House) -> dict[str, Any]:
    entry = house.site
    return {
        "name": entry.name,
        "slug": entry.slug,
        "devices": list(entry.devices),
        "groups": {name: list(members) for name, members in entry.groups.items()},
        "people": {name: str(role) for name, role in entry.people.items()},
        "sources": entry.pictures.all_sources(),
        "destinations": list(entry.pictures.all_destinations()),
        "levels": [VIDEO, *entry.pictures.levels] if entry.pictures.levels else [],
        "stations": list(entry.stations),
        "parts": list(house.parts),
        "limits": [_limit(device, leaf) for device, leaf in entry.limits],
        "epoch": house.epoch,
        "rev": house.board.rev,
        "started": stamp(house.started),
        "version": version_of(),
    }


def _limit(device: str, leaf: Leaf) -> dict[str, Any]:
    """A bound of the site file; one side of it is None."""
    most = leaf.says == "at most"
    bound = number_of(leaf.values[0])
    return {
        "device": device,
        "point": leaf.spec.name,
        "least": None if most else bound,
        "most": bound if most else None,
    }


@cache
def version_of() -> str:
    """Of the installed stagectl."""
    return version("stagectl")


def device(house: House, name: str) -> dict[str, Any]:
    """A box without its points."""
    box, entry = house.boxes[name], house.site.devices.get(name)
    host, port = box.address
    return {
        "id": name,
        "called": house.called(name),
        "kind": box.capability.kind,
        "box": entry.box if entry is not None else box.kind.name,
        "at": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "up": box.up,
        "adopted": box.adopted,
        "health": str(house.board.get(name, HEALTH).value or "unknown"),
        "why": str(house.board.get(name, HEALTH_WHY).value or ""),
        "quarantined": house.devices.quarantined.get(name),
        "groups": [group for group, members in house.site.groups.items() if name in members],
    }


def device_whole(house: House, name: str) -> dict[str, Any]:
    """A box with its points and what happened on its wire."""
    text = PointText(house.world.clock)
    found = [json.loads(text.write(reading)) for reading in house.board.points(name).values()]
    return device(house, name) | {"counts": asdict(house.boxes[name].counts), "points": found}


def point(house: House, reading: Reading[Any]) -> bytes:
    """One reading as JSON."""
    return PointText(house.world.clock).write(reading).encode()


def points_text(house: House, readings: Iterable[Reading[Any]]) -> bytes:
    """Many readings as one JSON document: a large house has tens of thousands."""
    text = PointText(house.world.clock)
    told = ",".join(map(text.write, readings))
    return f'{{"epoch":{house.epoch},"rev":{house.board.rev},"points":[{told}]}}'.encode()


def capability(kind: Capability) -> dict[str, Any]:
    every: tuple[PointSpec[Any], ...] = (*EVERY_BOX, *kind.points)
    return {
        "kind": kind.kind,
        "version": kind.version,
        "points": [_spec(spec) for spec in every],
        "verbs": [_verb(verb) for verb in (*kind.verbs, Set)],
    }


def _spec(spec: PointSpec[Any]) -> dict[str, Any]:
    kinds = {bool: "yes or no", int: "whole number", float: "number", str: "text"}
    return {
        "name": spec.name,
        "type": kinds.get(spec.type, "word"),
        "unit": str(spec.unit),
        "settable": spec.settable,
        "words": list(spec.words_of),
        "low": spec.low,
        "high": spec.high,
    }


def _verb(verb: type[Verb]) -> dict[str, Any]:
    about = (verb.__doc__ or "").strip().partition("\n")[0]
    arguments = [
        {"name": one.name, "needed": one.default is MISSING, "type": getattr(one.type, "__name__", "value")}
        for one in fields(cast("Any", verb))
    ]
    flags = [str(flag.name).lower() for flag in verb.spec.flags] if verb.spec.flags is not Flags.NONE else []
    return {
        "name": verb.spec.name,
        "about": about,
        "args": arguments,
        "deadline_s": verb.spec.deadline_s,
        "flags": flags,
    }


_ASKED: Final[Mapping[str, Any]] = MappingProxyType(
    {  # of a box that has no verdict yet
        "ended": None,
        "words": "asked",
        "say": "",
        "why": "",
        "remedy": "",
        "after_s": None,
        "missing": [],
        "code": "",
        "refused": False,
        "moot": False,
    }
)


def group(house: House, teller: Teller, one: Group) -> dict[str, Any]:
    """One press and how it ended for each box."""
    take = house.takes.takes.get(one.take) if one.take is not None else None
    rolled = take if one.verb == "roll" else None
    spread = rolled.spread() if rolled is not None else None
    offsets = rolled.offsets() if rolled is not None else {}
    told: dict[str, Any] = {
        "id": one.id,
        "say": teller.group(one),
        "wish": one.say,
        "who": one.who,
        "inlet": one.inlet,
        "verb": one.verb,
        "take": one.take,
        "ended": str(one.worst) if one.worst is not None else None,
        "count": one.count,
        "durable": one.durable,
        "spread": asdict(spread) if spread is not None else None,
        "boxes": [_box(house, teller, command, rolled, offsets) for command in one.commands],
    }
    if one.durable is False:
        told["warning"] = "What was asked is not safe on disk yet."
    if rolled is not None and rolled.closed is None and len(one.commands) <= DETAIL_MOST:
        house.takes.reckon(rolled)
        told["take_detail"] = take_view(house, teller, rolled)
    return told


def _box(
    house: House, teller: Teller, command: Command, take: Take | None, offsets: Mapping[str, int]
) -> dict[str, Any]:
    verdict, name = command.verdict, command.ask.target
    spec = command.ask.verb.spec
    called = house.called(name)
    if verdict is None:
        return {"device": name, "called": called, "verb": spec.name, **_ASKED}
    why, remedy = teller.reason(name, spec.name, verdict)
    told: dict[str, Any] = {
        "device": name,
        "called": called,
        "verb": spec.name,
        "ended": str(verdict.ended),
        "words": teller.outcome(name, spec.name, verdict, done=spec.done),
        "say": teller.box(command),
        "why": why,
        "remedy": remedy,
        "after_s": round(verdict.after_s, 4),
        "missing": list(verdict.missing),
        "code": verdict.code,
        "refused": verdict.refused,
        "moot": verdict.moot,
    }
    if take is not None and verdict.ended is Ended.VERIFIED:
        lanes = take.lanes.get(name)
        told["offset_frames"] = offsets.get(name)
        told["clip"] = lanes[0].clip if lanes else ""
    return told


def take_view(house: House, teller: Teller, take: Take) -> dict[str, Any]:
    """A take with its lanes and its sentence."""
    say = teller.ended(take) if take.closed is not None else teller.state()
    return {"say": say, **take.plain(house.world.clock.now())}


def takes(house: House, teller: Teller, count: int) -> dict[str, Any]:
    """The newest takes, newest first."""
    number, name = house.takes.next_number, house.takes.slate
    newest = list(reversed(house.takes.takes.values()))[:count]
    return {"next": {"take": number, "name": name}, "takes": [take_view(house, teller, take) for take in newest]}


def journal(house: House, person: Person, since: int | None, count: int) -> dict[str, Any]:
    """What this person may read of the entries after `since`, oldest first; None: of the newest, so many.

    Only what memory keeps; the rest is in files.
    """
    recent = [entry for entry in house.chronicle.recent if may_read(person, entry.kind, entry.who)]
    chosen = recent[-count:] if since is None else [entry for entry in recent if entry.n > since][:count]
    words = JournalWords(house.called)
    return {"entries": [words.plain(entry) for entry in chosen], "last": recent[-1].n if recent else 0}
