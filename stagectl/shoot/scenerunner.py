"""How does a scene run? Step by step, each with its verdict, every wait with its deadline.

Every act goes through the house's one way in, with an id made of the run's: so it is journalled, guarded and never
carried out twice like anybody's. A run never ends a take that the scene does not name.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final, assert_never

from stagectl.control.groups import Group
from stagectl.model.conditions import NO, YES, Condition, Truth, judge
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import WORST_FIRST, Ended, Set
from stagectl.shoot.house import House, Wish
from stagectl.shoot.keeper import Keeper
from stagectl.shoot.scene import (
    AskPerson,
    Check,
    Do,
    Fails,
    InTurn,
    Pause,
    PutBack,
    SetPoints,
    Step,
    Together,
    WaitFor,
)
from stagectl.shoot.sceneacts import expand, inlet_of, missing, trial, wishes_of
from stagectl.shoot.scenerun import Failure, Run, Stand, StepResult, within
from stagectl.shoot.wording import listed

ENDS_S: Final = 3.0  # how long a scene's end may take to show
SUBMIT_S: Final = 10.0  # until an act is journalled and sent; the journal's own sync is bounded well below
SLACK_S: Final = 5.0  # beyond the deadlines of a group's verbs


class Runner:
    """Carries out one run.

    Args:
        house: the one way in, the board, the takes.
        run: what to do; its results are filled in.
        changed: told after every change of the run.
        spawn: starts a task that somebody keeps, and whose exception is fetched.
    """

    def __init__(
        self,
        house: House,
        run: Run,
        changed: Callable[[], None],
        spawn: Callable[[Awaitable[Any]], "asyncio.Task[Any]"],
    ) -> None:
        self._house = house
        self._run = run
        self._changed = changed
        self._spawn = spawn
        self._keeper = Keeper(house.board)

    async def carry_out(self) -> None:
        """Run to the verdict. Cancelled only when the daemon leaves: nothing is sent then."""
        run, scene = self._run, self._run.scene
        self._write("start", called=scene.called, args=dict(scene.given), fails=str(scene.fails))
        went_on, failures = await self._in_turn(scene.steps)
        if went_on and scene.ends is not None and not run.stopped_by:
            failures += await self._judge_end(scene.ends)
        if failures and scene.fails is Fails.PUT_BACK and not run.stopped_by:
            _, run.back = await self._put_back("back")
        if run.stopped_by and not went_on:
            run.ended, run.why = Ended.FAILED, f"stopped by {run.stopped_by}"
        elif failures:
            run.ended = Ended.FAILED if any(one.ended is Ended.FAILED for one in failures) else Ended.UNCONFIRMED
            first = next(one for one in failures if one.ended is run.ended)
            run.why, run.remedy = first.why, first.remedy
        else:
            groups = [group for result in run.results.values() for group in result.groups]
            run.ended = Ended.SENT if any(group.worst is Ended.SENT for group in groups) else Ended.VERIFIED
        self._write("end", ended=str(run.ended), count=run.count, why=run.why, back=run.back)
        run.finish()
        self._changed()

    # -- the tree -------------------------------------------------------------------------------------------------

    async def _in_turn(self, steps: Sequence[Step]) -> tuple[bool, list[Failure]]:
        """Steps one after another. Returns whether what follows is to be done, and what failed."""
        failures: list[Failure] = []
        for step in steps:
            went_on, failed = await self._step(step)
            failures += failed
            if not went_on:
                return False, failures
        return True, failures

    async def _together(self, steps: Sequence[Step]) -> tuple[bool, list[Failure]]:
        """Steps side by side; all come to their end."""
        ends = await asyncio.gather(*(self._step(step) for step in steps))
        return all(went_on for went_on, _ in ends), [failure for _, failed in ends for failure in failed]

    async def _step(self, step: Step) -> tuple[bool, list[Failure]]:
        head, result = step.head, self._run.results[step.head.number]
        if self._run.stopped_by:
            return False, []
        result.began = self._house.world.clock.now()
        went_on, failures = True, list[Failure]()
        if head.only_if is not None and (truth := judge(self._house.board, head.only_if)) is not YES:
            said = ", ".join(missing(self._house, head.only_if)[0])
            if truth is NO:
                self._close(result, Stand.SKIPPED, said)
                return True, []
            failures = [Failure(head.number, Ended.UNCONFIRMED, said)]
            went_on = False
        else:
            result.stand = Stand.UNDER_WAY
            self._changed()
            went_on, failures = await self._do(step, result)
        if failures and head.otherwise:
            failures = [self._otherwise(step, failures)]
        stopped = bool(self._run.stopped_by) and not went_on
        if failures or stopped:
            why = failures[0].why if failures else f"stopped by {self._run.stopped_by}"
            self._close(result, Stand.FAILED, why, failures[0].remedy if failures else "")
        else:
            self._close(result, Stand.PASSED, result.why)
        if stopped:
            return False, failures
        if head.goes_on:
            return True, []
        return went_on or self._run.scene.fails is Fails.GO_ON, failures

    def _otherwise(self, step: Step, failures: Sequence[Failure]) -> Failure:
        """The failure in the scene's own words; {called} is whom it is about."""
        whom: list[str] = []
        if isinstance(step, (Check, WaitFor)):
            whom = missing(self._house, step.claim)[1]
        else:
            groups = self._run.results[step.head.number].groups
            for group in groups:
                whom += [self._house.called(one.ask.target) for one in group.commands if not _well(one.verdict)]
        said = step.head.otherwise.replace("{called}", listed(names=list(dict.fromkeys(whom))))
        worst = Ended.FAILED if any(one.ended is Ended.FAILED for one in failures) else Ended.UNCONFIRMED
        return Failure(step.head.number, worst, ", ".join(one.why for one in failures), said)

    def _close(self, result: StepResult, stand: Stand, why: str = "", remedy: str = "") -> None:
        result.stand, result.why, result.remedy = stand, why, remedy
        result.after_s = self._house.world.clock.now() - (result.began or 0.0)
        result.question = ""
        groups = [[group.id, str(group.worst), group.count] for group in result.groups]
        self._write("step", step=result.number, say=result.say, stand=str(stand), why=why, commands=groups)
        self._changed()

    async def _do(self, step: Step, result: StepResult) -> tuple[bool, list[Failure]]:
        match step:
            case InTurn():
                return await self._in_turn(step.steps)
            case Together():
                return await self._together(step.steps)
            case Check():
                failures = self._claimed(step.head.number, step.claim, judge(self._house.board, step.claim))
            case WaitFor():
                truth = await self._until(step.claim, step.within_s)
                if truth is not YES and self._run.stopped_by:
                    return False, []
                failures = self._claimed(step.head.number, step.claim, truth)
            case SetPoints() | Do():
                failures = await self._act(step, result)
            case AskPerson():
                answered, failures = await self._ask(step, result)
                if not answered and self._run.stopped_by:
                    return False, []
            case Pause():
                return not await within(self._run.stopping, step.seconds), []
            case PutBack():
                failures, left = await self._put_back(step.head.number, result)
                result.why = ", ".join(left)
            case _:
                assert_never(step)
        return not failures, failures

    # -- claims ---------------------------------------------------------------------------------------------------

    def _claimed(self, number: str, claim: Condition, truth: Truth) -> list[Failure]:
        if truth is YES:
            return []
        said = ", ".join(missing(self._house, claim)[0]) or f"not seen: {claim.say()}"
        return [Failure(number, Ended.FAILED if truth is NO else Ended.UNCONFIRMED, said)]

    async def _until(self, claim: Condition, within_s: float) -> Truth:
        """Follow a claim until it is yes, the time is over or the run is to stop."""
        news = asyncio.Event()

        def tell(truth: Truth) -> None:
            if truth is YES:
                news.set()

        watch = self._house.board.watch(claim, tell)
        try:
            await within(news, within_s, self._run.stopping)
        finally:
            watch.detach()
        return watch.truth

    async def _judge_end(self, claim: Condition) -> list[Failure]:
        return self._claimed("end", claim, await self._until(claim, ENDS_S))

    # -- acts -----------------------------------------------------------------------------------------------------

    async def _act(self, step: SetPoints | Do, result: StepResult) -> list[Failure]:
        """Ask for all of it, then wait for every verdict. What can't be asked for at all is refused as a whole."""
        number = step.head.number
        try:
            wishes = wishes_of(self._house, self._run.scene.name, self._run.person, step, f"{self._run.id}.{number}")
            with trial(self._house):
                for wish in wishes:
                    expand(self._house, wish)
        except RefusedError as refused:
            return [Failure(number, Ended.FAILED, _clause(refused), refused.remedy)]
        failures = [failure for wish in wishes if (failure := await self._submit(number, wish, result)) is not None]
        return failures + await self._verdicts(number, result.groups)

    async def _submit(self, number: str, wish: Wish, result: StepResult, *, keep: bool = True) -> Failure | None:
        """Hand a wish to the house; a part of a step that is refused does not hold the others up."""
        try:
            if keep:
                self._keeper.keep(self._house.expand(wish), list(self._house.parts))
            task = self._spawn(self._house.submit(wish))
            done, _ = await asyncio.wait((task,), timeout=SUBMIT_S)
            if not done:
                return Failure(number, Ended.UNCONFIRMED, "it waits for the journal and may or may not be sent")
            group = task.result()
        except RefusedError as refused:
            return Failure(number, Ended.FAILED, _clause(refused), refused.remedy)
        result.groups.append(group)
        return None

    async def _verdicts(self, number: str, groups: Sequence[Group]) -> list[Failure]:
        failures = []
        for group in groups:
            waits = [command.deadline_at for command in group.commands if command.deadline_at != float("inf")]
            longest = max(waits, default=0.0) - self._house.world.clock.now()
            if not await group.wait(max(longest, self._house.commands.takes_s(group)) + SLACK_S):
                failures.append(Failure(number, Ended.UNCONFIRMED, f"{group.say}: no verdict in time"))
                continue
            worst = group.worst
            if worst in (Ended.FAILED, Ended.UNCONFIRMED):
                bad = [one for one in group.commands if one.verdict is not None and one.verdict.ended is worst]
                told = [f"{self._house.called(one.ask.target)}: {_why(one.verdict)}" for one in bad]
                remedy = next((one.verdict.remedy for one in bad if one.verdict and one.verdict.remedy), "")
                failures.append(Failure(number, worst, f"{group.count}; {', '.join(told)}", remedy))
        return failures

    async def _put_back(self, number: str, result: StepResult | None = None) -> tuple[list[Failure], list[str]]:
        """Undo this run's settings where they are still ours. Returns what failed, and all of it in words."""
        back, told = self._keeper.undo(self._house.commands.rises.now())
        groups: list[tuple[Group, str]] = []
        failures: list[Failure] = []
        for index, one in enumerate(back, 1):
            args = {"point": one.spec.name, "value": one.before}
            wish = Wish(
                self._run.person,
                inlet_of(self._run.scene.name),
                one.target,
                "set",
                args,
                f"{self._run.id}.{number}-{index}",
            )
            holder = StepResult("", "")
            failure = await self._submit(number, wish, holder, keep=False)
            if failure is not None:
                failures.append(failure)
                told.append(f"{one.say} is not put back: {failure.why}")
            groups += [(group, one.say) for group in holder.groups]
        for group, say in groups:
            failed = await self._verdicts(number, [group])
            failures += failed
            value = next((c.ask.verb for c in group.commands if isinstance(c.ask.verb, Set)), None)
            said = value.point.say(value.value) if value is not None else ""
            told.append(f"{say} is not seen to be put back: {failed[0].why}" if failed else f"{say} is {said} again")
        if result is not None:
            result.groups += [group for group, _ in groups]
        return failures, told

    # -- a person -------------------------------------------------------------------------------------------------

    async def _ask(self, step: AskPerson, result: StepResult) -> tuple[bool, list[Failure]]:
        """Returns whether somebody answered, and what failed."""
        number = step.head.number
        answer: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        news = asyncio.Event()
        answer.add_done_callback(lambda _: news.set())
        self._run.questions[number] = (step.of, answer)
        result.question, result.of = step.question, step.of
        self._changed()
        try:
            await within(news, step.within_s, self._run.stopping)
        finally:
            del self._run.questions[number]
        if answer.done():
            no = Failure(number, Ended.FAILED, f'"{step.question}" was answered no')
            return True, [] if answer.result() else [no]
        answer.cancel()
        return False, [Failure(number, Ended.FAILED, f"nobody answered within {step.within_s:g} s", "Start it again.")]

    def _write(self, what: str, **data: Any) -> None:
        run = self._run
        self._house.chronicle.write("scene", run.person.name, what=what, run=run.id, scene=run.scene.name, **data)


def _well(verdict: Any) -> bool:
    return verdict is not None and WORST_FIRST.index(verdict.ended) >= WORST_FIRST.index(Ended.SENT)


def _why(verdict: Any) -> str:
    return str(verdict.why).rstrip(".") or ", ".join(verdict.missing) or str(verdict.ended)


def _clause(refused: RefusedError) -> str:
    return str(refused).rstrip(".")
