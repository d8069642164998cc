"""Is the house ready to roll, and what keeps it from being? A house part, named "lineup".

Every check is followed all the time, so that "ready" is a point like any other. A run looks at everything anew first,
and a box that does not answer is not known. It changes nothing in any box.
"""

import asyncio
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final, Protocol

from stagectl.control.access import Person
from stagectl.control.chronicle import Chronicle, stamp
from stagectl.model.board import Board
from stagectl.model.capabilities.base import HEALTH, LINK_UP, MODEL, Capability
from stagectl.model.conditions import NO, UNKNOWN, YES, Truth, Watch
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Ask, Verb
from stagectl.model.words import nearest
from stagectl.shoot.clock.part import Clocks
from stagectl.shoot.lineup import wording
from stagectl.shoot.lineup.checks import Check
from stagectl.shoot.takes import NUMBER, RUNNING

ANSWER_S: Final = 2.5  # a box that has not told all by then is not known; a line-up takes 3 s at most
REASON: Final = 200  # letters
_PASSES: Final[Mapping[Truth, str]] = {YES: "pass", NO: "fail", UNKNOWN: "not known"}
_KITS: Final = frozenset({LINK_UP.name, HEALTH.name})  # what the kit says of a box, and no box is asked
_WORST_FIRST: Final = (NO, UNKNOWN, YES)
_COUNTED: Final = ("asks", "failed", "unknown", "holding")

SAY: Final[PointSpec[str]] = PointSpec("say", str)  # the sentence of all checks; while a take rolls it begins with that
READY: Final[PointSpec[bool]] = PointSpec("ready", bool)  # every must passes, or is waived by name
FAILED: Final[PointSpec[int]] = PointSpec("failed", int)
OPEN: Final[PointSpec[int]] = PointSpec("open", int)  # not known
RECORDER_READY: Final[PointSpec[bool]] = PointSpec("{recorder}.ready", bool)

LINEUP: Final = Capability("lineup", 1, (SAY, READY, FAILED, OPEN, RECORDER_READY), ())


class Asked(Protocol):
    """A box, as far as it is looked at."""

    def look_now(self, names: Any, done: Callable[[], None] | None = None) -> object | None:
        """Ask for these points; None: it can't be asked."""


@dataclass(frozen=True, slots=True)
class Waiver:
    """A check that somebody lets pass for this shoot; it ends at `ends_at` of our clock, `until` says when that is."""

    by: str
    because: str
    until: datetime
    ends_at: float

    def plain(self) -> dict[str, str]:
        return {"by": self.by, "because": self.because, "until": stamp(self.until)}


@dataclass(slots=True)
class Row:
    """One check and how it stands. `waiver` None: none."""

    check: Check
    truth: Truth
    found: str
    remedy: str
    age_s: float | None
    waiver: Waiver | None = None

    @property
    def stands(self) -> str:
        """pass, fail or not known."""
        return _PASSES[self.truth]

    @property
    def holds_up(self) -> bool:
        """Does it keep from being ready?"""
        return self.check.must and self.truth is not YES and self.waiver is None


@dataclass(frozen=True, slots=True)
class _Followed:
    """A check that is followed all the time."""

    check: Check
    watch: Watch

    def points(self) -> Iterator[tuple[str, str]]:
        """Device and name of each point it rests on."""
        for leaf in self.check.condition.leaves():
            yield leaf.device or self.check.device, leaf.spec.name


@dataclass(frozen=True, slots=True)
class _Stands:
    """How the checks of one device, or of all, stand: the worst that holds up, and how many there are of which kind."""

    worst: Truth = YES
    asks: int = 0
    failed: int = 0
    unknown: int = 0
    holding: int = 0


class Lineup:
    """All checks of a house."""

    name = "lineup"

    def __init__(
        self,
        board: Board,
        checks: Sequence[Check],
        boxes: Mapping[str, Asked],
        clocks: Clocks,
        chronicle: Chronicle,
        *,
        called: Mapping[str, str],
        recorders: Iterable[str],
        kept_s: float,
    ) -> None:
        """`called`: device -> what people call it; `kept_s`: how long a waiver lasts."""
        self._board = board
        self._boxes = boxes
        self._clocks = clocks
        self._chronicle = chronicle
        self._called = called
        self._recorders = dict.fromkeys(recorders)
        self._kept_s = kept_s
        self._waivers: dict[str, Waiver] = {}
        self._moved: dict[str, None] = {}  # devices of which a check has turned
        self._stands: dict[str, _Stands] = {}
        self._worst = Counter[Truth]()  # how many devices are no better than that
        self._counts = Counter[str]()  # of all checks, by what `_Stands` counts
        self.capability = Capability(
            LINEUP.kind,
            LINEUP.version,
            (SAY, READY, FAILED, OPEN, *(RECORDER_READY.at(name) for name in self._recorders)),
            (),
        )
        self._writer = board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*self.capability.points)
        turned = {check.device: partial(self._turned, check.device) for check in checks}
        self._followed = [
            _Followed(check, board.watch(check.condition, turned[check.device], device=check.device, lazy=True))
            for check in checks
        ]
        self._of: dict[str, list[_Followed]] = {device: [] for device in ("", *self._recorders)}
        for one in self._followed:
            self._of.setdefault(one.check.device, []).append(one)
        board.watch(RUNNING.is_(True), partial(self._turned, ""), device="takes")  # the house has more to say then
        self._tell_all()

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """It can only be read. Raises RefusedError."""
        raise RefusedError("The line-up is only looked at.", remedy="See: stagectl lineup", code="verb")

    def act(self, verb: Verb) -> None:
        """Nothing."""

    # -- all the time ---------------------------------------------------------------------------------------------

    def _turned(self, device: str, truth: Truth) -> None:
        if not self._moved:
            self._board.clock.later(self._board.clock.now(), self._tell)
        self._moved[device] = None

    def _tell_all(self) -> None:
        self._moved = dict.fromkeys(self._of)
        self._tell()

    def _tell(self) -> None:
        """Reckon anew what moved, and tell the points."""
        now = self._board.clock.now()
        ended = [name for name, waiver in self._waivers.items() if waiver.ends_at <= now]
        for name in ended:
            del self._waivers[name]
        moved, self._moved = dict.fromkeys(self._of) if ended else self._moved, {}
        for device in moved:
            before, stands = self._stands.get(device), self._stand(device)
            self._stands[device] = stands
            if before is not None:
                self._count(before, -1)
            self._count(stands, 1)
            if device in self._recorders:
                self._put(RECORDER_READY.at(device).name, stands.worst)
        self._put(READY.name, next((truth for truth in _WORST_FIRST if self._worst[truth]), YES))
        counts = self._counts
        self._writer.compute(FAILED.name, counts["failed"], asked_at=now)
        self._writer.compute(OPEN.name, counts["unknown"], asked_at=now)
        self._writer.compute(SAY.name, self._say(**{name: counts[name] for name in _COUNTED}), asked_at=now)

    def _count(self, stands: _Stands, times: int) -> None:
        self._worst[stands.worst] += times
        for name in _COUNTED:
            self._counts[name] += times * getattr(stands, name)

    def _say(self, *, asks: int, failed: int, unknown: int, holding: int) -> str:
        rolls = self._board.get("takes", RUNNING).value
        take = self._board.get("takes", NUMBER).value if rolls else None
        return wording.lineup(asks=asks, failed=failed, unknown=unknown, holding=holding, take=take)

    def _stand(self, device: str) -> _Stands:
        worst, asks, failed, unknown, holding = YES, 0, 0, 0, 0
        for one in self._of[device]:
            truth, check = one.watch.truth, one.check
            if truth is UNKNOWN and not self._applies(one):
                continue
            asks += 1
            failed += truth is NO
            unknown += truth is UNKNOWN
            if check.must and check.id not in self._waivers:
                worst = min(worst, truth, key=_WORST_FIRST.index)
                holding += truth is not YES
        return _Stands(worst, asks, failed, unknown, holding)

    def _put(self, name: str, truth: Truth) -> None:
        quality = Quality.UNKNOWN if truth is UNKNOWN else Quality.GOOD
        value = None if truth is UNKNOWN else truth is YES
        self._writer.compute(name, value, quality=quality, asked_at=self._board.clock.now())

    def _wall(self) -> datetime:
        return self._board.clock.wall()

    # -- a run ----------------------------------------------------------------------------------------------------

    def rows(self, silent: Iterable[str] = ()) -> list[Row]:
        """Every check as it stands: what fails first, then what is not known. `silent`: boxes that did not answer."""
        silent = set(silent)
        rows = [self._row(one, silent) for one in self._followed if self._applies(one)]
        order = {Truth.NO: 0, Truth.UNKNOWN: 1, Truth.YES: 2}
        return sorted(rows, key=lambda row: (order[row.truth], not row.check.must))

    def _applies(self, one: _Followed) -> bool:
        """Is it asked here? What no box of the kind tells, and nobody must have, is left out."""
        leaves = one.check.condition.leaves()
        return one.check.must or any(
            self._board.reading(leaf.device or one.check.device, leaf.spec).declared for leaf in leaves
        )

    def _row(self, one: _Followed, silent: set[str]) -> Row:
        check, truth = one.check, one.watch.truth
        found = check.finding(self._board)
        if truth is YES and any(device in silent for device, _ in one.points()):
            truth, found = UNKNOWN, f"it did not answer within {ANSWER_S:g} s; last seen: {found}"
        help_ = "" if truth is YES else check.help(self._board)
        return Row(check, truth, found, help_, self._age_s(one), self._waivers.get(check.id))

    def _age_s(self, one: _Followed) -> float | None:
        """Of the oldest reading it rests on."""
        now = self._board.clock.now()
        leaves = one.check.condition.leaves()
        asked = [self._board.reading(leaf.device or one.check.device, leaf.spec).asked_at for leaf in leaves]
        oldest = min(asked, default=now)
        return None if oldest == float("-inf") else max(0.0, now - oldest)

    async def run(self, who: str) -> dict[str, Any]:
        """Look at everything anew, then say how every check stands; kept in the journal. Takes up to 3 s."""
        silent = await self._look()
        rows = self.rows(silent)
        told = self.plain(rows)
        self._chronicle.write(
            "lineup",
            who,
            what="result",
            ready=told["ready"],
            say=told["say"],
            wrong=[f"{row.check.id}: {row.found}" for row in rows if row.truth is not YES][:200],
        )
        return told

    async def _look(self) -> list[str]:
        """Ask every box for what its rows rest on; who did not answer in time."""
        wanted: dict[str, dict[str, None]] = {}
        for one in self._followed:
            for device, name in one.points():
                if device in self._boxes:
                    names = wanted.setdefault(device, {})
                    if name not in _KITS:
                        names[name] = None
        silent = dict.fromkeys(wanted)
        done = asyncio.Event()
        if not silent:
            done.set()

        def answered(device: str) -> None:
            silent.pop(device, None)
            if not silent:
                done.set()

        for device, points in wanted.items():
            asked = self._boxes[device].look_now((MODEL.name, *points), partial(answered, device))
            if asked is None and self._board.get(device, LINK_UP).value:
                answered(device)  # it tells all of this by itself, and its link is up
        sampling = asyncio.create_task(self._clocks.sample())
        try:
            async with asyncio.timeout(ANSWER_S):
                await done.wait()
        except TimeoutError:
            pass  # who is still open is named
        await sampling
        return list(silent)

    def plain(self, rows: Sequence[Row] | None = None) -> dict[str, Any]:
        """As JSON."""
        rows = self.rows() if rows is None else rows
        holding = [row for row in rows if row.holds_up]
        failed = sum(row.truth is NO for row in rows)
        unknown = sum(row.truth is UNKNOWN for row in rows)
        return {
            "ready": not holding,
            "say": self._say(asks=len(rows), failed=failed, unknown=unknown, holding=len(holding)),
            "at": stamp(self._wall()),
            "passed": len(rows) - failed - unknown,
            "failed": failed,
            "unknown": unknown,
            "rows": [
                {
                    "id": row.check.id,
                    "device": row.check.device,
                    "called": self._called.get(row.check.device, row.check.device or "the house"),
                    "check": row.check.name,
                    "asks": row.check.asks,
                    "stands": row.stands,
                    "must": row.check.must,
                    "found": row.found,
                    "remedy": row.remedy,
                    "age_s": None if row.age_s is None else round(row.age_s, 1),
                    "waiver": row.waiver.plain() if row.waiver is not None else None,
                }
                for row in rows
            ],
        }

    # -- waivers --------------------------------------------------------------------------------------------------

    def waive(self, identifier: str, person: Person, because: str) -> None:
        """Let a check pass for this shoot, by name and with a reason; an empty reason takes that back.

        Raises:
            RefusedError: there is no such check, or the reason is too long.
        """
        known = [one.check.id for one in self._followed]
        if identifier not in known:
            raise RefusedError(
                f'There is no check "{identifier[:60]}".', remedy=nearest(identifier, known), code="target"
            )
        words = " ".join(because.split())
        if len(words) > REASON:
            raise RefusedError(f"A reason has {REASON} letters at most.", remedy="Say it shorter.", code="argument")
        kept_s = self._kept_s if words else 0.0
        until = self._wall() + timedelta(seconds=kept_s)
        waiver = Waiver(person.name, words, until, self._board.clock.now() + kept_s)
        self._keep(identifier, waiver)
        self._chronicle.write("lineup", person.name, what="waiver", check=identifier, **waiver.plain())
        self._tell_all()

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """Take up the waivers of an earlier start that still last."""
        for record in records:
            if record.get("what") == "waiver":
                until = datetime.fromisoformat(str(record["until"]))
                left_s = (until - self._wall()).total_seconds()
                ends_at = self._board.clock.now() + left_s
                self._keep(str(record["check"]), Waiver(str(record["by"]), str(record["because"]), until, ends_at))
        self._tell_all()

    def _keep(self, identifier: str, waiver: Waiver) -> None:
        """Until it ends; without a reason it has ended."""
        if not waiver.because or waiver.ends_at <= self._board.clock.now():
            self._waivers.pop(identifier, None)
            return
        self._waivers[identifier] = waiver
        self._board.clock.later(waiver.ends_at, self._tell)
