"""Which clip goes where, and in which order? Pure: from a clip, the takes and a layout."""

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from string import Formatter
from typing import Final

from stagectl.copyoff.source import Found
from stagectl.copyoff.target import PART_MARK
from stagectl.shoot.take import Take
from stagectl.site.copyentries import GOOD, OLDEST, USUAL_ORDER

FIELDS: Final = ("recorder", "clip", "stem", "ext", "slot", "day", "slate", "take")
USUAL: Final = "{recorder}/{clip}"
UNKNOWN: Final = "unknown"  # stands for a day, slate or take that nobody knows
NAME_MOST: Final = 180  # bytes of one name; a part's name adds up to 40, and file systems take 255
SPARE: Final = 1.05  # room asked for a clip, times its size
RESERVE_BYTES: Final = 256 << 20  # room left on a target, unless the site file says; own choice

_BAD: Final = re.compile(r'[\x00-\x1f\x7f"*/:<>?\\|]')  # what one of the usual file systems refuses in a name
_DOS: Final = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)", re.IGNORECASE)
_EARLIEST: Final = datetime(1, 1, 1, tzinfo=UTC)
_CLOCKS_APART: Final = timedelta(minutes=10)  # a recorder's clock may be that much behind ours


@dataclass(frozen=True, slots=True)
class Held:
    """What a take says of a clip it holds."""

    rolled: datetime  # UTC
    take: int
    slate: str
    good: bool
    day: str  # YYYY-MM-DD, local


class Shots:
    """The clips that takes hold, found by recorder and name."""

    def __init__(self, takes: Iterable[Take]) -> None:
        self._held: dict[tuple[str, str], list[Held]] = {}
        for take in takes:
            day = f"{take.opened.astimezone():%Y-%m-%d}"
            for lane in take.all_lanes():
                if lane.clip:
                    held = Held(lane.wall, take.number, take.name, take.good, day)
                    self._held.setdefault((lane.device, lane.clip.casefold()), []).append(held)
        for several in self._held.values():
            several.sort(key=lambda held: (held.rolled, held.take))

    def held(self, recorder: str, name: str, mtime: datetime | None) -> Held | None:
        """What is known of a clip file; None: no take holds it.

        Where several takes had a clip of that name: the last that rolled before the file was last written.
        """
        several = self._held.get((recorder, name.casefold())) or self._held.get((recorder, _stem(name)))
        if not several:
            return None
        if mtime is None:
            return several[-1]
        earlier = bisect_right(several, mtime + _CLOCKS_APART, key=lambda held: held.rolled)
        return several[max(earlier - 1, 0)]


class Layout:
    """Where copies stand below a target's top, by a template: "{day}/{recorder}/{clip}".

    Fields: recorder, clip (file name), stem, ext (with its dot), slot, day, slate, take (three figures).

    Raises:
        ValueError: no such field, a path that leaves the target, or none that tells clips apart.
    """

    def __init__(self, template: str = USUAL) -> None:
        try:
            parts = list(Formatter().parse(template))
        except ValueError as error:
            raise ValueError(f'"{template}" has a brace too many or too few.') from error
        named = [name for _, name, _, _ in parts if name is not None]
        for name, spec, conversion in ((name, spec, conv) for _, name, spec, conv in parts if name is not None):
            if name not in FIELDS or spec or conversion:
                raise ValueError(f'there is no field "{{{name}}}". Say one of: {", ".join(FIELDS)}.')
        if "clip" not in named and "stem" not in named:
            raise ValueError(f'"{template}" tells no clips apart. Put {{clip}} into its last part.')
        if any(step in {"", ".", ".."} for step in template.split("/")):
            raise ValueError(f'"{template}" is no path below the target: no step may be empty, "." or "..".')
        self.template = template

    def path(self, values: Mapping[str, str]) -> str:
        """Fill in; each step made fit for any file system."""
        clean = {name: _clean(values[name]) for name in FIELDS}
        return "/".join(fit(step.format_map(clean)) for step in self.template.split("/"))


@dataclass(frozen=True, slots=True)
class Planned:
    """One clip with its place and its turn.

    Attributes:
        path: where it shall stand below a target's top, unless that is another clip's place: see `apart`.
        rank: text that sorts into the order of copying.
        day: YYYY-MM-DD, local: of its take, else of the file; "unknown".
        take, slate, good: of the take that holds it; None, "" and False: none known.
    """

    recorder: str
    found: Found
    path: str
    rank: str
    day: str
    take: int | None
    slate: str
    good: bool


def planned(recorder: str, found: Found, layout: Layout, shots: Shots, order: Sequence[str] = USUAL_ORDER) -> Planned:
    """Place one clip."""
    held = shots.held(recorder, found.name, found.look.mtime)
    mtime = found.look.mtime
    day = held.day if held else f"{mtime.astimezone():%Y-%m-%d}" if mtime else UNKNOWN
    stem, dot, ext = found.name.rpartition(".")
    path = layout.path(
        {
            "recorder": recorder,
            "clip": found.name,
            "stem": stem if dot and stem else found.name,
            "ext": f".{ext}" if dot and stem else "",
            "slot": str(found.slot) if found.slot else UNKNOWN,
            "day": day,
            "slate": held.slate if held and held.slate else UNKNOWN,
            "take": f"{held.take:03d}" if held else UNKNOWN,
        }
    )
    good = held.good if held else False
    return Planned(
        recorder=recorder,
        found=found,
        path=path,
        rank=rank(day, good=good, path=found.path, order=order),
        day=day,
        take=held.take if held else None,
        slate=held.slate if held else "",
        good=good,
    )


def rank(day: str, *, good: bool, path: str, order: Sequence[str] = USUAL_ORDER) -> str:
    """The turn of a clip, as text that sorts: by each word of the order, then by path. A day not known comes last."""
    last = date.max.toordinal()
    number = date.fromisoformat(day).toordinal() if day != UNKNOWN else None
    keys: list[str] = []
    for word in order:
        if word == GOOD:
            keys.append("0" if good else "1")
        elif number is None:
            keys.append(f"{last:07d}")
        else:
            keys.append(f"{number if word == OLDEST else last - number:07d}")
    return " ".join((*keys, path))


def fit(name: str) -> str:
    """Make a name fit for any of the usual file systems, and never that of a hidden or part file.

    Source: the signs and names that FAT, NTFS and SMB shares refuse; from memory of their public documentation.
    """
    text = _clean(name).rstrip(". ") or "_"
    if text.startswith(".") or _DOS.match(text):
        text = "_" + text.lstrip(".")
    stem, dot, ext = text.rpartition(".")
    tail = dot + ext if dot and len(ext.encode()) <= 16 else ""
    head = stem if tail else text
    while len(head.encode()) + len(tail.encode()) > NAME_MOST:
        head = head[:-1]
    return head + tail


def apart(path: str, number: int) -> str:
    """A place beside `path` for another clip of the same name: "iso-1/T001_2.mov" for number 2."""
    folder, slash, name = path.rpartition("/")
    stem, dot, ext = name.rpartition(".")
    told = f"{stem}_{number}{dot}{ext}" if dot and stem else f"{name}_{number}"
    return folder + slash + told


def fold(path: str) -> str:
    """The same for two paths that one of the usual file systems takes for one."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def room(size: int, keep_free: int) -> int:
    """Bytes that must be free before a clip of that size is copied, so that `keep_free` stay so."""
    return int(size * SPARE) + keep_free


def _clean(text: str) -> str:
    return _BAD.sub("_", unicodedata.normalize("NFC", text)).replace(PART_MARK, "_part_")


def _stem(name: str) -> str:
    stem, dot, _ = name.rpartition(".")
    return (stem if dot and stem else name).casefold()
