"""Do picture and sound go together through two routers each, as a person at the terminal has it? Programs of their own.

The hall gets a sound router beside each router of the pictures; what stands on their crosspoints is read from the
simulators. Source: own construction.
"""

import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.inlets.mosquitto import SITE, program
from tests.stories.studio import Studio, until
from tests.stories.test_mqtt import listening

pytestmark = pytest.mark.slow

BOXES = """\
  hall-sound:    {box: block-router, at: 127.0.5.23, called: Hall sound}
  gallery-sound: {box: block-router, at: 127.0.5.24, called: Gallery sound}
"""
LEVELS = "  levels: {sound: {hall: hall-sound, gallery: gallery-sound}}\n"


def write(text: str) -> str:
    """The site file with sound beside pictures: hall 16 carries pictures alone, the titles have no sound."""
    text = text.replace("\ngroups:", f"{BOXES}\ngroups:", 1).replace("\npictures:\n", f"\npictures:\n{LEVELS}", 1)
    text = text.replace(
        "titles: gallery 8", "titles: {video: gallery 8}\n    host: {sound: hall 9}\n    talk: {sound: gallery 6}"
    )
    text = text.replace("bench: hall 9", "bench: {video: hall 9}")
    return re.sub(r"- (hall 16 to gallery 2|gallery 8 to hall 16)", r"- {line: \1, levels: [video]}", text)


def play(told: dict[str, Any]) -> None:
    plain = {box["id"]: box for box in told["boxes"]}
    for name in ("hall", "gallery"):
        options = {key: plain[name]["options"][key] for key in ("inputs", "outputs", "routes")}
        told["boxes"].append({"id": f"{name}-sound", "kind": "block-router", "at": "127.0.0.1:0", "options": options})


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path, write=write, play=play, mqtt=True) as made:
        made.start()
        yield made


def stands(studio: Studio, router: str, output: int) -> int:
    return int(studio.truth(router)["video_output_routing"][output - 1])


def told(studio: Studio, *words: str) -> tuple[int, list[str]]:
    done = studio.cli(*words)
    return done.returncode, (done.stdout + done.stderr).splitlines()


def test_one_act_moves_picture_and_sound_and_a_break_away_is_told_as_such(studio: Studio) -> None:
    code, lines = told(studio, "route", "program", "hands")
    assert code == 1  # the picture could go over hall 16; the sound's one tie-line is held
    (line,) = lines
    assert line == (
        "No tie-line is free to bring hands to program sound: hall-sound 15 to gallery-sound 1 is held by mix-rec "
        "sound (wide). Give mix-rec sound a source that needs no tie-line first: "
        "stagectl route mix-rec talk --level sound"
    )
    assert stands(studio, "gallery", 1) == 1

    assert told(studio, "route", "mix-rec", "talk", "--level", "sound")[0] == 0
    code, lines = told(studio, "route", "program", "hands")
    said = "Route program = hands at video, program = hands at sound: 5 of 5 done."
    assert (code, lines[-2:]) == (0, ["Now program has video of hands, sound of hands.", said])
    ports = (("hall", 16), ("gallery", 1), ("hall-sound", 15), ("gallery-sound", 1))
    assert [stands(studio, *port) for port in ports] == [3, 2, 3, 1]

    code, lines = told(studio, "route", "program", "host", "--level", "sound")
    assert code == 0
    assert "Now program has video of hands, sound of host: a break-away." in lines
    assert stands(studio, "hall-sound", 15) == 9
    assert studio.point("paths", "program.break_away")["value"] is True

    code, lines = told(studio, "route", "plan", "program=titles")
    assert code == 0
    assert "titles has no sound: program keeps the sound it has." in lines
    code, lines = told(studio, "route", "director", "titles", "--level", "sound")
    assert (code, lines) == (2, ["titles has no sound. It has video."])
    assert told(studio, "route", "program", "wide")[0] == 0
    assert studio.point("paths", "program.break_away")["value"] is False

    studio.fault("gallery-sound", "ack_only")  # a sound that does not arrive makes the answer a no
    code, lines = told(studio, "route", "director", "wide")
    assert code == 1
    assert lines[4].split()[:3] == ["Gallery", "sound", "FAILED"]
    assert lines[5] == "Now director has video of wide, sound of gallery-sound input 8: a break-away."
    assert lines[6] == "Route director = wide at video, director = wide at sound: 3 of 5 done."


def test_over_mqtt_and_rest_a_level_is_a_word_of_the_route(studio: Studio) -> None:
    with listening(studio, "verdict/ines/#", "state/paths/+") as ear:
        until(ear.heard, 10, "it listens")
        args = {"routes": ["director = wide", "bench = stage-left at video"]}
        command = {"id": "set-1", "verb": "route", "on": ["paths"], "args": args}
        pub = [program("mosquitto_pub"), "-V", "5", "-p", str(studio.mqtt_port), "-q", "1"]
        subprocess.run([*pub, "-t", f"{SITE}/cmd/ines", "-m", json.dumps(command)], check=True, timeout=20)
        rows = until(lambda: got if len(got := ear.heard("/set-1")) == 2 else None, 30, "it ends")
        assert [one["phase"] for one in rows] == ["accepted", "verified"]
    shows = {point["name"]: point["value"] for point in studio.get("points?device=paths")["points"]}
    names = ("director.shows", "director.sound.shows", "bench.shows", "director.break_away")
    assert [shows[name] for name in names] == ["wide", "wide", "stage-left", False]
    status, group = studio.post(
        "in/ines", {"verb": "route", "args": {"src": "talk", "dst": "director", "level": "sound"}}
    )
    assert (status, group["is"]) == (200, "done")
    assert studio.point("paths", "director.sound.shows")["value"] == "talk"
