"""Which scenes are there, which run, and who may start one?"""

import asyncio
import re
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any, Final

import structlog

from stagectl import yamlfile
from stagectl.control.access import Person, Role, allowed
from stagectl.filetree import FileError, FileErrors, Issues, Node, Table
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from stagectl.model.words import nearest
from stagectl.shoot.house import LATEST_S, House
from stagectl.shoot.scene import Scene
from stagectl.shoot.scenefile import read_scene
from stagectl.shoot.sceneplan import Plan, plan
from stagectl.shoot.scenerun import Run, Stand, StepResult
from stagectl.shoot.scenerunner import Runner
from stagectl.shoot.vocabulary import words_of

MAX_FILES: Final = 500  # in one folder; own choice
MAX_AT_ONCE: Final = 8  # runs
KEEP: Final = 200  # runs remembered, so that an id is never carried out twice
ID_LONGEST: Final = 40  # the ids of its acts are this one and the step's number
_NAME: Final = re.compile(r"[a-z][a-z0-9-]{0,31}")
_ID: Final = re.compile(r"[A-Za-z0-9._-]+")
_OTHERS: Final = ("site", "set-up")  # first words of other files in the same folder
_RANKS: Final = tuple(Role)

log = structlog.get_logger()


class Scenes:
    """The scenes of a site and their runs.

    Attributes:
        scenes: by name; only those that are right.
        errors: what is wrong with the others, file by file.
        runs: the newest KEEP, by id, oldest first.
        on_change: told after every change of a run.
    """

    def __init__(self, house: House, *folders: Path) -> None:
        self.scenes: dict[str, Scene] = {}
        self.errors: list[FileError] = []
        self.runs: OrderedDict[str, Run] = OrderedDict()
        self.on_change: list[Callable[[Run], None]] = []
        self._house = house
        self._folders = folders
        self._tasks: dict[asyncio.Task[Any], Run | None] = {}
        self._words = words_of(house)

    # -- files ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read every scene file anew. A broken one is left out and told in `errors`; runs keep their own copy."""
        scenes: dict[str, Scene] = {}
        issues = Issues()
        for folder in self._folders:
            for path in sorted(folder.glob("*.yaml"))[:MAX_FILES]:
                with issues.gather():
                    scene = self._read(path)
                    if scene is not None and scenes.setdefault(scene.name, scene) is not scene:
                        raise FileError(str(path), "another folder has a scene of this name.", remedy="Rename one.")
        self.scenes, self.errors = scenes, list(FileErrors(issues.errors).errors)
        for error in self.errors:
            log.warning("scene_left_out", error=str(error))

    def _read(self, path: Path) -> Scene | None:
        """The scene of a file; None: it is another kind of file. Raises FileError, FileErrors."""
        if "." in path.stem:
            return None  # such as what simulators read: tidewater-hall.sim.yaml
        root = self._scene_in(path)
        if root is None:
            return None
        if not _NAME.fullmatch(path.stem):
            raise FileError(
                str(path), "a scene's file is named with small letters, digits and hyphens.", remedy="Rename it."
            )
        return read_scene(root, path.stem, self._words)

    @staticmethod
    def _scene_in(path: Path) -> Node | None:
        first, *more = yamlfile.read_all(path)
        if isinstance(first, Table) and "scene" not in first and any(word in first for word in _OTHERS):
            return None
        if more:
            raise more[0].wrong("a second document starts here.", "Keep one in this file.")
        return first

    # -- asked of it ----------------------------------------------------------------------------------------------

    def find(self, name: str) -> Scene:
        """A scene by its name or by what people call it. Raises RefusedError."""
        bare = name.strip()
        if bare in self.scenes:
            return self.scenes[bare]
        broken = [error for error in self.errors if Path(error.file).stem == bare]
        if broken:
            more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
            raise RefusedError(f"The scene {bare} can't be read: {broken[0]}{more}", code="scene")
        for scene in self.scenes.values():
            if scene.called.casefold() == bare.casefold():
                return scene
        raise RefusedError(f'There is no scene "{bare[:40]}".', remedy=nearest(bare, self.scenes), code="scene")

    def filled(self, name: str, args: Mapping[str, str]) -> Scene:
        """A copy of a scene with its arguments filled in. Raises RefusedError."""
        scene = self.find(name)
        try:
            return read_scene(scene.root, scene.name, self._words, args)
        except (FileError, FileErrors) as error:
            raise RefusedError(f"With these arguments {scene.name} can't run: {error}", code="argument") from error

    def dry_run(self, name: str, args: Mapping[str, str] | None = None, person: Person | None = None) -> Plan:
        """What it would do now, for `person` (an operator if left out). Nothing is sent. Raises RefusedError."""
        return plan(self._house, self.filled(name, args or {}), person or Person("", Role.OPERATOR))

    def start(self, name: str, person: Person, args: Mapping[str, str] | None = None, identifier: str = "") -> Run:
        """Start a run; the same id with the same wish gives the same run.

        Raises:
            RefusedError: no such scene or argument, not allowed, the id was used for something else, or too many run.
        """
        run_id = self._identified(identifier)
        content = repr((name.strip(), sorted((args or {}).items())))
        if (known := self.runs.get(run_id)) is not None:
            if known.content != content:
                raise RefusedError(
                    f'The id "{run_id}" was used for something else: {known.scene.name}.',
                    remedy="Send each new wish with an id of its own.",
                    code="id-reused",
                )
            return known
        scene = self.filled(name, args or {})
        self._house.permit(person, "scene")
        self._house.in_time(person, f"scene {name}", LATEST_S)
        if _RANKS.index(person.role) < _RANKS.index(scene.role):
            raise RefusedError(
                f"{scene.called} is for the role {scene.role}; {person.name or 'you'} may not start it.",
                remedy=f"Ask an {scene.role}.",
                code="role",
            )
        if len(self.running) >= MAX_AT_ONCE:
            raise RefusedError(f"{MAX_AT_ONCE} scenes run already.", remedy="Wait until one has ended.", code="busy")
        results = {step.head.number: StepResult(step.head.number, step.head.say) for step in scene.every_step()}
        run = Run(run_id, scene, person, self._house.world.clock.wall(), content, results)
        self.runs[run_id] = run
        self._forget_old()
        runner = Runner(self._house, run, lambda: self._tell(run), self._spawn)
        self._keep(asyncio.ensure_future(runner.carry_out()), run)
        return run

    @property
    def running(self) -> list[Run]:
        """Runs that have no verdict yet."""
        return [run for run in self.runs.values() if run.ended is None]

    def run(self, identifier: str) -> Run:
        """A run by its id. Raises RefusedError."""
        run = self.runs.get(identifier)
        if run is None:
            raise RefusedError(f'There is no run "{identifier[:64]}".', code="run")
        return run

    def answer(self, identifier: str, yes: bool, person: Person, step: str = "") -> Run:
        """Answer what a run asks. `step` is needed only where it asks two things at once.

        Raises:
            RefusedError: it asks nothing, or somebody else.
        """
        run = self.run(identifier)
        allowed(person, ("answer", "scene"))
        open_steps = [number for number in run.questions if step in ("", number)]
        if not open_steps:
            raise RefusedError(f"{run.scene.called} asks nothing now.", code="question")
        if len(open_steps) > 1:
            raise RefusedError(f"It asks at {' and '.join(open_steps)}.", remedy="Name the step.", code="question")
        of, answer = run.questions[open_steps[0]]
        enough = of == person.name or (
            of in (role.value for role in Role) and _RANKS.index(person.role) >= _RANKS.index(Role(of))
        )
        if not enough:
            raise RefusedError(f"It asks {of}, not {person.name or 'you'}.", code="role")
        if not answer.done():
            self._house.chronicle.write("scene", person.name, what="answer", run=run.id, step=open_steps[0], yes=yes)
            answer.set_result(yes)
        return run

    def stop(self, identifier: str, person: Person) -> Run:
        """Let a run end after its present step. It ends no take, and puts nothing back. Raises RefusedError."""
        run = self.run(identifier)
        allowed(person, ("scene",))
        if person.name != run.person.name:
            self._house.desk.admit(person, ("scene",))
        if run.ended is None and not run.stopped_by:
            self._house.chronicle.write("scene", person.name, what="stop", run=run.id)
            run.stop(person.name)
        return run

    async def close(self) -> None:
        """Let go of every run; nothing is sent. What they rolled goes on rolling."""
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    # -- who keeps the tasks --------------------------------------------------------------------------------------

    def _identified(self, identifier: str) -> str:
        if not identifier:
            return self._house.world.ids.new()
        if len(identifier) > ID_LONGEST or not _ID.fullmatch(identifier):
            raise RefusedError(
                f"The id of a run has 1 to {ID_LONGEST} characters of A-Z a-z 0-9 . _ -",
                remedy="Send a shorter, plainer id.",
                code="id",
            )
        if (born := self._house.born_before(identifier)) is not None:
            raise RefusedError(
                f"It was asked at {born:%H:%M:%S}, before stagectl started again: not known how far it came.",
                remedy="Look, and start it again with a new id.",
                code="born-before",
            )
        return identifier

    def _forget_old(self) -> None:
        while len(self.runs) > KEEP:
            oldest = next((key for key, run in self.runs.items() if run.ended is not None), None)
            if oldest is None:
                break
            del self.runs[oldest]

    def _spawn(self, work: Awaitable[Any]) -> asyncio.Task[Any]:
        return self._keep(asyncio.ensure_future(work), None)

    def _keep(self, task: "asyncio.Future[Any]", run: Run | None) -> asyncio.Task[Any]:
        assert isinstance(task, asyncio.Task)
        self._tasks[task] = run
        task.add_done_callback(self._over)
        return task

    def _over(self, task: asyncio.Task[Any]) -> None:
        """A task ended: its exception is fetched; a run that slipped is told as not known."""
        run = self._tasks.pop(task, None)
        error = None if task.cancelled() else task.exception()
        if run is not None and run.ended is None:
            run.ended = Ended.UNCONFIRMED
            run.why = "stagectl left it" if task.cancelled() else f"stagectl slipped: {error!r}"
            for result in run.results.values():
                if result.stand is Stand.UNDER_WAY:
                    result.stand, result.why = Stand.FAILED, f"{run.why}: not known if it happened"
            if error is not None:
                log.error("scene_slipped", scene=run.scene.name, run=run.id, error=repr(error))
            self._house.chronicle.write(
                "scene", run.person.name, what="end", run=run.id, scene=run.scene.name, ended="unconfirmed", why=run.why
            )
            run.finish()
            self._tell(run)

    def _tell(self, run: Run) -> None:
        for tell in self.on_change:
            tell(run)
