"""What can be asked of copying off? To plan, begin and stop a run, to verify a place, to report; for every door.

It owns the engine and the database, tells the house part how they stand, writes down what began and how it ended, and
begins the runs that are due.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Coroutine, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import structlog

from stagectl.control.chronicle import Chronicle
from stagectl.copyoff import ledger, words
from stagectl.copyoff.checking import Check, findings
from stagectl.copyoff.due import Due
from stagectl.copyoff.engine import Engine
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.job import Sums, Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.part import NONE, CopyPart, state_of, summed
from stagectl.copyoff.progress import Busy, Progress
from stagectl.copyoff.record import Published
from stagectl.copyoff.run import Run, checked, copied
from stagectl.copyoff.schedule import Schedule
from stagectl.copyoff.target import Place
from stagectl.model.errors import RefusedError
from stagectl.model.words import nearest
from stagectl.model.world import Clock, Ids, Offload
from stagectl.shoot.take import Take

TELL_S: Final = 0.5  # points are computed at most so often
SUMS_S: Final = 2.0  # and the database is asked at most so often while a run goes
KEEP: Final = 50  # runs that can be asked after
EVERYTHING: Final = Wanted()

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Rest:
    """What copying off needs of the house.

    Attributes:
        takes: the takes there are, oldest first.
        called: device -> what people call it.
        troubled: says what keeps copies from being made; None: nothing.
    """

    clock: Clock
    ids: Ids
    chronicle: Chronicle
    takes: Callable[[], Iterable[Take]]
    called: Callable[[str], str]
    troubled: Callable[[str | None], None]


class CopyOff:
    """Copying off in one house."""

    def __init__(
        self,
        part: CopyPart,
        rest: Rest,
        jobs: Jobs,
        *,
        threads: Offload,
        places: Sequence[Place],
        schedule: Schedule,
        engine: Callable[[Callable[[], None], Callable[[Published], None]], Engine],
    ) -> None:
        """`engine` makes it of who is told that it changed, and who of each copy that stands."""
        self.part = part
        self.places = tuple(places)
        self.runs: OrderedDict[str, Run] = OrderedDict()
        self._rest = rest
        self._clock = rest.clock
        self._threads = threads
        self._jobs = jobs
        self._schedule = schedule
        self._due = Due(rest.clock, schedule, rest.takes, self._begin_due)
        self._engine = engine(self._soon, lambda copy: None)
        self._run: Run | None = None  # the copy run that goes
        self._check: Run | None = None  # the verification that goes
        self._tasks: set[asyncio.Task[None]] = set()
        self._telling = False
        self._summing = False
        self._summed_at = float("-inf")
        self._closed = False

    async def start(self) -> None:
        """Go on with what a restart interrupted, and begin to look at the schedule."""
        self.part.sums = await self._sums(EVERYTHING)
        await self._engine.start()
        engine = self._engine
        self.part.hush, self.part.give_way, self.part.rolls = engine.hush, engine.give_way, engine.rolls
        progress = self._engine.progress()
        if progress.running:
            last = await self._threads.run("copy-run", self._jobs.last_run)
            wanted = last[1] if last is not None else EVERYTHING
            self._run = self._remember(Run(progress.run, "copy", "", wanted, self._clock.wall(), self._clock.now()))
            self._write("", "resumed", "Copying goes on where it was.", run=progress.run)
        self.part.show(progress)
        if not self._closed:
            self._due.look()

    async def stop(self) -> None:
        """Stop where it is; a later start goes on."""
        self._closed = True
        self._due.close()
        if self._check is not None:
            for check in self._check.checks:
                check.stop()
        await self._engine.stop()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._jobs.close()

    # -- asked of it ----------------------------------------------------------------------------------------------

    async def status(self) -> dict[str, Any]:
        """How it stands at large and for each recorder."""
        self.part.sums = await self._sums(EVERYTHING)
        progress = self._engine.progress()
        self.part.show(progress)
        newest = self._run or next(reversed(self.runs.values()), None)
        schedule = self._schedule
        return {
            "state": str(state_of(progress)),
            "say": self._say(progress),
            "schedule": words.schedule(schedule.at, schedule.after_wrap_s),
            "places": [{"name": place.name, "called": place.called} for place in self.places],
            "recorders": self._recorders(self.part.sums),
            "run": self.view(newest) if newest is not None else None,
        }

    def answer(self) -> str:
        """How it stands in a few words, for the contents of the page."""
        progress = self._engine.progress()
        return words.answer(summed(self.part.sums), goes=progress.running, left_s=progress.left_s)

    async def plan(self, wanted: Wanted) -> dict[str, Any]:
        """List the recorders' clips anew, and say what a run would copy, in its order, and whether it fits."""
        began_at = self._clock.now()
        silent: Mapping[str, str] = {}
        if self._run is None:
            silent = await self._engine.refresh(wanted)
            self.part.listed([deck for deck in self._meant(wanted) if deck not in silent], began_at)
        found: dict[str, Any] = await self._threads.run("copy-plan", ledger.plan, self._jobs, wanted, self.places)
        self._soon()
        say = (
            f"{words.clips(found['clips'])} to copy, {words.size(found['bytes'])}."
            if found["clips"]
            else "There is nothing to copy."
        )
        left = [{"device": deck, "called": self._rest.called(deck), "why": why} for deck, why in silent.items()]
        return {"say": say, **found, "silent": left}

    async def begin(self, wanted: Wanted, who: str, *, why: str = "") -> Run:
        """Begin to copy what is wanted and not copied yet. `why`: it was due, a clause.

        Raises:
            RefusedError: a run goes already.
        """
        run = Run("", "copy", who, wanted, self._clock.wall(), self._clock.now(), due=bool(why))
        run.id = await self._engine.run(wanted)
        self._run = self._remember(run)
        say = f"Copying begins by itself: {why}." if why else f"{who or 'Somebody'} began to copy."
        self._write(who, "start", say, run=run.id, wanted=wanted.text())
        self._soon()
        return run

    def halt(self, who: str) -> Run:
        """End the run or the verification that goes; what is copied stays, and a part is gone on with later.

        Raises:
            RefusedError: none goes.
        """
        run = self._run or self._check
        if run is None:
            raise RefusedError("Nothing is copied or verified now.", code="copy-idle")
        run.halted = True
        if run is self._run:
            self._engine.halt()
        for check in run.checks:
            check.stop()
        self._write(who, "stop", f"{who or 'Somebody'} stopped the {run.kind} run.", run=run.id)
        self._soon()
        return run

    def verify(self, names: Sequence[str], who: str) -> Run:
        """Begin to read all copies at these places again (none: at all), against their histories.

        Raises:
            RefusedError: there is no such place, or a verification or a copy run goes already.
        """
        known = [place.name for place in self.places]
        for name in names:
            if name not in known:
                raise RefusedError(f'There is no place "{name[:40]}".', remedy=nearest(name[:40], known), code="target")
        if self._check is not None:
            raise RefusedError("A verification goes already.", remedy="To end it: stagectl copy stop", code="copy-runs")
        if self._run is not None:  # its copies would be told as strangers
            why = "A copy run goes, and what it copies stands in no history before its end."
            raise RefusedError(why, remedy="Wait for its end, or say: stagectl copy stop", code="copy-runs")
        run = Run(self._rest.ids.new(), "verify", who, EVERYTHING, self._clock.wall(), self._clock.now())
        run.checks = [Check(place) for place in self.places if not names or place.name in names]
        self._check = self._remember(run)
        told = ", ".join(check.place.name for check in run.checks)
        self._write(who, "start", f"{who or 'Somebody'} began to verify {told}.", run=run.id)
        self._spawn(self._verify(run))
        return run

    async def report(self, wanted: Wanted) -> dict[str, Any]:
        """What is not copied, could not be, is doubtful, double or missing; what is safe to clear."""
        sums, found = await asyncio.gather(
            self._sums(wanted),
            self._threads.run("copy-report", ledger.report, self._jobs, wanted, list(self._rest.takes())),
        )
        names = [place.name for place in self.places]
        total = summed(sums)
        say = words.standing(total, names) if sums else words.unlisted()
        return {"say": say, "recorders": self._recorders(sums, wanted), **found}

    def find(self, identifier: str) -> Run:
        """A run by its id. Raises RefusedError: code "run"."""
        if identifier not in self.runs:
            raise RefusedError(f'There is no run "{identifier[:40]}".', remedy="See: stagectl copy status", code="run")
        return self.runs[identifier]

    def view(self, run: Run) -> dict[str, Any]:
        """A run as JSON holds it."""
        if run.kind == "verify":
            return checked(run)
        progress = self._engine.progress() if run is self._run else Progress()
        return copied(run, progress, self._say(progress) if progress.running else words.ending(), self._rest.called)

    # -- how it stands --------------------------------------------------------------------------------------------

    def _say(self, progress: Progress) -> str:
        names = [place.name for place in self.places]
        if not progress.running:
            return words.standing(summed(self.part.sums), names) if self.part.sums else words.unlisted()
        decks = {name: deck for name, deck in progress.decks.items() if deck.busy is not Busy.IDLE}
        waits = [self._rest.called(name) for name in decks]
        stands = decks and all(deck.busy is Busy.WAITING for deck in decks.values())
        return words.going(
            done=progress.done,
            of=progress.of,
            rate=progress.rate,
            left_s=progress.left_s,
            waits=waits if stands else (),
        )

    def _meant(self, wanted: Wanted) -> list[str]:
        return [deck for deck in self.part.decks if not wanted.recorders or deck in wanted.recorders]

    def _recorders(self, sums: Mapping[str, Sums], wanted: Wanted = EVERYTHING) -> list[dict[str, Any]]:
        return [
            ledger.sums_of(
                deck,
                self._rest.called(deck),
                sums.get(deck, NONE),
                listed=self.part.is_listed(deck),
                fresh=self.part.is_fresh(deck),
                places=len(self.places),
            )
            for deck in self._meant(wanted)
        ]

    async def _sums(self, wanted: Wanted) -> Mapping[str, Sums]:
        found: Mapping[str, Sums] = await self._threads.run("copy-sums", self._jobs.sums, wanted)
        return found

    def _soon(self) -> None:
        if not self._telling and not self._closed:
            self._telling = True
            self._clock.later(self._clock.now() + TELL_S, self._tell)

    def _tell(self) -> None:
        self._telling = False
        if self._closed:
            return
        progress, run = self._engine.progress(), self._run
        if run is not None and not (progress.running and progress.run == run.id):
            self._run = None
            self._spawn(self._over(run, progress))
        self.part.show(progress)
        now = self._clock.now()
        if not self._summing and (now - self._summed_at >= SUMS_S or not progress.running):
            self._summing, self._summed_at = True, now
            self._spawn(self._sum_up())
        if progress.running:
            self._soon()  # rates and times left go on by themselves

    async def _sum_up(self) -> None:
        try:
            self.part.sums = await self._sums(EVERYTHING)
        finally:
            self._summing = False
        self.part.show(self._engine.progress())

    async def _over(self, run: Run, progress: Progress) -> None:
        """A run has ended: what stands decides how."""
        self.part.sums = await self._sums(EVERYTHING)
        sums = summed(await self._sums(run.wanted))
        blamed = {name for name, deck in progress.decks.items() if deck.why}
        self.part.listed([deck for deck in self._meant(run.wanted) if deck not in blamed], run.began_at)
        if run.due:
            self.part.due_ended()
        told = await self._threads.run("copy-troubles", ledger.troubles, self._jobs) if sums.failed else []
        self._rest.troubled(_trouble(told))
        says = "" if run.halted else progress.says
        say = words.ended(sums, [place.name for place in self.places], stopped=run.halted, says=says)
        bad, open_ = sums.failed or says, run.halted or sums.waiting
        self._end(run, "failed" if bad else "stopped" if open_ else "done", say)
        self.part.show(self._engine.progress())

    async def _verify(self, run: Run) -> None:
        told, whole, stopped = [], True, False
        for check in run.checks:
            name = check.place.name
            try:
                report = await self._threads.run(f"copy-verify {name}", check.run)
            except CopyError as error:
                whole, stopped = False, stopped or error.reason is Reason.STOPPED
                told.append(str(error))
                run.found[name] = {"whole": False, "why": str(error), "findings": []}
                continue
            run.found[name] = findings(report)
            whole = whole and report.whole
            wrong = sum(report.counts.values())
            told.append(words.checked(name, good=report.good, wrong=wrong, read=report.read))
        self._check = None
        self._end(run, "stopped" if stopped else "done" if whole else "failed", " ".join(told))

    def _end(self, run: Run, outcome: str, say: str) -> None:
        run.say, run.outcome, run.ended = say, outcome, self._clock.wall()
        self._write("", "end", say, run=run.id, outcome=outcome)

    def _begin_due(self, why: str) -> None:
        """A run is due; one that goes already is that run."""
        if self._run is None:
            self._spawn(self._of_itself(why))

    async def _of_itself(self, why: str) -> None:
        try:
            await self.begin(EVERYTHING, "", why=why)
        except RefusedError as refused:
            log.warning("copy_not_begun", why=str(refused))

    # -- tasks ----------------------------------------------------------------------------------------------------

    def _remember(self, run: Run) -> Run:
        self.runs[run.id] = run
        while len(self.runs) > KEEP:
            self.runs.popitem(last=False)
        return run

    def _write(self, who: str, what: str, say: str, **more: Any) -> None:
        self._rest.chronicle.write("copy", who, what=what, say=say, **more)

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("copy_task_failed", error=repr(error))
            self._rest.troubled(f"A part of copying off broke: {error}. What is copied stands. Start stagectl again.")


def _trouble(told: Sequence[str]) -> str | None:
    """What keeps copies from being made, as an alarm says it."""
    if not told:
        return None
    more = f" And {len(told) - 1} more: stagectl copy report" if len(told) > 1 else ""
    return f"Not all clips could be copied. {told[0]}{more}"
