"""Five thousand generated requests: with authority, with less, with none, and in a house that asks for none.

Source: schemathesis generates them from the OpenAPI document and holds the answers against it; `apichecks` adds whom
each route keeps out.
"""

import asyncio
import json
import os
import re
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from stagectl.inlets.http.openapi import document
from tests.fuzz import apichecks
from tests.fuzz.runner import Finding, Result
from tests.fuzz.target import SlipError
from tests.inlets.http.conftest import opened
from tests.inlets.http.keys import close

HOUSE: Final = Path(__file__).resolve().parents[2]
CALLERS: Final = (apichecks.OPEN, "tomas", "mara", "guest", "nobody")
WITHIN_S: Final = 1800.0
FOR_ONE: Final = 1000  # requests asked for, for one example an operation; each caller makes some 1,300 without any
# what can't be held: a body of the right shape may still name a verb, point or scene that is not there
LEFT_OUT: Final = "positive_data_acceptance"
# feeds never end, and whoever logs out has no token for the rest
NOT_ASKED: Final = "/live$|/events$|/logout$"
_MADE: Final = re.compile(r"([0-9,]+) generated")


def campaign(runs: int, seed: int) -> Result:
    """At least `runs` requests over all callers."""
    return asyncio.run(_campaign(runs, seed))


async def _campaign(runs: int, seed: int) -> Result:
    result = Result("api", "requests from the OpenAPI document, by five kinds of caller")
    began = time.monotonic()
    for who in CALLERS:
        with tempfile.TemporaryDirectory() as folder:
            await _ask(result, who, max(1, runs // FOR_ONE), seed, Path(folder))
    result.took_s = time.monotonic() - began
    return result


async def _ask(result: Result, who: str, examples: int, seed: int, folder: Path) -> None:
    """Let one caller ask all routes; what is wrong becomes a finding."""
    async with opened(folder) as front:
        headers = {} if who == apichecks.OPEN else (await close(front)).of(who)
        if who == apichecks.OPEN:
            await front.post("roll?wait=verdict", {"name": "Warm-up"}, Idempotency_Key="first")
        before = len(front.toys.asked())
        status, told = await _generated(front.server.url, who, headers, examples=examples, seed=seed, folder=folder)
        made = _MADE.search(told)
        result.runs += int(made[1].replace(",", "")) if made else 0
        result.outcomes[who] += int(made[1].replace(",", "")) if made else 0
        faults = "http_fault" in json.dumps([record[2] for record in front.toys.journal.records], default=str)
        acts = front.toys.asked()[before:]
        if status or not made or faults:
            result.found.append(Finding(told.encode()[-20_000:], SlipError(f"{who}: {told[-3000:]}")))
        if who in ("mara", "nobody") and acts:
            result.found.append(Finding(b"", SlipError(f"{who} moved a box: {acts[:2]}")))
        async with front.session.get("/livez") as answer:
            if answer.status != 200:
                result.found.append(Finding(b"", SlipError(f"the door is dead after {who}")))


async def _generated(
    url: str, who: str, headers: dict[str, str], *, examples: int, seed: int, folder: Path
) -> tuple[int, str]:
    """Run schemathesis against a door. Returns its exit code and what it said."""
    program = Path(sys.executable).parent / "schemathesis"
    described = folder / "openapi.json"  # from the disk: without a token the door does not show it
    described.write_text(json.dumps(document("0.1.0")))
    run = await asyncio.create_subprocess_exec(
        str(program),
        "run",
        str(described),
        f"--url={url}",
        "--phases=examples,coverage,fuzzing",
        f"--max-examples={examples}",
        f"--seed={seed}",
        f"--exclude-checks={LEFT_OUT}",
        f"--exclude-path-regex={NOT_ASKED}",
        "--generation-database=none",
        "--request-timeout=10",
        "--no-color",
        "--suppress-health-check=all",
        "--continue-on-failure",
        *(f"--header={name}:{value}" for name, value in headers.items()),
        cwd=folder,
        env={
            **os.environ,
            apichecks.WHO: who,
            "SCHEMATHESIS_HOOKS": "tests.fuzz.apichecks",
            "PYTHONPATH": os.pathsep.join([str(HOUSE), os.environ.get("PYTHONPATH", "")]),
        },
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        async with asyncio.timeout(WITHIN_S):
            told, _ = await run.communicate()
    finally:
        if run.returncode is None:
            run.kill()
            await run.wait()
    assert run.returncode is not None
    return run.returncode, told.decode("utf-8", "replace")
