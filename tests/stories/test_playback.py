"""Does a director see and hear a take again, from each door, and get back what was there? Programs of their own.

Source: own construction. What a deck did is read from its simulator's own history.
"""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.inlets.mosquitto import SITE, program
from tests.stories.studio import RECORDERS, Studio, until

pytestmark = pytest.mark.slow


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path, mqtt=True) as made:
        made.start()
        assert made.post("roll")[0] == 200
        until(lambda: made.truth("mix-rec")["clips"][-1]["frames"] > 75, 10, "three seconds to play")
        assert made.post("cut", {"take": 1})[0] == 200
        until(lambda: made.get("takes/1")["common"], 10, "what they share is known")
        yield made


def director(studio: Studio) -> tuple[Any, Any]:
    return (
        studio.point("paths", "director.shows")["value"],
        studio.point("stations", "director.hears")["value"],
    )


def over(studio: Studio) -> None:
    until(lambda: studio.point("playback", "take")["value"] == 0, 20, "all is put back")


def label_of(studio: Studio, device: str) -> str:
    return next(str(lane["start"]) for lane in studio.get("takes/1")["lanes"] if lane["device"] == device)


def done(studio: Studio, device: str) -> list[str]:
    """What a deck did since its last clip."""
    history = studio.truth(device)["history"]
    last = max(index for index, entry in enumerate(history) if entry["what"] == "stopped" and entry.get("clip"))
    return [str(entry["what"]) for entry in history[last + 1 :]]


def test_the_terminal_plays_a_take_to_the_director_and_puts_back_what_was_there_and_a_roll_never_waits(
    studio: Studio,
) -> None:
    before = director(studio)
    assert before == ("titles", "nothing")
    said = studio.cli("play", "1", "--on", "Director")
    assert said.returncode == 0, said.stdout + said.stderr
    assert said.stdout.startswith(f"Take 1 plays on Rec 5 from {label_of(studio, 'mix-rec')}, ")
    assert said.stdout.endswith(" s. Director sees play-5 and hears playback.\n")
    over(studio)
    assert director(studio) == before
    assert done(studio, "mix-rec") == ["stopped", "play", "stopped"]
    assert studio.cli("play").stdout == "Nothing is played back.\n"
    assert studio.cli("play", "stop").returncode == 2

    common = studio.get("takes/1")["common"]["first"]
    said = studio.cli("play", "1", "--all", "--recorder", "Rec 2")
    assert (said.returncode, said.stdout.partition(" from ")[2][:11]) == (0, common)
    over(studio)
    for device in RECORDERS:
        assert done(studio, device)[-3:] == ["stopped", "play", "stopped"]

    assert studio.cli("play", "9").returncode == 4
    assert studio.cli("play", "nine").returncode == 2
    assert studio.cli("play", "1", "--from", "01:00:00:00").returncode == 4

    assert studio.cli("play", "1", "--recorder", "iso-3").returncode == 0
    status, group = studio.post("roll")
    assert (status, group["ended"], group["count"]) == (200, "verified", "5 of 5")
    assert len(studio.get("now")["take"]["rolling"]) == len(RECORDERS)
    assert all(studio.truth(deck)["transport"] == "record" for deck in RECORDERS)
    refused = studio.cli("play", "1", "--on", "director")
    assert (refused.returncode, refused.stderr) == (4, "Rec 5 rolls. Cut its take first.\n")
    assert director(studio) == ("titles", "nothing")


def test_every_door_plays_and_a_kill_in_the_middle_loses_nothing_of_what_was_there(studio: Studio) -> None:
    before = director(studio)
    wish = {"id": "play-1", "verb": "play", "on": ["playback"], "args": {"take": 1, "station": "director"}}
    publish = [program("mosquitto_pub"), "-V", "5", "-p", str(studio.mqtt_port), "-q", "1"]
    subprocess.run([*publish, "-t", f"{SITE}/cmd/ines", "-m", json.dumps(wish)], check=True, timeout=20)
    until(lambda: studio.point("playback", "state")["value"] == "plays", 30, "it plays by MQTT")
    assert director(studio) == ("play-5", "playback")
    studio.kill()
    studio.clear_wires()
    studio.start()
    until(lambda: director(studio) == ("play-5", "playback"), 10, "the station is read again")
    assert not [text for text in studio.requests("mix-rec") if text.startswith(("stop", "play", "goto"))]
    assert "Take 1 plays" in studio.get("playback")["say"]
    assert studio.get("playback")["station"]["sees"] == "titles"
    status, group = studio.post("in/pedal", {"verb": "stop", "args": {}})
    assert (status, group["is"]) == (200, "done"), group
    over(studio)
    assert director(studio) == before

    status, group = studio.post("playback", {"recorder": "iso-1"})
    assert (status, group["ended"]) == (200, "verified")
    assert studio.truth("iso-1")["transport"] == "play"
    assert studio.post("playback/stop")[1]["ended"] == "verified"
