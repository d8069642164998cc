"""Which clip on a recorder is which take's, which is nobody's, and which take's clip is not there?

A recorder's own list is held against the take log: name and first label together are proof; where a name was changed
or never told, first label and length; where a list tells no labels, name and length; where the log has none, the name.
What can't be told is never called missing.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from stagectl.model.timecode import Label, span_frames
from stagectl.shoot.take import Lane, counting

NEAR_S: Final = 2.0  # how far a first label that was only reckoned may be from the clip's; own choice


@dataclass(frozen=True, slots=True)
class Row:
    """A clip as a recorder lists it; `start` (empty: not told, as of a medium not in use) and `length` are labels."""

    name: str
    start: str
    length: str
    slot: int = 0  # 0: not told


@dataclass(frozen=True, slots=True)
class Listing:
    """What a recorder lists of its media.

    Attributes:
        slot: of the medium it uses; 0: not known.
        others: slots whose media it lists too.
        why: why its list was not read, or not whole, as a clause; empty: it is whole.
    """

    device: str
    called: str
    rows: tuple[Row, ...] = ()
    slot: int = 0
    why: str = ""
    others: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A recording of a take, as the log has it."""

    take: int
    name: str
    lane: Lane


@dataclass(frozen=True, slots=True)
class Match:
    """A clip of a take. `by`: what told: "name and label", "label and length", "name and length", "label", "name"."""

    part: Part
    row: Row
    by: str


@dataclass(frozen=True, slots=True)
class Absent:
    """A recording of a take with no clip beside it. `known`: it is missing; else it can't be told, as `why` says."""

    part: Part
    known: bool
    why: str


@dataclass(frozen=True, slots=True)
class Matched:
    """All clips and all recordings, each once."""

    found: tuple[Match, ...]
    orphans: tuple[tuple[Listing, Row], ...]
    absent: tuple[Absent, ...]


def parts_of(takes: Iterable[Mapping[str, Any]]) -> list[Part]:
    """The recordings of takes as REST shows them, oldest first; those that still roll are left out.

    Raises:
        KeyError, TypeError, ValueError: one is no take.
    """
    plain = sorted(takes, key=lambda take: int(take["take"]))
    lanes = ((take, Lane.read(lane)) for take in plain for lane in take["lanes"])
    return [Part(int(take["take"]), str(take["name"]), lane) for take, lane in lanes if lane.ended is not None]


def matched(parts: Sequence[Part], listings: Sequence[Listing]) -> Matched:
    """Hold what recorders list against what takes hold."""
    found: list[Match] = []
    orphans: list[tuple[Listing, Row]] = []
    absent: list[Absent] = []
    for listing in listings:
        own = [part for part in parts if part.lane.device == listing.device]
        matches, rows, left = _match(own, listing.rows)
        found += matches
        orphans += [(listing, row) for row in rows]
        absent += [_absent(part, listing, rows) for part in left]
    return Matched(tuple(found), tuple(orphans), tuple(absent))


def _match(parts: Sequence[Part], rows: Sequence[Row]) -> tuple[list[Match], list[Row], list[Part]]:
    """Surest first, and the newest take first; each clip and each recording once. Returns what is left of both, too."""
    free, left, found = dict(enumerate(rows)), list(reversed(parts)), []
    for by, of_lane, of_row in _WAYS:
        places: dict[Hashable, list[int]] = {}
        for place, row in free.items():
            places.setdefault(of_row(row), []).append(place)
        for part in list(left):
            key = of_lane(part.lane)
            held = places.get(key, ()) if key is not None else ()
            fits = [place for place in held if place in free and _may_be(part.lane, free[place], by)]
            if not fits or (len(fits) > 1 and by != _WAYS[0][0]):
                continue  # of several that may be it, none is it
            left.remove(part)
            found.append(Match(part, free.pop(fits[-1]), by))
    return sorted(found, key=lambda one: one.part.take), list(free.values()), left[::-1]


def _exact(lane: Lane) -> bool:
    return lane.start_exact and bool(lane.start)


_WAYS: Final[Sequence[tuple[str, Callable[[Lane], Hashable | None], Callable[[Row], Hashable]]]] = (
    # what tells, by which key a recording and a clip are compared; None: this can't tell of it
    (
        "name and label",
        lambda lane: (lane.clip, lane.start) if _exact(lane) else None,
        lambda row: (row.name, row.start),
    ),
    (
        "label and length",
        lambda lane: (lane.start, lane.length) if _exact(lane) and lane.length else None,
        lambda row: (row.start, row.length),
    ),
    (
        "name and length",
        lambda lane: (lane.clip, lane.length) if _exact(lane) and lane.length else None,
        lambda row: (row.name, row.length) if not row.start else None,
    ),
    ("name", lambda lane: lane.clip if lane.clip and not _exact(lane) else None, lambda row: row.name),
    ("label", lambda lane: True if lane.start and not lane.clip and not _exact(lane) else None, lambda row: True),
)


def _may_be(lane: Lane, row: Row, by: str) -> bool:
    other = lane.slot and row.slot and lane.slot != row.slot
    return not other and (by != "label" or _is_near(lane, row))


def _is_near(lane: Lane, row: Row) -> bool:
    """Does the clip begin where the recording is reckoned to?"""
    rate = lane.rate
    if rate is None or not lane.start:
        return False
    try:
        first, told = (
            label.with_drop(counting(rate, label.drop).drop) for label in map(Label.parse, (lane.start, row.start))
        )
        away = span_frames(first, told, rate)
    except ValueError:
        return False
    return abs(away) <= NEAR_S * rate.nominal


def _absent(part: Part, listing: Listing, free: Iterable[Row]) -> Absent:
    lane = part.lane
    if listing.why:
        return Absent(part, False, listing.why)
    if lane.slot and listing.slot and lane.slot not in (listing.slot, *listing.others):
        return Absent(part, False, f"it is on slot {lane.slot}, and slot {listing.slot} is in use")
    if not lane.clip and not lane.start:
        return Absent(part, False, "the log has neither its name nor its first label")
    slot = lane.slot or listing.slot
    where = f"the medium in slot {slot}" if slot and listing.slot else "the medium in use"
    if listing.others and not lane.slot:
        where = f"the media in slots {_spelt((listing.slot, *listing.others))}"
    namesakes = [row for row in free if row.name == lane.clip]
    if namesakes:
        why = "begins elsewhere" if any(row.start for row in namesakes) else "has another length"
        return Absent(part, True, f"it is not on {where}: a clip of its name there {why}")
    return Absent(part, True, f"it is not on {where}")


def _spelt(slots: Iterable[int]) -> str:
    return " and ".join(str(slot) for slot in sorted(slots))


def told(result: Matched, listings: Sequence[Listing]) -> dict[str, Any]:
    """All of it as JSON has it."""
    return {
        "recorders": [
            {
                "device": one.device,
                "called": one.called,
                "slot": one.slot,
                "others": list(one.others),
                "clips": len(one.rows),
                "why": one.why,
            }
            for one in listings
        ],
        "clips": [_part(one.part) | _row(one.row) | {"by": one.by} for one in result.found],
        "orphans": [{"device": by.device, "called": by.called} | _row(row) for by, row in result.orphans],
        "missing": [*_missing(result, known=True)],
        "unknown": [*_missing(result, known=False)],
    }


def _missing(result: Matched, *, known: bool) -> Iterator[dict[str, Any]]:
    for one in result.absent:
        if one.known is known:
            lane = one.part.lane
            clip = {"clip": lane.clip, "start": lane.start, "length": lane.length, "slot": lane.slot}
            yield _part(one.part) | clip | {"why": one.why}


def _part(part: Part) -> dict[str, Any]:
    return {"take": part.take, "name": part.name, "device": part.lane.device, "called": part.lane.called}


def _row(row: Row) -> dict[str, Any]:
    return {"clip": row.name, "start": row.start, "length": row.length, "slot": row.slot}
