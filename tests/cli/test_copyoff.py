"""Does the terminal say what is copied, follow a run to its end, and end with the right code? Against a stub."""

import json
from typing import Any

import pytest

from tests.cli.answers import golden
from tests.cli.stub import Stub, problem


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagectl.cli.copyoff.LOOK_S", 0.01)


def clip(called: str, name: str, **more: Any) -> dict[str, Any]:
    told = {
        "job": "0" * 26,
        "recorder": called.lower(),
        "called": called,
        "clip": f"1/{name}.mov",
        "slot": 1,
        "size": 83_200_000_000,
        "day": "2026-11-28",
        "take": 3,
        "slate": "Encore",
        "good": True,
        "present": True,
        "state": "discovered",
        "verified": 0,
    }
    return told | {"copies": [copied("shelf"), copied("vault")]} | more


def copied(place: str, **more: Any) -> dict[str, Any]:
    told = {"place": place, "path": "iso-1/T003.mov", "state": "discovered", "reason": "", "why": "", "doubt": ""}
    return told | {"hash": "", "published": None, "list": ""} | more


def rows(*some: dict[str, Any], count: int | None = None) -> dict[str, Any]:
    return {"count": len(some) if count is None else count, "rows": list(some)}


def deck(called: str, **more: Any) -> dict[str, Any]:
    told = {"device": called.lower(), "called": called, "clips": 6, "bytes": 10, "waiting": 0, "waiting_bytes": 0}
    told |= {
        "failed": 0,
        "published": 6,
        "safe": 6,
        "clear": True,
        "say": f"{called}: 6 of 6 clips copied and verified.",
    }
    return told | {"clear_say": "Safe to clear: 2 verified copies of each clip, on media of their own."} | more


def run(outcome: str = "", say: str = "", **more: Any) -> dict[str, Any]:
    told = {"id": "R1", "kind": "copy", "by": "ines", "say": say, "started": "2026-11-28T20:00:00.000Z", "ended": None}
    return (
        told | {"outcome": outcome, "done": 0, "of": 0, "rate": 0, "left_s": None, "recorders": [], "found": {}} | more
    )


PLAN = {
    "say": "3 clips to copy, 249.6 GB.",
    "clips": 3,
    "bytes": 249_600_000_000,
    "rows": [
        clip("Rec 1", "T003"),
        clip(
            "Rec 5", "Sound check", take=None, good=False, copies=[copied("shelf"), copied("vault", state="published")]
        ),
    ],
    "places": [
        {"name": "shelf", "called": "/mnt/shelf", "need": 10, "free": 400_000_000_000, "why": ""},
        {"name": "vault", "called": "copy@10.0.5.9:/srv", "need": 10, "free": None, "why": ""},
    ],
    "silent": [],
}
STATUS = {
    "state": "copying",
    "say": "Copying: 3.2 GB of 18.0 GB, 82.0 MB/s, 3 min left.",
    "schedule": "A run begins by itself at 02:00.",
    "places": [{"name": "shelf", "called": "/mnt/shelf"}],
    "recorders": [
        deck("Rec 1"),
        deck(
            "Rec 2",
            say="Rec 2: 3 of 6 clips copied and verified, 3 not copied.",
            clear_say="Not safe to clear: 3 clips lack a second verified copy.",
        ),
    ],
    "run": run(
        recorders=[
            {
                "device": "rec 1",
                "called": "Rec 1",
                "busy": "idle",
                "clip": "",
                "done": 0,
                "of": 0,
                "rate": 0,
                "why": "",
            },
            {
                "device": "rec 2",
                "called": "Rec 2",
                "busy": "copying",
                "clip": "1/T003.mov",
                "done": 3_200_000_000,
                "of": 18_000_000_000,
                "rate": 82_000_000,
                "why": "",
            },
            {
                "device": "rec 3",
                "called": "Rec 3",
                "busy": "waiting",
                "clip": "",
                "done": 0,
                "of": 0,
                "rate": 0,
                "why": "Rec 3 records, plays or is about to; it is read when it rests.",
            },
        ]
    ),
}
OCCUPIED = "iso-1/T003.mov at shelf is another file. Move it away, then run again."
REPORT = {
    "say": "1 of 12 clips could not be copied. See: stagectl copy report",
    "recorders": [deck("Rec 1")],
    "failed": rows(clip("Rec 1", "T003", copies=[copied("shelf", state="failed", why=OCCUPIED)])),
    "open": rows(clip("Rec 2", "T003"), count=501),
    "missing": rows({"recorder": "iso-4", "called": "Rec 4", "clip": "T003_wide", "take": 3, "slate": "Encore"}),
    "doubtful": rows(
        clip("Rec 3", "T002", copies=[copied("shelf", doubt="Its recorder never said that all was sent.")])
    ),
    "double": rows({"clips": [clip("Rec 1", "T003"), clip("Rec 1", "T003_2")]}),
}
NOTHING = {kind: rows() for kind in ("failed", "open", "missing", "doubtful", "double")}


def test_a_plan_says_order_sizes_places_and_room(stub: Stub) -> None:
    stub.routes["POST /api/v1/copy/plan"] = (200, PLAN)
    result = stub.run("copy", "plan", "--take", "3", "--recorder", "iso", "--day", "2026-11-28")
    assert result.stdout == golden("copy-plan")
    assert result.exit_code == 0
    assert stub.heard[0][2] == {"recorders": ["iso"], "takes": [3], "days": ["2026-11-28"]}


def test_a_plan_that_does_not_fit_or_lacks_a_recorder_ends_with_a_no(stub: Stub) -> None:
    full = PLAN["places"][0] | {"why": "shelf has 40.0 GB left, and 90.0 GB are to come."}  # type: ignore[index,operator]
    silent = {"device": "iso-4", "called": "Rec 4", "why": "Rec 4 records, plays or is about to."}
    stub.routes["POST /api/v1/copy/plan"] = (200, PLAN | {"places": [full], "silent": [silent]})
    result = stub.run("copy", "plan")
    assert result.exit_code == 6
    assert "shelf has 40.0 GB left, and 90.0 GB are to come." in result.stdout
    assert "Rec 4 is not listed: Rec 4 records, plays or is about to." in result.stdout


def test_the_status_says_how_far_each_recorder_is(stub: Stub) -> None:
    stub.routes["GET /api/v1/copy"] = (200, STATUS)
    result = stub.run("copy", "status")
    assert result.stdout == golden("copy-status")
    assert result.exit_code == 0


def test_a_report_names_what_failed_is_open_missing_doubtful_and_double(stub: Stub) -> None:
    stub.routes["GET /api/v1/copy/report"] = (200, REPORT)
    result = stub.run("copy", "report", "--take", "3", "--take", "4")
    assert result.stdout == golden("copy-report")
    assert result.exit_code == 6
    assert stub.heard[0][1] == "/api/v1/copy/report?take=3%2C4"
    stub.routes["GET /api/v1/copy/report"] = (200, REPORT | NOTHING)
    assert stub.run("copy", "report").exit_code == 0


@pytest.mark.parametrize(("outcome", "code"), [("done", 0), ("failed", 1), ("stopped", 1)])
def test_a_run_is_followed_to_its_end(stub: Stub, outcome: str, code: int) -> None:
    stub.routes["POST /api/v1/copy/runs"] = (202, run(say="Copying: the recorders' clips are listed."))
    stub.routes["GET /api/v1/copy/runs/R1"] = [
        (200, run(say="Copying: 1.0 GB of 2.0 GB.")),
        (200, run(outcome, "So it ended.")),
    ]
    stub.routes["GET /api/v1/copy/report"] = (200, REPORT)
    result = stub.run("copy", "run")
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (code, "So it ended.")
    assert (OCCUPIED in result.stdout) is (outcome == "failed")
    assert result.stderr.startswith("Copying: the recorders' clips are listed.")
    told = json.loads(stub.run("copy", "run", "--json").stdout)
    assert (told["verb"], told["outcome"]) == ("copy run", outcome)


def test_a_run_that_goes_already_is_no_second_one(stub: Stub) -> None:
    stub.routes["POST /api/v1/copy/runs"] = (409, problem(409, "runs", "A copy run goes already.", "Wait for its end."))
    result = stub.run("copy", "run")
    assert (result.exit_code, result.stderr) == (1, "A copy run goes already. Wait for its end.\n")


def test_a_run_that_ended_before_a_restart_is_told_from_what_stands(stub: Stub) -> None:
    stub.routes["POST /api/v1/copy/runs"] = (202, run(say="Copying."))
    stub.routes["GET /api/v1/copy/runs/R1"] = (404, problem(404, "run", "There is no such run."))
    stub.routes["GET /api/v1/copy"] = (200, STATUS | {"say": "All 12 clips stand copied and verified at shelf."})
    result = stub.run("copy", "run")
    assert (result.exit_code, result.stdout) == (0, "All 12 clips stand copied and verified at shelf.\n")


def test_a_daemon_that_is_away_for_a_moment_is_waited_for(stub: Stub) -> None:
    away = iter([True])

    def lost() -> None:
        stub.routes["GET /api/v1/copy/runs/R1"] = (200, run("done", "All stand."))
        next(away)

    stub.routes["POST /api/v1/copy/runs"] = (202, run(say="Copying."))
    stub.routes["GET /api/v1/copy/runs/R1"] = lost
    result = stub.run("copy", "run")
    assert (result.exit_code, result.stdout) == (0, "All stand.\n")


def test_without_waiting_a_run_is_only_begun(stub: Stub) -> None:
    stub.routes["POST /api/v1/copy/runs"] = (202, run(say="Copying."))
    assert stub.run("copy", "run", "--no-wait").stdout == "Copying.\n"
    assert len(stub.heard) == 1


@pytest.mark.parametrize(("outcome", "code"), [("done", 0), ("failed", 6), ("stopped", 1)])
def test_a_verification_ends_with_what_it_found(stub: Stub, outcome: str, code: int) -> None:
    wrong = {"what": "changed", "path": "iso-1/T003.mov", "why": "xxh128 is another."}
    found = {"shelf": {"whole": outcome == "done", "findings": [wrong] if outcome == "failed" else []}}
    stub.routes["POST /api/v1/copy/verify"] = (202, run(outcome, "shelf: told.", kind="verify", found=found))
    result = stub.run("copy", "verify", "shelf")
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (code, "shelf: told.")
    assert ("iso-1/T003.mov" in result.stdout) is (outcome == "failed")
    assert stub.heard[0][2] == {"places": ["shelf"]}


def test_a_stop_waits_until_it_has_stopped(stub: Stub) -> None:
    stub.routes["POST /api/v1/copy/stop"] = (200, run(say="Copying."))
    stub.routes["GET /api/v1/copy/runs/R1"] = (200, run("stopped", "Copying was stopped. What is begun is kept."))
    result = stub.run("copy", "stop")
    assert (result.exit_code, result.stdout) == (0, "Copying was stopped. What is begun is kept.\n")


def test_a_day_that_is_none_is_said(stub: Stub) -> None:
    result = stub.run("copy", "plan", "--day", "someday")
    assert (result.exit_code, '"someday" is no day.' in result.stderr) == (2, True)
