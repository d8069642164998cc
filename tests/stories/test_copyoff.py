"""Do clips come off the recorders whole and proved, whatever happens meanwhile, and is it told as it is?

Real processes: simulators that serve their clips, daemon, terminal. Sources: what the simulators hold, read from them
by the standard library's own FTP client; hashes by hashlib and xxhash; the shapes of REST are the door's own models.
"""

import ftplib
import json
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from stagectl.inlets.http import models
from tests.stories.studio import RECORDERS, Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


def with_second_place(text: str) -> str:
    """A second place, and a slow line so that a copy can be met while it goes."""
    return text.replace("shelf: {folder: copies}", "shelf: {folder: copies}\n    twin: {folder: twins}")


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """One hall for stories that leave it as it was, but for its takes."""
    with Studio(tmp_path_factory.mktemp("hall")) as made:
        made.start()
        yield made


def take(studio: Studio, name: str, frames: int = 25) -> int:
    """Roll all, and cut when the decks hold so many frames; the number of the take."""
    assert studio.cli("roll", "--name", name).returncode == 0
    number = max(int(one["take"]) for one in studio.get("takes")["takes"])
    until(lambda: studio.truth("iso-1")["clips"][-1]["frames"] > frames, 15, "it has rolled for long enough")
    assert studio.cli("cut", str(number)).returncode == 0
    until(lambda: studio.get(f"takes/{number}")["common"], 15, "the take is known whole")
    return number


def on_recorder(studio: Studio, box: str) -> dict[str, bytes]:
    """Path -> bytes of all clips of a recorder, read by another client."""
    found = re.search(rf'(?m)^  {box}: .*clip store: "([0-9.]+):([0-9]+)"', studio.site.read_text())
    assert found is not None
    held: dict[str, bytes] = {}
    with ftplib.FTP(timeout=20) as ftp:
        ftp.connect(found[1], int(found[2]))
        ftp.login()
        for slot in ("1", "2"):
            for name, facts in list(ftp.mlsd(slot)):
                if facts["type"] == "file":
                    blocks: list[bytes] = []
                    ftp.retrbinary(f"RETR {slot}/{name}", blocks.append)
                    held[f"{slot}/{name}"] = b"".join(blocks)
    return held


def copied(folder: Path) -> dict[str, bytes]:
    """Path below a place -> bytes, without its history."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and "ascmhl" not in path.parts
    }


def everything(studio: Studio) -> dict[str, bytes]:
    """Where each clip of the house shall stand below a place, with the bytes its recorder gives."""
    return {
        f"{box}/{path.partition('/')[2]}": data for box in RECORDERS for path, data in on_recorder(studio, box).items()
    }


def read(answer: Any, model: Any) -> Any:
    """An answer has the shape that the document says."""
    return model.model_validate(answer)


def test_a_take_is_planned_copied_verified_and_reported(studio: Studio) -> None:
    number = take(studio, "Warm-up")
    plan = studio.cli("copy", "plan", "--take", str(number))
    assert (plan.returncode, plan.stdout.count("_Warm-up_")) == (0, 10), plan.stdout + plan.stderr
    assert "5 clips to copy" in plan.stdout
    run = studio.cli("copy", "run", "--take", str(number), "--recorder", "iso")
    assert run.returncode == 0, run.stdout + run.stderr
    shelf = studio.data / "copies"
    of_take = [path for path in copied(shelf) if "_Warm-up_" in path]
    assert sorted(path.split("/")[0] for path in of_take) == ["iso-1", "iso-2", "iso-3", "iso-4"]

    run = studio.cli("copy", "run")
    assert (run.returncode, run.stderr.count("Traceback")) == (0, 0), run.stdout + run.stderr
    whole = everything(studio)
    assert f"All {len(whole)} clips stand copied and verified at shelf." in run.stdout
    assert copied(shelf) == whole
    assert len(list((shelf / "ascmhl").glob("000?_*.mhl"))) >= 2

    report = json.loads(studio.cli("--json", "copy", "report").stdout)
    told = read(report, models.CopyReportOut)
    assert [told.open.count, told.failed.count, told.doubtful.count, told.missing.count] == [0, 0, 0, 0]
    assert {deck.clear for deck in told.recorders} == {False}
    assert "there is one place" in told.recorders[0].clear_say

    verified = studio.cli("copy", "verify")
    assert (verified.returncode, f"all {len(whole)} files are as they were" in verified.stdout) == (0, True)
    victim = shelf / of_take[0]
    sound = victim.read_bytes()
    victim.write_bytes(sound[:1000] + bytes([sound[1000] ^ 1]) + sound[1001:])
    broken = studio.cli("copy", "verify", "shelf")
    victim.write_bytes(sound)
    assert (broken.returncode, of_take[0] in broken.stdout) == (6, True)
    points = {one["name"]: one["value"] for one in studio.get("points?device=copy")["points"]}
    assert (points["state"], points["waiting"], points["failed"]) == ("idle", 0, 0)


def test_every_answer_of_rest_has_the_shape_it_says(studio: Studio) -> None:
    read(studio.get("copy"), models.CopyOut)
    status, plan = studio.ask("POST", "/api/v1/copy/plan", {"recorders": ["mix-rec"]})
    assert status == 200
    read(plan, models.CopyPlanOut)
    status, begun = studio.ask("POST", "/api/v1/copy/runs", {"recorders": ["mix-rec"]})
    assert (status, read(begun, models.CopyRunOut).outcome) == (202, "")
    status, twice = studio.ask("POST", "/api/v1/copy/runs", {})
    assert (status, twice["code"]) == (409, "runs")
    status, halted = studio.ask("POST", "/api/v1/copy/stop")
    assert (status, halted["id"]) == (200, begun["id"])
    ended = until(lambda: _ended(studio, begun["id"]), 20, "the run has ended")
    assert read(ended, models.CopyRunOut).outcome in ("stopped", "done")
    assert studio.ask("POST", "/api/v1/copy/stop")[1]["code"] == "copy-idle"
    status, wrong = studio.ask("POST", "/api/v1/copy/runs", {"recorders": ["mixer"]})
    assert (status, wrong["detail"]) == (404, "Mixer has no clip store.")
    assert studio.ask("GET", "/api/v1/copy/runs/none")[0] == 404
    assert studio.ask("POST", "/api/v1/copy/verify", {"places": ["attic"]})[0] == 404
    status, begun = studio.ask("POST", "/api/v1/copy/verify", {"places": []})
    assert (status, read(begun, models.CopyRunOut).kind) == (202, "verify")
    until(lambda: _ended(studio, begun["id"]), 20, "the verification has ended")
    read(studio.get("copy/report?recorder=mix-rec&take=1,2&day=2026-11-28"), models.CopyReportOut)
    says = [one["say"] for one in studio.get("journal?count=50")["entries"] if one["kind"] == "copy"]
    assert any("began to copy" in say for say in says)
    assert any("stopped the copy run" in say for say in says)


def _ended(studio: Studio, run: str) -> Any:
    told = studio.get(f"copy/runs/{run}")
    return told if told["outcome"] else None


@pytest.fixture
def twins(tmp_path: Path) -> Iterator[Studio]:
    """Two places, and recorders that give their clips slowly."""
    with Studio(tmp_path, write=with_second_place, play=slow) as made:
        made.start()
        yield made


def slow(told: dict[str, Any]) -> None:
    for box in told["boxes"]:
        if box["id"] == "mix-rec":
            box["options"]["clip_store"]["bytes_per_s"] = 4000  # Harbour Suite is 7 MB


class Following:
    """A `stagectl copy run` that goes while the story goes on."""

    def __init__(self, studio: Studio, *words: str) -> None:
        self._told = studio.folder / "following.err"
        with self._told.open("w") as told:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "stagectl", "copy", "run", *words],
                env={"STAGECTL_URL": studio.url, "PATH": "/usr/bin:/bin", "NO_COLOR": "1"},
                stdout=subprocess.PIPE,
                stderr=told,
                text=True,
            )

    def told(self) -> str:
        """What it said on the way, so far."""
        return self._told.read_text()

    def end(self) -> tuple[int, str, str]:
        out, _ = self.process.communicate(timeout=60)
        return self.process.returncode, out, self.told()


def busy(studio: Studio, box: str, word: str) -> Callable[[], bool]:
    """Is so done with a recorder now?"""

    def look() -> bool:
        run = studio.get("copy")["run"]
        return bool(run) and any(one["device"] == box and one["busy"] == word for one in run["recorders"])

    return look


def test_a_daemon_killed_in_mid_copy_goes_on_where_it_was_and_the_terminal_with_it(twins: Studio) -> None:
    take(twins, "Warm-up")
    twins.fault("mix-rec", "store_slow", 1000.0)
    following = Following(twins)
    parts = twins.data / "copies" / "mix-rec"
    until(lambda: any(path.stat().st_size > 1 << 20 for path in parts.glob(".*part-*")), 40, "a megabyte is there")
    twins.kill()
    until(lambda: "stagectl is not reached" in following.told(), 20, "the terminal misses the daemon")
    twins.start()
    twins.fault("mix-rec", "store_slow", False)
    code, out, err = following.end()
    assert code == 0, out + err
    assert "All 7 clips stand copied and verified at shelf and twin." in out
    whole = everything(twins)
    assert copied(twins.data / "copies") == copied(twins.data / "twins") == whole
    report = twins.get("copy/report")
    # two places on one disk are one medium: no clip is safe to clear, and that is said
    assert {deck["clear"] for deck in report["recorders"]} == {False}
    says = [one["say"] for one in twins.get("journal?count=200")["entries"] if one["kind"] == "copy"]
    assert "Copying goes on where it was." in says


def test_a_roll_stops_the_reads_at_once_and_the_copy_goes_on_after_the_cut(twins: Studio) -> None:
    twins.fault("mix-rec", "store_slow", 500.0)
    following = Following(twins, "--recorder", "mix-rec")
    until(busy(twins, "mix-rec", "copying"), 40, "it is copied")
    assert twins.cli("roll", "--name", "Encore").returncode == 0
    until(busy(twins, "mix-rec", "waiting"), 5, "its reads have stopped")
    assert twins.point("copy", "state")["value"] == "waiting"
    assert "Copying waits for Rec 5" in twins.cli("copy", "status").stdout
    twins.fault("mix-rec", "store_slow", False)
    assert twins.cli("cut", "1").returncode == 0
    code, out, err = following.end()
    assert code == 0, out + err
    assert "mix-rec/Harbour Suite.mov" in copied(twins.data / "copies")


def test_what_fails_is_named_and_is_an_alarm(studio: Studio) -> None:
    number = take(studio, "Encore")
    shelf = studio.data / "copies" / "iso-1"
    shelf.mkdir(parents=True, exist_ok=True)
    plan = json.loads(studio.cli("--json", "copy", "plan", "--take", str(number), "--recorder", "iso-1").stdout)
    occupied = studio.data / "copies" / plan["rows"][0]["copies"][0]["path"]
    occupied.write_bytes(b"somebody else's")
    run = studio.cli("copy", "run", "--take", str(number))
    assert (run.returncode, "Rec 1" in run.stdout) == (1, True)
    assert occupied.read_bytes() == b"somebody else's"
    report = studio.cli("copy", "report")
    assert (report.returncode, "Could not be copied:" in report.stdout) == (6, True)
    ids = until(lambda: {"iso-1.copy-failed", "stagectl.copy-soon"} & _wrong(studio), 10, "it is an alarm")
    assert ids == {"iso-1.copy-failed", "stagectl.copy-soon"}
    occupied.unlink()
    assert studio.cli("copy", "run", "--take", str(number)).returncode == 0
    until(lambda: "stagectl.copy-soon" not in _wrong(studio), 10, "it is over")


def _wrong(studio: Studio) -> set[str]:
    return {row["id"] for row in studio.get("alarms")["alarms"] if row["is"] == "on"}
