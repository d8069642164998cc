"""Is the hall brought into a set-up, kept in it, and brought back? Simulators and daemon as programs of their own.

Source: own construction. What went to a box is read from its own wire log; lines of a file are counted by git.
"""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.inlets.mosquitto import SITE, program
from tests.stories.programs import LOOKS
from tests.stories.studio import HALL, RECORDERS, Studio, until
from tests.stories.test_mqtt import Listening, listening

pytestmark = pytest.mark.slow


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path) as made:
        made.start()
        yield made


def acts(studio: Studio, box: str) -> list[str]:
    """What a deck heard and does more than look."""
    return [text for text in studio.requests(box) if not text.startswith(LOOKS) or "file format" in text]


def state(studio: Studio) -> tuple[Any, Any]:
    return tuple(studio.point("setups", name)["value"] for name in ("held", "state"))  # type: ignore[return-value]


def test_an_evening_with_a_set_up(studio: Studio) -> None:
    told = studio.cli("setup", "diff", "masterclass")
    sentences = [line for line in told.stdout.splitlines() if line.startswith("  ")]
    assert (told.returncode, len(sentences)) == (6, 14)
    assert "  Mixer strip 5 level is -20 dB, becomes -14 dB." in sentences
    assert told.stdout.splitlines()[0] == "First sound down:"

    studio.clear_wires()
    done = studio.cli("setup", "apply", "masterclass")
    assert (done.returncode, done.stdout) == (0, "Masterclass: 14 values put right, 22 were right already.\n")
    assert studio.cli("setup", "diff", "masterclass").returncode == 0
    assert state(studio) == ("masterclass", "holds")
    assert all(acts(studio, deck) for deck in RECORDERS)
    assert studio.truth("mixer")["strips"][4]["level_db"] == pytest.approx(-14, abs=0.3)

    studio.hand("mixer", "fader", strip=5, db=-9.5)
    until(lambda: state(studio) == ("masterclass", "differs"), 5, "the drift is seen")
    listed = studio.cli("setup", "list").stdout.splitlines()
    assert listed[-2] == "Masterclass: 1 value differs now."
    assert listed[-1].startswith("  ~ Mixer strip 5 level is -9.5 dB, was -14 dB; changed by a hand at the box at ")

    kept = studio.cli("setup", "capture", "masterclass", "--of", "mixer strip 5", "--version", "by ear")
    assert (kept.returncode, kept.stdout.splitlines()[-1]) == (
        0,
        "Masterclass: 1 value changed, in masterclass.yaml. Kept as by-ear.",
    )
    files = [str(folder / "setups" / "masterclass.yaml") for folder in (HALL, studio.folder)]
    command = ["git", "diff", "--no-index", "--numstat", *files]
    counted = subprocess.run(command, capture_output=True, text=True, check=False, timeout=30)
    assert counted.stdout.split()[:2] == ["1", "1"]
    assert state(studio) == ("masterclass", "holds")

    back = studio.cli("setup", "undo")
    assert (back.returncode, back.stdout.splitlines()[-1]) == (0, "Masterclass is undone: 15 of 15 values put back.")
    assert "  Mixer strip 5 level was changed since and is left alone." in back.stdout
    assert studio.point("paths", "director.shows")["value"] == "titles"
    assert studio.point("iso-1", "record.codec")["value"] == "VC3-SQ"
    assert studio.cli("setup", "undo").returncode == 2
    again = studio.cli("setup", "diff", "masterclass@by-ear", "--only", "mixer strip 5", "--json")
    assert (again.returncode, json.loads(again.stdout)["rows"][0]["truth"]) == (0, "yes")


def test_while_a_take_runs_no_recorder_is_touched_and_the_rest_is_done(studio: Studio) -> None:
    assert studio.cli("roll").returncode == 0
    studio.clear_wires()
    told = studio.cli("setup", "diff", "masterclass").stdout
    assert told.count("and is left alone: it records, and anything else could end that. Cut it first.") == 5
    done = studio.cli("setup", "apply", "masterclass")
    assert done.returncode == 1
    assert done.stdout.splitlines()[-1] == "Masterclass: 9 of 14 values put right."
    assert done.stdout.count("it records, and anything else could end that. Cut it first.") == 5
    assert [acts(studio, deck) for deck in RECORDERS] == [[], [], [], [], []]
    assert all(studio.truth(deck)["transport"] == "record" for deck in RECORDERS)
    assert studio.point("stations", "director.hears")["value"] == "program"
    assert studio.get("now")["take"]["take"] == 1
    assert studio.cli("cut", "1").returncode == 0
    rest = studio.cli("setup", "apply", "masterclass")
    assert (rest.returncode, rest.stdout) == (0, "Masterclass: 5 values put right, 31 were right already.\n")


def test_a_kill_in_the_middle_sends_nothing_more_and_what_was_done_can_be_undone(studio: Studio) -> None:
    status, group = studio.ask("POST", "/api/v1/setups/masterclass/apply", {})
    assert (status, group["ended"]) == (202, None)
    until(lambda: studio.point("iso-1", "record.codec")["value"] == "VC3-HQ", 10, "the recorders are set")
    studio.kill()
    studio.clear_wires()
    studio.start()
    assert [acts(studio, deck) for deck in RECORDERS] == [[], [], [], [], []]
    assert not [text for text in studio.requests("mixer") if text.startswith("set ")]
    held, stands = state(studio)
    assert held == "masterclass"
    assert stands in ("differs", "holds")
    back = studio.cli("setup", "undo")
    assert back.returncode == 0, back.stdout
    assert studio.point("iso-1", "record.codec")["value"] == "VC3-SQ"
    assert studio.point("mixer", "strip.16.muted")["value"] is False


def test_the_same_key_applies_once_and_a_scene_can_set_up(studio: Studio) -> None:
    first = studio.post("setups/self-serve/apply", {}, key="lesson-1")
    studio.clear_wires()
    again = studio.post("setups/self-serve/apply", {}, key="lesson-1")
    assert (first[0], again[0], first[1]["id"], again[1]["say"]) == (200, 200, "lesson-1", first[1]["say"])
    assert not [text for text in studio.requests("mixer") if text.startswith("set ")]
    (studio.folder / "lesson.yaml").write_text("scene: Lesson\nsteps: [{set up: rehearsal}]\n", encoding="utf-8")
    studio.interrupt()
    studio.start()
    run = studio.cli("scene", "lesson")
    assert run.returncode == 0, run.stdout
    assert state(studio) == ("rehearsal", "holds")


def test_a_station_gets_picture_and_sound_with_one_verb(studio: Studio) -> None:
    done = studio.cli("station", "director", "show", "hands", "sound", "program")
    assert done.returncode == 0, done.stdout + done.stderr
    listed = studio.cli("station", "director").stdout
    assert listed == "director  sees hands  hears program\n"
    sends = studio.truth("mixer")["strips"][0]["sends_db"]
    assert sends[3] == pytest.approx(0, abs=0.3)


def test_over_mqtt_it_is_applied_and_seen(tmp_path: Path) -> None:
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        command = {"id": "set-1", "verb": "apply", "on": ["setups"], "args": {"setup": "self-serve"}}
        with listening(studio, "verdict/ines/#", "state/setups/+") as ear:
            until(lambda: len(ear.heard()) >= 5, 10, "it listens")
            pub = [program("mosquitto_pub"), "-V", "5", "-p", str(studio.mqtt_port), "-q", "1"]
            subprocess.run([*pub, "-t", f"{SITE}/cmd/ines", "-m", json.dumps(command)], check=True, timeout=20)
            phases = until(
                lambda: [one["phase"] for one in rows] if len(rows := ear.heard("/set-1")) == 2 else None, 30, "it ends"
            )
            assert phases == ["accepted", "verified"]
            states = until(lambda: seen if (seen := _states(ear))[-1] == "holds" else None, 10, "it is seen to hold")
            assert states[0] == "none"
            studio.hand("mixer", "fader", strip=5, db=-3)
            drift = until(
                lambda: [row["data"]["drift"] for row in ear.heard("setups/drift")][-1], 10, "the drift is told"
            )
            assert drift.startswith("Mixer strip 5 level is -3 dB, was -14 dB; changed by a hand at the box at ")


def _states(ear: Listening) -> list[str]:
    return [row["data"]["state"] for row in ear.heard("state/setups/state")]
