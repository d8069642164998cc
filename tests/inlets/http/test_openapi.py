"""Is the machine-readable description true? Checked by the validator of the standard and by generated requests.

Source: OpenAPI 3.1 (openapi-spec-validator holds its schema); schemathesis generates requests from the document and
compares what comes back with it.
"""

import asyncio
import json
import sys
from pathlib import Path

import pytest
from openapi_spec_validator import validate

from stagectl.inlets.http.openapi import document
from stagectl.inlets.http.routes import ROUTES
from tests.inlets.http.conftest import Front

CASES = 12  # for each operation and phase; a wider run is a matter of the bench, not of every change
SEED = "20261125"
# what can't be held: a body of the right shape may still name a verb, point or scene that is not there
LEFT_OUT = "positive_data_acceptance"


def test_the_document_keeps_to_its_standard() -> None:
    validate(document("0.1.0"))


def test_every_route_stands_in_the_document() -> None:
    paths = document("0.1.0")["paths"]
    assert {(method.upper(), path) for path, methods in paths.items() for method in methods} == {
        (route.method, route.path_text) for route in ROUTES
    }


def test_every_operation_has_a_name_of_its_own_and_a_way_to_fail() -> None:
    operations = [one for methods in document("0.1.0")["paths"].values() for one in methods.values()]
    names = [one["operationId"] for one in operations]
    assert len(names) == len(set(names))
    assert all("application/problem+json" in one["responses"]["default"]["content"] for one in operations)


async def test_the_page_for_people_names_every_address_and_asks_nothing_elsewhere(front: Front) -> None:
    async with front.session.get("/docs") as answer:
        text = await answer.text()
        assert answer.content_type == "text/html"
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    for route in ROUTES:
        assert f"<code>{route.path_text}</code>" in text
    assert "<script" not in text
    assert "://" not in text.replace("http://www.w3.org/", "")


async def test_every_reference_on_the_page_leads_somewhere(front: Front) -> None:
    async with front.session.get("/docs") as answer:
        text = await answer.text()
    wanted = {piece.partition('"')[0] for piece in text.split('href="#')[1:]}
    there = {piece.partition('"')[0] for piece in text.split('id="')[1:]}
    assert wanted <= there


@pytest.mark.slow
@pytest.mark.timeout(240)
async def test_generated_requests_find_nothing_the_document_does_not_say(front: Front, tmp_path: Path) -> None:
    """Also: no generated request ever ends in a fault, and the daemon is alive afterwards."""
    await front.post("roll?wait=verdict", {"name": "Warm-up"}, Idempotency_Key="first")
    program = Path(sys.executable).parent / "schemathesis"
    run = await asyncio.create_subprocess_exec(
        str(program),
        "run",
        f"{front.server.url}/openapi.json",
        "--phases=examples,coverage,fuzzing",
        f"--max-examples={CASES}",
        f"--seed={SEED}",
        f"--exclude-checks={LEFT_OUT}",
        "--exclude-path-regex=/live$|/events$",
        "--generation-database=none",
        "--request-timeout=10",
        "--no-color",
        "--suppress-health-check=all",
        cwd=tmp_path,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        async with asyncio.timeout(220):
            told, _ = await run.communicate()
    finally:
        if run.returncode is None:
            run.kill()
            await run.wait()
    assert run.returncode == 0, told.decode()[-6000:]
    assert (await front.get("/livez"))[0] == 200
    assert "http_fault" not in json.dumps([record[2] for record in front.toys.journal.records], default=str)
