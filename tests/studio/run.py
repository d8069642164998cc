"""What does a plan come to? One run of the whole daemon in the virtual world, judged by every rule."""

import asyncio
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import structlog

from stagectl.control.journal import SEGMENT_BYTES, Journal
from stagectl.driverkit import sweep
from tests.studio import actors, faults, world
from tests.studio.histories import Answer, Histories, Line
from tests.studio.plan import Plan
from tests.studio.rules import ALL
from tests.studio.rules.rule import Breach
from tests.studio.stage import Stage

RESTART_S: Final = 0.5  # after a crash at an effect
# what a campaign must have reached, or it proves nothing; the ids of all faults come in addition
SOMETIMES: Final = (
    *("verified", "failed", "unconfirmed", "refused whole"),
    *("crash with a command open", "kill with a take running", "power_cut with a take running"),
    *("stop with a take running", "adopted two or more that rolled", "seen after its verdict"),
    *("disk full with a take running", "not durable", "a double that was answered", "judged after a restart"),
    *("born before the restart", "a new segment within a take", "journal damage named", "rolled at its front"),
    *("sent", "selection shown", "selection passed", "selection expired", "alarm grouped", "restart budget spent"),
    *("duplicate over both doors", "a segment full within a take", "stood still: refused"),
    *("scene verified", "scene failed", "scene stopped by a person", "scene cut short by the daemon's end"),
)
# what a line of the journal proves that we were at
REACHED: Final = {
    ("alarm", "net"): "alarm grouped",
    ("link", "quarantined"): "restart budget spent",
    ("later", "yes"): "seen after its verdict",
}


class _NoCollector:
    """Stands for `gc` in the daemon's sweep."""

    collect = freeze = set_threshold = staticmethod(lambda *at: None)
    get_threshold = staticmethod(lambda: (0, 0, 0))


@dataclass(frozen=True, slots=True)
class Crash:
    """Die just before the n-th outside effect of the first life, by "kill" or "power_cut"."""

    at: int
    how: str


@dataclass(slots=True)
class Result:
    """What came out.

    Attributes:
        hash: over every line of the trace: the same plan gives the same.
        reached: of SOMETIMES and of the fault catalogue, and how often.
        effect_times: when each outside effect of the daemon's first life was.
        lines: the trace, if it was kept.
    """

    plan: Plan
    hash: str
    breaches: list[Breach]
    reached: Mapping[str, int]
    run: Histories
    virtual_s: float
    wall_s: float
    effect_times: list[float]
    lines: list[str] = field(default_factory=list)

    @property
    def speed(self) -> float:
        """Virtual seconds a second."""
        return self.virtual_s / self.wall_s if self.wall_s else 0.0

    def effects_by(self, at: float) -> int:
        """How many of the first life's effects had happened by then."""
        return sum(effect <= at for effect in self.effect_times)

    @property
    def verdicts(self) -> dict[tuple[str, str], str]:
        """(act, device) -> how it ended first: what twins compare."""
        found: dict[tuple[str, str], str] = {}
        for asked in self.run.asked.values():
            for answer in asked.answers:
                if answer.told == "refused":
                    found.setdefault((asked.key, ""), f"refused {answer.code}")
                for device, (ended, _, code, _) in answer.boxes.items():
                    found.setdefault((asked.key, device), f"{ended} {code}".strip())
        return found


def run(plan: Plan, crash: Crash | None = None, *, keep_trace: bool = False) -> Result:
    """Play a plan to its end, and look for every breach."""
    before = structlog.get_config()
    structlog.configure(processors=[_drop], cache_logger_on_first_use=False)
    defaults = Journal.__init__.__kwdefaults__
    assert defaults is not None
    defaults["segment_bytes"] = plan.segment_bytes or SEGMENT_BYTES
    try:
        return _run(plan, crash, keep_trace=keep_trace)
    finally:
        defaults["segment_bytes"] = SEGMENT_BYTES
        structlog.configure(**before)


def _drop(*_: Any) -> Any:
    """What is buried at the end of a run has nothing to say."""
    raise structlog.DropEvent


def _run(plan: Plan, crash: Crash | None, *, keep_trace: bool) -> Result:
    began = time.perf_counter()
    virtual = world.build(plan.seed, keep_trace=keep_trace)
    stage = Stage(virtual, plan)
    times: list[float] = []

    def on_life(process: Any) -> None:
        if stage.life == 1:
            process.on_effect = lambda number, what: _effect(stage, crash, number, times)

    stage.on_life = on_life
    stage.on_op = lambda op: actors.act(stage, op)
    settled, sweep.gc = (
        sweep.gc,
        _NoCollector,
    )  # a run has the collector off; a full look a life would cost half its time
    try:
        virtual.run(_story(stage), limit_s=plan.ends + 120.0)
        histories = stage.collect()
    finally:
        sweep.gc = settled
        digest, lines = virtual.loop.trace.hash, list(virtual.loop.trace.lines or ())
        for process in virtual.loop.processes:
            process.alive = False  # what is closed now touches nothing any more
        virtual.close()
    breaches = [breach for check in ALL for breach in check(histories)]
    reached = Counter(stage.reach)
    reached.update(_reached(histories))
    return Result(
        plan, digest, sorted(breaches, key=lambda one: (one.at, one.rule)), reached, histories,
        histories.ended, time.perf_counter() - began, times, lines,
    )  # fmt: skip


async def _story(stage: Stage) -> None:
    plan = stage.plan
    await stage.open_boxes()
    if plan.accounts:
        await stage.make_accounts()
    stage.start_daemon()
    stage.spawn_people(actors.watch(stage), "page")
    for op in plan.ops:
        stage.later(op.t - stage.now(), lambda op=op: stage.spawn_people(actors.act(stage, op), op.id))
    for fault in plan.faults:
        stage.later(fault.t - stage.now(), lambda fault=fault: faults.begin(stage, fault))
    await asyncio.sleep(plan.ends - stage.now())


def _effect(stage: Stage, crash: Crash | None, number: int, times: list[float]) -> None:
    times.append(stage.now())
    if crash is not None and number == crash.at:
        stage.mark("fault", note=crash.how)
        stage.mark("healed", note=crash.how)
        if crash.how == "kill":
            stage.kill(restart_s=RESTART_S)
        else:
            stage.power_cut(restart_s=RESTART_S)


def _reached(run: Histories) -> Iterator[str]:
    for asked in run.asked.values():
        for answer in asked.answers:
            yield from _told(answer)
        if len(asked.answers) > 1:
            yield "a double that was answered"
    for one in run.scenes.values():
        if one.ended:
            yield f"scene {one.ended}"
    for lane in run.journal.lanes():
        if lane["note"] == "rolled at its front":
            yield "rolled at its front"
    yield from (REACHED[where] for line in run.journal.lines if (where := _where(line)) in REACHED)
    yield from _starts(run)


def _where(line: Line) -> tuple[str, str]:
    """Kind of a journal's line, and what it says in one word."""
    said = str(line.data.get("seen") or line.data.get("what") or "")
    return line.kind, "net" if str(line.data.get("alarm")).startswith("net-") and said == "on" else said


def _told(answer: Answer) -> Iterator[str]:
    if answer.told == "refused":
        yield "refused whole"
        if answer.code == "stood-still":
            yield "stood still: refused"
        if answer.code == "confirm":
            yield "selection expired" if answer.confirm else "selection shown"
    elif answer.confirm and answer.boxes:
        yield "selection passed"
    if answer.durable is False:
        yield "not durable"
    for ended, _, code, why in answer.boxes.values():
        yield ended
        if code == "born-before":
            yield "born before the restart"
        if "started again" in why or "ended before its verdict" in why:
            yield "judged after a restart"


def _starts(run: Histories) -> Iterator[str]:
    for mark in run.marks:
        if mark.what != "ready" or mark is next(one for one in run.marks if one.what == "ready"):
            continue
        rolling = [truth for truth in run.truths.values() if truth.was_recording(mark.at)]
        if len(rolling) >= 2 and run.seen and run.seen[-1].at > mark.at:
            yield "adopted two or more that rolled"
        if rolling:
            yield "a new segment within a take"
    by_epoch = Counter(epoch for _, epoch in run.journal.heads)
    if any(count > 1 for count in by_epoch.values()) and any(run.journal.of("take")):
        yield "a segment full within a take"
    for seen in run.seen:
        if any(text.startswith("journal-damage") for text in seen.trouble):
            yield "journal damage named"
            return
