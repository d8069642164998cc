"""Old bugs of who may do what, of scenes, and of what nobody may read."""

from collections.abc import Sequence
from typing import Any

from stagectl.control.access import Person, Role
from stagectl.control.gate import Gate
from stagectl.control.selections import Selections
from stagectl.shoot.house import House, Wish
from stagectl.shoot.scenerun import Run, Stand
from stagectl.shoot.scenerunner import Runner
from tests.studio.museum.bug import Patch, bug


@bug("ends-unshown", "a take of somebody else is ended at once, without what it ends being shown", first=11)
def _() -> Sequence[Patch]:
    return [(Selections, "check", lambda self, person, ask: None)]


@bug("any-word-will-do", "any word lets the end of another's take pass", first=13)
def _() -> Sequence[Patch]:
    return [(Selections, "_covers", lambda self, person, ask, picture: bool(ask.confirm))]


@bug("word-lives-for-ever", "the word that was shown with an end stays good", first=20)
def _() -> Sequence[Patch]:
    covers = Selections._covers

    def late(self: Any, person: Any, ask: Any, picture: Any) -> bool:
        one = self._kept.get(ask.confirm)
        return covers(self, person, ask, picture) or (one is not None and one.who == person.name)

    return [(Selections, "_covers", late)]


@bug("scene-cleans-up", "a scene that fails ends the take that runs", first=52)
def _() -> Sequence[Patch]:
    carry_out = Runner.carry_out

    async def tidy(self: Any) -> None:
        await carry_out(self)
        take = self._house.takes.open
        if str(self._run.ended) == "failed" and take is not None:
            wish = Wish(self._run.person, f"scene:{self._run.scene.name}", "takes", "cut", {"take": take.number})
            self._run.results["1"].groups.append(await self._house.submit(wish))
            self._changed()

    return [(Runner, "carry_out", tidy)]


@bug("step-left-open", "a step at which a scene ended stays under way", first=14)
def _() -> Sequence[Patch]:
    finish = Run.finish

    def open_(self: Any) -> None:
        for result in self.results.values():
            if result.stand is Stand.FAILED:
                result.stand = Stand.UNDER_WAY
        finish(self)

    return [(Run, "finish", open_)]


@bug("scene-forgives", "a scene is called verified though a step failed", first=14)
def _() -> Sequence[Patch]:
    step = Runner._step

    async def lenient(self: Any, one: Any) -> Any:
        went_on, _ = await step(self, one)
        return went_on, []

    return [(Runner, "_step", lenient)]


@bug("password-in-the-journal", "a refused login writes down what was typed", first=1)
def _() -> Sequence[Patch]:
    login = Gate.login

    async def telling(self: Any, name: str, password: Any, source: str) -> Any:
        try:
            return await login(self, name, password, source)
        except Exception:
            self.refuse(name, source, f"login with {password.reveal()}", "wrong", "login")
            raise

    return [(Gate, "login", telling)]


@bug("token-in-the-journal", "a login writes down the token that it gives", first=1)
def _() -> Sequence[Patch]:
    login = Gate.login

    async def kept(self: Any, name: str, password: Any, source: str) -> Any:
        token, secret = await login(self, name, password, source)
        self._log.write("access", name, what="login", token=secret.reveal())
        return token, secret

    return [(Gate, "login", kept)]


@bug(
    "late-asks-served",
    "what waited while the daemon stood still is carried out when it goes on",
    "asked-while-it-stood-still.json",
)
def _() -> Sequence[Patch]:
    return [(House, "in_time", lambda self, person, what, within_s: None)]


@bug("guest-of-the-token", "who comes with a token is an operator, whatever the account says", first=1)
def _() -> Sequence[Patch]:
    person = Gate.person

    def anybody(self: Any, token: Any) -> Person:
        found = person(self, token)
        return Person(found.name, Role.OPERATOR, found.shows)

    return [(Gate, "person", anybody)]
