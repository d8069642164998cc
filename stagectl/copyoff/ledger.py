"""What would be copied, and what is missing, doubtful or double? Told from the database and the takes; blocking."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.copyoff import words
from stagectl.copyoff.errors import CopyError
from stagectl.copyoff.job import Copy, Job, State, Sums, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.plan import SPARE
from stagectl.copyoff.target import Place
from stagectl.shoot.take import Take

MOST: Final = 500  # rows of one kind that are told; all are counted


@dataclass(slots=True)
class Rows:
    """Rows of one kind: the first are told, all are counted."""

    count: int = 0
    told: list[dict[str, Any]] = field(default_factory=list)

    def add(self, row: Callable[[], dict[str, Any]]) -> None:
        self.count += 1
        if len(self.told) < MOST:
            self.told.append(row())

    def plain(self) -> dict[str, Any]:
        return {"count": self.count, "rows": self.told}


@dataclass(frozen=True, slots=True)
class Room:
    """One place: bytes that are to come there and that it has left; free None: it can't tell. `why`: it is no use."""

    name: str
    called: str
    need: int
    free: int | None
    why: str

    def plain(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "called": self.called,
            "need": self.need,
            "free": self.free,
            "why": self.why or words.room(self.name, need=self.need, free=self.free),
        }


def every_job(jobs: Jobs, wanted: Wanted) -> Iterator[Job]:
    """All jobs that are meant, recorder by recorder in the order of copying; read page by page."""
    after: Job | None = None
    while page := jobs.page(wanted, after=after):
        yield from page
        after = page[-1]


def plan(jobs: Jobs, wanted: Wanted, places: Sequence[Place]) -> dict[str, Any]:
    """What a run would copy, in its order, and whether it fits."""
    rows, size = Rows(), 0
    need = dict.fromkeys((place.name for place in places), 0)
    for job in every_job(jobs, wanted):
        open_ = [copy for copy in job.copies if copy.target in need and copy.state is not State.PUBLISHED]
        for copy in open_:
            need[copy.target] += int(job.size * SPARE)
        if open_:
            size += job.size
            rows.add(partial(row_of, job))
    rooms = [_room(place, need[place.name]) for place in places]
    return {"clips": rows.count, "bytes": size, "rows": rows.told, "places": [one.plain() for one in rooms]}


def _room(place: Place, need: int) -> Room:
    need += place.keep_free if need else 0
    try:
        target = place.open()
        try:
            return Room(place.name, place.called, need, target.free(), "")
        finally:
            target.close()
    except CopyError as error:
        return Room(place.name, place.called, need, None, str(error))


def report(jobs: Jobs, wanted: Wanted, takes: Iterable[Take]) -> dict[str, Any]:
    """What is copied, is not, could not be, is doubtful or double, and which clips of takes no recorder lists."""
    open_, failed, doubtful, missing, copied = Rows(), Rows(), Rows(), Rows(), Rows()
    lanes = _clips_of(takes, wanted)
    for job in every_job(jobs, wanted):
        lanes.pop((job.recorder, _stem(job.source.name)), None)
        if job.state is State.FAILED:
            failed.add(partial(row_of, job))
        elif job.state is not State.PUBLISHED:
            open_.add(partial(row_of, job))
        if any(copy.state is State.PUBLISHED for copy in job.copies):
            copied.add(partial(row_of, job))
        if any(copy.doubt for copy in job.copies):
            doubtful.add(partial(row_of, job))
    for told in lanes.values():
        missing.add(partial(dict, told))
    double = Rows()
    for same in jobs.doubles():
        double.add(partial(_rows_of, same))
    found = {
        "copied": copied,
        "open": open_,
        "failed": failed,
        "doubtful": doubtful,
        "missing": missing,
        "double": double,
    }
    return {name: rows.plain() for name, rows in found.items()}


def troubles(jobs: Jobs) -> list[str]:
    """Why copies could not be made, each reason once; for the sentence of an alarm."""
    told: dict[str, None] = {}
    for job in every_job(jobs, Wanted()):
        for copy in job.copies:
            if copy.state is State.FAILED and copy.why:
                told[copy.why] = None
                if len(told) == MOST:
                    return list(told)
    return list(told)


def _clips_of(takes: Iterable[Take], wanted: Wanted) -> dict[tuple[str, str], dict[str, Any]]:
    """Clips that takes hold, by recorder and name without its ending."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for take in takes:
        day = f"{take.opened.astimezone():%Y-%m-%d}"
        if (wanted.takes and take.number not in wanted.takes) or (wanted.days and day not in wanted.days):
            continue
        for lane in take.all_lanes():
            if lane.clip and lane.ended is not None and (not wanted.recorders or lane.device in wanted.recorders):
                found[lane.device, _stem(lane.clip)] = {
                    "recorder": lane.device,
                    "called": lane.called,
                    "clip": lane.clip,
                    "take": take.number,
                    "slate": take.name,
                }
    return found


def _stem(name: str) -> str:
    stem, dot, _ = name.rpartition(".")
    return (stem if dot and stem else name).casefold()


def _rows_of(same: Iterable[Job]) -> dict[str, Any]:
    return {"clips": [row_of(job) for job in same]}


def row_of(job: Job) -> dict[str, Any]:
    """A clip with its copies, as JSON holds it."""
    return {
        "job": job.id,
        "recorder": job.recorder,
        "called": job.called,
        "clip": job.source.path,
        "slot": job.source.slot,
        "size": job.size,
        "day": job.day,
        "take": job.take,
        "slate": job.slate,
        "good": job.good,
        "present": job.present,
        "state": str(job.state),
        "verified": job.verified_copies,
        "copies": [copy_of(copy) for copy in job.copies],
    }


def copy_of(copy: Copy) -> dict[str, Any]:
    """One copy, as JSON holds it."""
    return {
        "place": copy.target,
        "path": copy.path,
        "state": str(copy.state),
        "reason": str(copy.reason) if copy.reason is not None else "",
        "why": copy.why,
        "doubt": copy.doubt,
        "hash": f"{copy.hash_kind} {copy.digest}" if copy.digest else "",
        "published": stamp(copy.published) if copy.published is not None else None,
        "list": copy.manifest,
    }


def sums_of(name: str, called: str, sums: Sums, *, listed: bool, fresh: bool, places: int) -> dict[str, Any]:
    """One recorder, as JSON holds it, with its sentences."""
    return {
        "device": name,
        "called": called,
        "clips": sums.clips,
        "bytes": sums.bytes,
        "waiting": sums.waiting,
        "waiting_bytes": sums.waiting_bytes,
        "failed": sums.failed,
        "published": sums.published,
        "safe": sums.safe,
        "clear": fresh and sums.clips > 0 and sums.safe == sums.clips,
        "say": words.recorder(called, sums, listed=listed),
        "clear_say": words.clear(sums, fresh=fresh, places=places),
    }
