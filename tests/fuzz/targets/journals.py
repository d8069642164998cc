"""Is a journal that something else wrote into read as far as it goes, and does the daemon start from what it says?

Also 20,000 damaged ones, each held against the journal it was made from: `damaged`.
"""

import asyncio
import random
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from stagectl.control.chronicle import Chronicle
from stagectl.control.desk import Desk
from stagectl.control.journal import Journal
from stagectl.control.journal_lines import Record
from stagectl.control.journal_replay import Walk
from stagectl.control.recovery import Recovery
from stagectl.daemon import KEPT
from stagectl.driverkit.real import RealChance
from stagectl.shoot.take import Take
from stagectl.shoot.takerecords import TakeRecords
from tests.control.disk import Disk, File, ManualClock
from tests.fuzz.sealed import bundled, resealed, unbundled
from tests.fuzz.target import Outcome, SlipError, Target

DECKS: Final = {"iso-1": "Rec 1", "iso-2": "Rec 2", "mix-rec": "Rec 5"}


class Files:
    """Segments in memory, as a journal is read from."""

    def __init__(self, segments: Mapping[str, bytes]) -> None:
        self._segments = segments

    def names(self) -> list[str]:
        return sorted(self._segments)

    def read(self, name: str) -> bytes:
        return self._segments[name]


def read(data: bytes) -> Outcome:
    """Several segments in one text: walked, and everything folded that a start folds."""
    walk = Walk(Files(unbundled(data)))
    records = list(walk.records())
    report = walk.report
    for damage in report.damage:
        if not str(damage).strip() or not str(damage).isprintable():
            raise SlipError(f"a damage without a sentence: {damage!r}")
    started(records)
    if report.newer:
        return ("refused", "newer")
    ways = sorted({record.kind for record in records})
    return ("read" if report.whole else "damaged", str(min(len(report.damage), 3)), *ways)


def started(records: Iterable[Record]) -> "OrderedDict[int, Take]":
    """Fold as a daemon does that starts. Returns its takes."""
    kept = [record for record in records if record.kind in KEPT]
    clock = ManualClock()
    chronicle = Chronicle(_Nowhere(), clock)
    takes = restored(record.data for record in kept if record.kind == "take")
    Desk(clock, chronicle, RealChance().stream("desk")).restore(record.data for record in kept if record.kind == "desk")
    recovery = Recovery.read(kept, clock.now())
    for group in recovery.groups.values():
        repr((group.worst, group.count, group.told))
    for take in takes.values():
        take.plain(clock.now())
    return takes


def restored(records: Iterable[Mapping[str, Any]]) -> "OrderedDict[int, Take]":
    """The takes that these records tell of."""
    takes: OrderedDict[int, Take] = OrderedDict()
    clock = ManualClock()
    own = TakeRecords(clock, Chronicle(_Nowhere(), clock), takes, finish=lambda lane: None, written=lambda: None)
    own.restore(records, DECKS)
    return takes


class _Nowhere:
    """A journal that keeps nothing."""

    def write(self, kind: str, who: str, **data: Any) -> int:
        return 0

    async def synced(self, n: int) -> bool:
        return True


# -- what is damaged ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sound:
    """A journal as a daemon wrote it over some starts, and what it says.

    Attributes:
        segments: its files.
        records: all of them.
        heads, lanes: every state that a take's head, or a lane, ever had in it.
    """

    segments: Mapping[str, bytes]
    records: tuple[Record, ...]
    heads: frozenset[str]
    lanes: frozenset[str]


def written(seed: int) -> Sound:
    """A day of takes over one to four starts, in small segments; the same seed writes the same day."""
    chance = random.Random(seed)
    disk = Disk()
    clock = ManualClock()
    loop = asyncio.new_event_loop()
    try:
        for _ in range(chance.randint(1, 4)):
            loop.run_until_complete(_day(disk, clock, chance))
    finally:
        loop.close()
    segments = {name: bytes(disk.files[name].seen) for name in disk.segments()}
    walk = Walk(Files(segments))
    records = tuple(walk.records())
    if walk.report.damage:
        raise SlipError(f"a sound journal is damaged: {walk.report.damage[0]}")
    heads, lanes = _states(records)
    return Sound(segments, records, frozenset(heads), frozenset(lanes))


async def _day(disk: Disk, clock: ManualClock, chance: random.Random) -> None:
    journal = Journal(disk, clock, segment_bytes=chance.choice((900, 3000, 1 << 20)), reserve_bytes=0)
    await journal.open(site="Tidewater Hall")
    takes = restored(record.data for record in journal.replay() if record.kind == "take")
    number = max(takes, default=0)
    for _ in range(chance.randint(1, 4)):
        number += 1
        _take(journal, clock, chance, number)
        await journal.synced(journal.write("verdict", "ines", id=f"V{number}", take=number, boxes={}))
    await journal.close()


def _take(journal: Journal, clock: ManualClock, chance: random.Random, number: int) -> None:
    """The records of one take: a command, its head, its lanes as they begin, spill and end, its end."""
    decks = chance.sample(list(DECKS), chance.randint(1, 3))
    at = clock.wall().isoformat().replace("+00:00", ".000Z")
    head = {"what": "head", "take": number, "name": f"Trio {number}", "by": "ines", "opened": at, "closed": None}
    head |= {"wanted": decks, "good": False, "notes": [], "unseen": []}
    journal.write("command", "ines", id=f"C{number}", verb="roll", take=number, targets=decks, say="Roll", args={})
    journal.write("take", "ines", **head)
    lanes = {deck: [_lane(deck, at, number, 0)] for deck in decks}
    _lanes(journal, number, lanes, 0)
    if chance.random() < 0.5:
        spilled = chance.choice(decks)
        clock.advance(30)
        lanes[spilled][0]["ended"], lanes[spilled][0]["end"] = at, "10:00:30:00"
        lanes[spilled].append(_lane(spilled, clock.wall().isoformat().replace("+00:00", ".000Z"), number, 1))
        _lanes(journal, number, {spilled: lanes[spilled]}, 0)
    clock.advance(60)
    if chance.random() < 0.8:
        end = clock.wall().isoformat().replace("+00:00", ".000Z")
        for own in lanes.values():
            own[-1] |= {"ended": end, "end": "10:01:30:00", "ended_by": "ines"}
        _lanes(journal, number, {deck: own[-1:] for deck, own in lanes.items()}, None)
        journal.write("take", "ines", **(head | {"closed": end, "good": chance.random() < 0.3}))
    if chance.random() < 0.5:
        _correct(journal, number, at)


def _correct(journal: Journal, number: int, at: str) -> None:
    """A mark of a take, its rating, and the mark struck out."""
    mark = {"kind": "note", "text": "horn late", "who": "ines", "at": at, "label": "", "device": ""}
    journal.write("take", "ines", what="mark", take=number, i=0, mark=mark)
    after = {"name": f"Trio {number}", "slate_take": 1, "good": True}
    changes = [
        ({"what": "good", "was": "no", "now": "yes"}, {}),
        ({"what": "mark 1", "was": "note", "now": "note, struck out"}, {"mark": mark | {"struck": True}, "place": 0}),
    ]
    for place, (change, more) in enumerate(changes):
        told = {"change": change | {"who": "tomas", "at": at}, **after, **more}
        journal.write("take", "tomas", what="change", take=number, i=place, **told)


def _lane(deck: str, at: str, number: int, index: int) -> dict[str, Any]:
    return {
        "device": deck,
        "called": DECKS[deck],
        "rolled": at,
        "give_s": 0.02,
        "start": "10:00:00:00",
        "i": index,
        "start_exact": True,
        "clip": f"T{number}_{deck}_{index}",
        "slot": index + 1,
        "format": "1080p25",
        "length": "",
        "ended": None,
        "end": "",
        "ended_by": "",
        "note": "",
    }


def _lanes(journal: Journal, number: int, lanes: Mapping[str, list[dict[str, Any]]], first: int | None) -> None:
    plain = [dict(lane) for own in lanes.values() for lane in own[first:]]
    journal.write("take", "ines", what="lanes", take=number, lanes=plain)


def _states(records: Iterable[Record]) -> tuple[set[str], set[str]]:
    """Every state of a head or lane that a start could have seen after any of these records."""
    heads: set[str] = set()
    lanes: set[str] = set()
    takes: OrderedDict[int, Take] = OrderedDict()
    clock = ManualClock()
    own = TakeRecords(clock, Chronicle(_Nowhere(), clock), takes, finish=lambda lane: None, written=lambda: None)
    for record in records:
        if record.kind == "take":
            own.restore([record.data], DECKS)
            heads |= set(_heads(takes))
            lanes |= {lane for _, lane in _all_lanes(takes)}
    return heads, lanes


def _heads(takes: Mapping[int, Take]) -> Iterator[str]:
    for take in takes.values():
        # each of these comes from one record, so that a lost one leaves the others as they were
        yield repr((take.number, take.by, take.opened, take.closed, take.wanted))
        yield repr((take.number, take.name, take.good, take.slate_take))
        yield from (repr((take.number, one)) for one in (*take.marks, *take.changes))


def _all_lanes(takes: Mapping[int, Take]) -> Iterator[tuple[tuple[int, str, str], str]]:
    for take in takes.values():
        for lane in take.all_lanes():
            yield (take.number, lane.device, lane.clip), repr((take.number, lane.plain()))


def damage(sound: Sound, chance: random.Random) -> tuple[dict[str, bytes], str]:
    """Spoil a journal in one to three ways. Returns its files, and how it was spoilt."""
    segments = dict(sound.segments)
    ways: list[str] = []
    for _ in range(chance.choice((1, 1, 2, 3))):
        name = chance.choice(list(segments)) if segments else ""
        way = chance.choice(
            ("cut", "flip", "flip", "swap lines", "drop line", "drop file", "swap files", "version", "zeros")
        )
        ways.append(way)
        if name:
            _spoil(segments, name, way, chance)
    return segments, ", ".join(ways)


def _spoil(segments: dict[str, bytes], name: str, way: str, chance: random.Random) -> None:
    data = segments[name]
    lines = data.splitlines(keepends=True)
    match way:
        case "cut":
            segments[name] = data[: chance.randint(0, len(data))]
        case "flip" if data:
            at = chance.randrange(len(data))
            segments[name] = data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :]
        case "swap lines" if len(lines) > 1:
            a, b = chance.sample(range(len(lines)), 2)
            lines[a], lines[b] = lines[b], lines[a]
            segments[name] = b"".join(lines)
        case "drop line" if lines:
            del lines[chance.randrange(len(lines))]
            segments[name] = b"".join(lines)
        case "drop file":
            del segments[name]
        case "swap files":
            other = chance.choice(list(segments))
            segments[name], segments[other] = segments[other], data
        case "version":
            version = chance.choice((0, 2, 3, 99, -1))
            head = resealed(lines[0], lambda told: told | {"journal": version}) if lines else b""
            segments[name] = b"".join([head, *lines[1:]])
        case "zeros":
            at = chance.randint(0, len(data))
            segments[name] = data[:at] + bytes(chance.choice((1, 512, 4096)))


def opened(sound: Sound, segments: Mapping[str, bytes]) -> tuple[str, str]:
    """Open a spoilt journal as a daemon does, write to it, and hold what it says against what was written.

    Returns: how it ended ("whole", "cut short", "named", "refused"), and the sentence.
    Raises:
        SlipError: a record or take that never was, a loss that nobody is told of, or one number given twice.
    """
    loop = asyncio.new_event_loop()
    try:
        return loop.run_until_complete(_opened(sound, segments))
    finally:
        loop.close()


async def _opened(sound: Sound, segments: Mapping[str, bytes]) -> tuple[str, str]:
    disk = Disk()
    for name, data in segments.items():
        disk.files[name] = disk.directory[name] = File(bytearray(data), bytearray(data))
    journal = Journal(disk, ManualClock(), reserve_bytes=0)
    await journal.open(site="Tidewater Hall")
    found = list(journal.replay())
    _never_was(sound, found)
    n = journal.write("hand", "", device="iso-1")
    seen = {record.n for record in found}
    if n in seen:
        raise SlipError(f"record number {n} is given a second time")
    trouble, named = journal.trouble, journal.damage
    await journal.close()
    if trouble and "newer version" in trouble:
        if not str(trouble).strip().endswith("."):
            raise SlipError("refused without a sentence")
        return "refused", trouble
    lost = len(sound.records) - len(found)
    if named:
        return "named", str(named[0])
    if not lost:
        return "whole", ""
    if [record.chain for record in found] != [record.chain for record in sound.records[: len(found)]]:
        raise SlipError(f"{lost} records are lost from the middle, and nobody is told")
    return "cut short", ""


def _never_was(sound: Sound, found: list[Record]) -> None:
    chains = {record.chain: record for record in sound.records}
    for record in found:
        true = chains.get(record.chain)
        if true is None or (true.n, true.kind, true.data) != (record.n, record.kind, record.data):
            raise SlipError(f"record {record.n} was never written so")
    takes = started(found)
    for head in _heads(takes):
        if head not in sound.heads:
            raise SlipError(f"a take that never was: {head}")
    names = [name for name, _ in _all_lanes(takes)]
    if len(names) != len(set(names)):
        raise SlipError(f"one recording stands twice in a take: {names}")
    for _, lane in _all_lanes(takes):
        if lane not in sound.lanes:
            raise SlipError(f"a recording that never was: {lane}")


WORDS: Final = [
    *(
        b"command",
        b"verdict",
        b"take",
        b"desk",
        b"alarm",
        b"hand",
        b"link",
        b"daemon",
        b"head",
        b"lanes",
        b"slate",
        b"iso-1",
    ),
    *(
        b"id",
        b"take",
        b"boxes",
        b"targets",
        b"args",
        b"device",
        b"rolled",
        b"ended",
        b"opened",
        b"closed",
        b"i",
        b"what",
    ),
    *(
        b"2027-03-12T14:02:00.000Z",
        b"10:00:00;00",
        b"1080p25",
        b"verified",
        b"roll",
        b"journal",
        b"segment",
        b"epoch",
        b"n",
    ),
]


def _examples() -> list[bytes]:
    return [bundled(written(seed).segments) for seed in range(4)]


TARGETS: Final = [Target("journal", "journal: segments and records", read, "journal", WORDS, _examples())]
