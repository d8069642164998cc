"""What tests of the page do with the hall."""

import json
import os
import subprocess
import sys
from typing import Any

from stagectl.control import passwords
from stagectl.model.secret import Secret
from tests.stories.studio import RECORDERS, Studio, until

WITHIN_S = 10.0
PASSWORD = "four canvas otters yawn"  # of everybody with an account
ROLES = {"ines": "operator", "tomas": "engineer", "mara": "viewer"}


class Hall:
    """The demo hall, in the words of a shoot."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.url = studio.url
        self._faults: list[tuple[str, str]] = []
        self._head: dict[str, str] = {}  # of who looks after the hall between tests, where it has accounts

    def roll(self, name: str = "") -> int:
        """Roll all; its number."""
        status, told = self.studio.post("roll", {"name": name})
        assert status == 200, told
        return int(told["take"])

    def cut(self, take: int) -> None:
        """End it, once no press is under way: what is seen to roll may have its verdict yet to come."""
        until(lambda: all(one["ended"] for one in self._commands()), WITHIN_S, "every press has its verdict")
        told = self._ask("POST", "cut", {"take": take})
        if told.get("code") == "confirm":  # it is somebody else's
            told = self._ask("POST", "cut", {"take": take, "confirm": told["confirm"]})
        until(lambda: self.now()["take"] is None, WITHIN_S, f"the take has ended: {told}")

    def now(self) -> Any:
        return self._ask("GET", "now")

    def _commands(self) -> list[dict[str, Any]]:
        return list(self._ask("GET", "commands?count=5")["commands"])

    def _ask(self, method: str, path: str, body: object = None) -> Any:
        return self.studio.ask(method, f"/api/v1/{path}", body, self._head)[1]

    def fault(self, box: str, name: str) -> None:
        self._faults.append((box, name))
        self.studio.fault(box, name)

    def rolling(self) -> list[str]:
        """Decks that record, whatever anybody says."""
        return [name for name in RECORDERS if self.studio.truth(name)["transport"] == "record"]

    def commands(self) -> int:
        """How many commands the journal of this daemon has."""
        return len(self.studio.get("commands?count=1000")["commands"])

    def close(self) -> "Hall":
        """Give the house three accounts, as `stagectl people add` leaves the file."""
        kept = passwords.hashed(Secret(PASSWORD), b"0123456789abcdef")
        told = {"v": 1, "people": {name: {"role": role, "password": kept} for name, role in ROLES.items()}}
        fresh = self.studio.data / "people.json.new"
        fresh.touch(0o600)
        fresh.write_text(json.dumps(told))
        fresh.replace(self.studio.data / "people.json")
        until(lambda: self.studio.ask("GET", "/api/v1/now")[0] == 401, WITHIN_S, "the house is closed")
        self._head = self.token("tomas")
        return self

    def token(self, name: str) -> dict[str, str]:
        """The headers of somebody who logged in."""
        status, told = self.studio.ask("POST", "/api/v1/login", {"name": name, "password": PASSWORD})
        assert status == 200, told
        return {"Authorization": f"Bearer {told['token']}"}

    def terminal(self, name: str, *words: str) -> str:
        """What the terminal of somebody who logged in says, its first line."""
        kept = self.studio.folder / f"{name}.token"
        kept.touch(0o600)
        kept.write_text(self.token(name)["Authorization"].removeprefix("Bearer "))
        told = subprocess.run(
            [sys.executable, "-m", "stagectl", *words],
            env={**os.environ, "STAGECTL_URL": self.url, "NO_COLOR": "1", "STAGECTL_TOKEN_FILE": str(kept)},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        return told.stdout.partition("\n")[0]

    def calm(self) -> None:
        """Back at rest: faults off, nothing rolls, nothing is wrong."""
        for box, name in self._faults:
            self.studio.fault(box, name, on=False)
        self._faults.clear()
        take = self.now()["take"]
        if take is not None:
            self.cut(take["take"])
        until(lambda: self.now()["say"].startswith("Ready: 5 of 5"), WITHIN_S, "all can roll again")
