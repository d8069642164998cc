"""Ten thousand guesses of passwords and of tokens: how many reach the hash, and does an operator notice anything?"""

import asyncio
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import aiohttp

from stagectl.control import passwords
from tests.fuzz.runner import Finding, Result
from tests.fuzz.target import SlipError
from tests.inlets.http.conftest import API, Front, opened
from tests.inlets.http.keys import close

SOURCES: Final = ("127.0.0.66", "127.0.0.67")
NAMES: Final = ("ines", "tomas", "mara", "root", "admin", "a" * 32)
HASHED: Final = 100  # guesses of one source that may reach the hash
TOGETHER: Final = 4  # guessers of a source
PATIENCE_S: Final = 10.0


class Counting:
    """An offload that counts the passwords that are checked; the check itself is another test's matter."""

    def __init__(self, rest: Any) -> None:
        self._rest = rest
        self.checked = 0

    async def run(self, name: str, do: Any, *args: Any) -> Any:
        self.checked += do is passwords.matches
        return await self._rest.run(name, do, *args)


def campaign(runs: int, seed: int) -> Result:
    """`runs` guesses, half of them tokens; `seed` makes other guesses."""
    return asyncio.run(_campaign(runs, seed))


async def _campaign(runs: int, seed: int) -> Result:
    result = Result("guesses", "passwords and tokens from two sources")
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        async with opened(Path(folder)) as front:
            ines = (await close(front)).of("ines")
            gate = front.toys.house.gate
            counting = Counting(gate._world.offload)
            gate._world = replace(gate._world, offload=counting)
            answers: Counter[int] = Counter()
            over = asyncio.Event()
            operator = asyncio.create_task(_operate(front, ines, over))
            each = max(1, runs // len(SOURCES) // TOGETHER)
            async with asyncio.TaskGroup() as all_of_them:
                for source in SOURCES:
                    for number in range(TOGETHER):
                        all_of_them.create_task(_guess(front, source, each, f"{seed} {number}", answers))
            over.set()
            try:
                asked = await operator
            except (SlipError, TimeoutError) as error:
                asked = 0
                result.found.append(Finding(b"", error))
    result.runs = sum(answers.values())
    result.outcomes = Counter({f"answered {status}": count for status, count in answers.items()})
    result.outcomes["reached the hash"] = counting.checked
    result.outcomes["acts of the operator meanwhile"] = asked
    if counting.checked > HASHED * len(SOURCES):
        result.found.append(Finding(b"", SlipError(f"{counting.checked} guesses reached the hash")))
    if set(answers) - {401, 429}:
        result.found.append(Finding(b"", SlipError(f"guesses were answered {dict(answers)}")))
    result.took_s = time.monotonic() - began
    return result


async def _guess(front: Front, source: str, number: int, salt: str, answers: Counter[int]) -> None:
    connector = aiohttp.TCPConnector(local_addr=(source, 0), limit=1)
    async with aiohttp.ClientSession(front.server.url, connector=connector) as session:
        for at in range(number):
            if at % 2:
                headers = {"Authorization": f"Bearer {salt.replace(' ', '_')}{at:040}"}
                asked = session.get(f"{API}/takes", headers=headers)
            else:
                given = {"name": NAMES[at % len(NAMES)], "password": f"a wrong guess {salt} {at}"}
                asked = session.post(f"{API}/login", json=given)
            async with asked as answer:
                answers[answer.status] += 1


async def _operate(front: Front, headers: dict[str, str], over: asyncio.Event) -> int:
    """An operator rolls and cuts as on any day. Returns how many acts were done. Raises SlipError: one was not."""
    done = 0
    while not over.is_set() or not done:
        async with asyncio.timeout(PATIENCE_S):
            async with front.session.post(f"{API}/roll?wait=verdict", json={}, headers=headers) as answer:
                told = await answer.json()
            if answer.status != 200 or told["ended"] != "verified":
                raise SlipError(f"an operator's roll was answered {answer.status} {told}")
            cut = {"take": told["take"]}
            async with front.session.post(f"{API}/cut?wait=verdict", json=cut, headers=headers) as answer:
                ended = await answer.json()
            if answer.status != 200 or ended["ended"] != "verified":
                raise SlipError(f"an operator's cut was answered {answer.status} {ended}")
        done += 2
    return done
