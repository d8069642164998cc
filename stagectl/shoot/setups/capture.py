"""What would a set-up say, if the house were to stay as it is now? Values of its file, changed or added.

Nothing is written here; `keep` writes.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from stagectl.model.capabilities.recorder import REMOTE
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.conditions import same
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec, Quality, Reading
from stagectl.shoot.setups.plan import Chosen
from stagectl.shoot.setups.setup import Pair, Setup, Wanted
from stagectl.yamledit import Path

if TYPE_CHECKING:
    from stagectl.shoot.house import House


@dataclass(frozen=True, slots=True)
class Change:
    """One value to be written.

    Attributes:
        who, what: the row of the file: a device, part or "every GROUP", and its point.
        was: as the set-up has it; empty: it says nothing of it.
        now: as the boxes show it.
        place: where its value stands in the file; None: the row is to be added.
    """

    who: str
    what: str
    was: str
    now: str
    place: Path | None

    def say(self) -> str:
        """As a line: "mixer strip 5 level: -12 dB, was -14 dB"."""
        return f"{self.who} {self.what}: {self.now}" + (f", was {self.was}" if self.was else ", new")


@dataclass(slots=True)
class Captured:
    """What is to be written, and what can't be told, "mixer strip 5 level" each."""

    changes: list[Change] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


def capture(house: "House", setup: Setup, chosen: Chosen, *, add: bool) -> Captured:
    """Compare a set-up's values with what the boxes show.

    Args:
        house: what is so.
        setup: what is written.
        chosen: which points are meant.
        add: write also settable points that the set-up says nothing of.
    """
    told = Captured()
    done: set[Pair] = set()
    for pair, wanted in setup.wants.items():
        if not chosen(pair) or pair in done or not wanted.spec.settable:
            continue
        reading = house.board.reading(wanted.device, wanted.spec)
        text = _text(wanted.spec, reading)
        if text is None:
            told.unknown.append(wanted.say)
        elif not same(wanted.spec, reading.value, wanted.value):
            members = _members(house, setup, wanted, chosen)
            done.update((name, wanted.spec.name) for name in members)
            told.changes.append(_change(setup, wanted, text, members))
    if add:
        for device, reading in _others(house, setup, chosen):
            text = _text(reading.spec, reading)
            if text is None:
                told.unknown.append(f"{device} {reading.name.replace('.', ' ')}")
            else:
                told.changes.append(Change(device, reading.name.replace(".", " "), "", text, None))
    return told


def _text(spec: PointSpec[Any], reading: Reading[Any]) -> str | None:
    """The value as a file has it; None: it can't be told, or would not be read as it is."""
    if reading.quality is not Quality.GOOD:
        return None
    text = spec.say(reading.value)
    try:
        return text if same(spec, spec.read(text), reading.value) else None
    except RefusedError:
        return None


def _members(house: "House", setup: Setup, wanted: Wanted, chosen: Chosen) -> Sequence[str]:
    """Whom one row speaks of: all of its group, if they all show the same now; else the device alone."""
    group = house.site.groups.get(wanted.group, ())
    value = house.board.reading(wanted.device, wanted.spec).value
    for name in group:
        other = setup.wants.get((name, wanted.spec.name))
        reading = house.board.reading(name, wanted.spec)
        alike = reading.quality is Quality.GOOD and same(wanted.spec, reading.value, value)
        if other is None or other.group != wanted.group or not chosen(other.pair) or not alike:
            return (wanted.device,)
    return group or (wanted.device,)


def _change(setup: Setup, wanted: Wanted, text: str, members: Sequence[str]) -> Change:
    whole = bool(wanted.group) and len(members) > 1
    who = f"every {wanted.group}" if whole else wanted.device
    own = wanted.setup == setup.name and (whole or not wanted.group)
    return Change(
        who,
        wanted.spec.name.replace(".", " "),
        wanted.spec.say(wanted.value),
        text,
        wanted.place.path if own else None,
    )


def _others(house: "House", setup: Setup, chosen: Chosen) -> Iterator[tuple[str, Reading[Any]]]:
    """Settable points that the set-up says nothing of. What a destination shows stands for its crosspoint."""
    shown = {port for ports in house.site.pictures.all_destinations().values() for port in ports.values()}
    shown.update((tie.from_router, tie.output) for tie in house.site.pictures.tie_lines)
    for device in (*house.boxes, "paths"):
        for reading in sorted(house.board.points(device).values(), key=lambda one: _counted(one.name)):
            spec = reading.spec
            if not spec.settable or spec.name == REMOTE.name or not chosen((device, spec.name)):
                continue
            crosspoint = spec.template == OUTPUT_SOURCE.name and (device, int(spec.name.split(".")[1])) in shown
            if not crosspoint and (device, spec.name) not in setup.wants:
                yield device, reading


def _counted(name: str) -> list[tuple[int, str]]:
    """To sort names as people count: strip 2 before strip 10."""
    return [(int(word), "") if word.isdigit() else (0, word) for word in name.split(".")]
