"""Roll all, told as users do it: real processes, every door, checked against the simulators' own record."""

import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.stories.studio import READS, RECORDERS, Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio(tmp_path) as made:
        made.start()
        yield made


def rolling(studio: Studio) -> list[str]:
    return [box for box in RECORDERS if studio.truth(box)["transport"] == "record"]


def commands(segments: list[str]) -> list[str]:
    """The first line of each request on a text deck's wire; the lines of a block after it are its parameters."""
    found, inside = [], False
    for line in "".join(segments).split("\\r\\n"):
        if not inside and line:
            found.append(line)
        inside = line.endswith(":") if not inside else line != ""
    return found


def test_requests_that_act_are_told_from_reads() -> None:
    wire = [
        "notify:\\r\\ntransport: true\\r\\n\\r\\nping\\r\\n",
        "record: name: x\\r\\nstop\\r\\nrecord:\\r\\nname: y\\r\\n\\r\\n",
    ]
    assert [line for line in commands(wire) if not READS.match(line)] == ["record: name: x", "stop", "record:"]


def test_one_press_rolls_five_recorders_and_the_log_holds_their_real_clips(studio: Studio) -> None:
    said = studio.cli("roll", "--name", "Warm-up")
    assert said.returncode == 0, said.stdout + said.stderr
    assert re.search(r"Take 1 rolls on 5 of 5, spread \d+ frames?\.", said.stdout)
    assert rolling(studio) == list(RECORDERS)

    alone = studio.cli("cut")
    assert alone.returncode == 2
    assert "stagectl cut 1" in alone.stdout + alone.stderr
    assert rolling(studio) == list(RECORDERS)

    assert studio.cli("cut", "2").returncode != 0
    assert rolling(studio) == list(RECORDERS)

    ended = studio.cli("cut", "1")
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert rolling(studio) == []
    assert "Warm-up" in studio.cli("takes").stdout

    until(lambda: studio.get("takes/1")["common"], 10, "every recorder told its clip whole")
    take = studio.get("takes/1")
    for lane in take["lanes"]:
        clip = studio.truth(lane["device"])["clips"][-1]
        assert (lane["clip"], lane["start"]) == (clip["name"], clip["start"])
        assert lane["clip"] in studio.cli("take", "1").stdout


def test_a_deck_that_says_ok_and_never_rolls_is_named_and_the_others_roll_on(studio: Studio) -> None:
    studio.fault("iso-4", "never_roll")
    said = studio.cli("roll")
    assert said.returncode == 1
    assert "4 of 5" in said.stdout
    line = next(line for line in said.stdout.splitlines() if "Rec 4" in line)
    assert "FAILED" in line
    assert float(re.search(r"(\d+\.\d\d) s", line)[1]) < 2 + 1  # its deadline and a second
    told = json.loads(studio.cli("--json", "now").stdout)
    assert "4 of 5" in json.dumps(told)
    assert rolling(studio) == [box for box in RECORDERS if box != "iso-4"]


def test_a_silent_deck_is_not_called_rolling_and_is_shown_stale(studio: Studio) -> None:
    studio.fault("iso-3", "silent")
    status, answer = studio.post("roll")
    assert status == 200
    boxes = {box["device"]: box for box in answer["boxes"]}
    assert boxes["iso-3"]["ended"] in ("unconfirmed", "failed")
    assert answer["count"] == "4 of 5"
    until(lambda: studio.point("iso-3", "transport")["quality"] == "stale", 10, "the silent deck is shown stale")
    assert studio.point("iso-3", "transport")["value"] is not None


def test_kill_9_while_five_roll_and_the_next_daemon_only_looks(studio: Studio) -> None:
    assert studio.post("roll", {"name": "Long one"})[0] == 200
    until(lambda: all(lane["clip"] for lane in studio.get("takes/1")["lanes"]), 10, "the clips are known")
    studio.kill()
    studio.clear_wires()
    studio.start()
    take = studio.get("takes/1")
    assert take["running"]
    assert sorted(take["rolling"]) == sorted(RECORDERS)
    assert take["name"] == "Long one"
    assert len(take["lanes"]) == 5
    assert studio.get("takes")["takes"][-1]["take"] == 1
    assert rolling(studio) == list(RECORDERS)
    for box in RECORDERS:
        heard = commands(studio.requests(box))
        assert heard
        assert [line for line in heard if not READS.match(line)] == []
    assert studio.cli("cut", "1").returncode == 0
    assert rolling(studio) == []


def test_ctrl_c_of_the_daemon_sends_no_stop(studio: Studio) -> None:
    assert studio.post("roll")[0] == 200
    studio.clear_wires()
    assert studio.interrupt() in (0, 130)
    assert rolling(studio) == list(RECORDERS)
    for box in RECORDERS:
        assert not any("stop" in text for text in studio.requests(box))


def test_a_hand_at_the_box_is_seen_and_said_to_be_one(studio: Studio) -> None:
    studio.hand("hall", "route", output=9, input=4)
    until(lambda: studio.point("hall", "output.9.source")["value"] == 4, 10, "the route at the panel")
    assert studio.point("hall", "output.9.source")["by"] == "box"

    studio.hand("mixer", "fader", strip=8, db=-31.0)
    until(lambda: studio.point("mixer", "strip.8.level")["value"] == -31.0, 20, "the fader moved by hand")
    assert studio.point("mixer", "strip.8.level")["by"] == "box"

    assert studio.post("roll")[0] == 200
    studio.hand("iso-2", "stop")
    until(lambda: "iso-2" not in studio.get("takes/1")["rolling"], 4, "the stop at the front")
    take = studio.get("takes/1")
    assert take["running"]
    lane = next(lane for lane in take["lanes"] if lane["device"] == "iso-2")
    assert lane["ended_by"] == "box"
    assert "front" in lane["note"]


def test_a_recorder_rolled_at_its_front_becomes_a_take(studio: Studio) -> None:
    studio.hand("iso-1", "record", name="by hand")
    until(lambda: studio.get("takes")["takes"], 5, "the take")
    take = studio.get("takes/1")
    assert (take["rolling"], take["by"]) == (["iso-1"], "box")
    assert studio.post("roll")[0] == 200  # the others join; the one that rolls is left alone
    assert len(studio.get("takes")["takes"]) == 1
    assert sorted(studio.get("takes/1")["rolling"]) == sorted(RECORDERS)


def test_the_scene_rolls_all_as_the_verb_does(studio: Studio) -> None:
    said = studio.cli("scene", "roll-all")
    assert said.returncode == 0, said.stdout + said.stderr
    assert rolling(studio) == list(RECORDERS)
    cut = studio.cli("scene", "cut")
    assert cut.returncode == 0, cut.stdout + cut.stderr
    assert rolling(studio) == []


def test_playing_the_last_take_puts_back_what_was_there(studio: Studio) -> None:
    assert studio.post("roll")[0] == 200
    until(lambda: all(lane["start_exact"] for lane in studio.get("takes/1")["lanes"]), 10, "first labels are known")
    until(lambda: studio.truth("mix-rec")["clips"][-1]["frames"] > 75, 10, "three seconds to play")
    assert studio.post("cut", {"take": 1})[0] == 200
    before = studio.point("paths", "director.shows")["value"]
    said = studio.cli("scene", "play-last-take")
    assert said.returncode == 0, said.stdout + said.stderr
    history = [entry["what"] for entry in studio.truth("mix-rec")["history"]]
    assert any("play" in what for what in history), history
    assert studio.point("paths", "director.shows")["value"] == before


WRONG = [
    # path, body, expected statuses
    ("commands", {"target": "iso-9", "verb": "roll"}, (404,)),
    ("commands", {"target": "iso-1", "verb": "rol"}, (404, 422)),
    ("commands", {"target": "mixer", "verb": "set", "args": {"point": "strip 1 level", "value": 99}}, (422,)),
    ("commands", {"target": "mixer", "verb": "set", "args": {"point": "strip 1 level", "value": "loud"}}, (422,)),
    ("commands", {"target": "hall", "verb": "set", "args": {"point": "output 3 sauce", "value": 1}}, (404, 422)),
    ("commands", {"target": "hall", "verb": "set", "args": {"point": "output 1 source", "value": 2}}, (200, 403)),
    ("cut", {"take": 7}, (404, 409, 422)),
    ("roll", {"on": ["hall"]}, (404, 409, 422)),
    ("roll", {"name": 5}, (422,)),
]


def test_bad_input_is_refused_with_a_remedy_and_nothing_is_sent(studio: Studio) -> None:
    studio.clear_wires()
    for path, body, statuses in WRONG:
        status, answer = studio.post(path, body)
        assert status in statuses, (path, body, status, answer)
        if status != 200:
            assert answer["detail"], answer
        else:
            assert answer["boxes"][0]["ended"] == "failed", answer
    for box in (*RECORDERS, "hall", "mixer"):
        for text in studio.requests(box):
            first = text.split("\\n")[0]
            assert "record" not in first, text
            assert not first.startswith(("stop", "set ")), text
            assert not re.match(r"VIDEO OUTPUT ROUTING:\\n\d", text), text


def mosquitto(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(words, capture_output=True, text=True, timeout=30, check=False)


def test_the_same_id_through_two_doors_is_one_take(tmp_path: Path) -> None:
    topic = "stagectl/1/tidewater-hall"
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        port = str(studio.mqtt_port)
        link = mosquitto("mosquitto_sub", "-p", port, "-t", f"{topic}/link", "-C", "1", "-W", "10")
        assert json.loads(link.stdout)["on"] is True
        told = json.dumps({"id": "press-1", "verb": "roll", "args": {"name": "Both"}})
        sent = mosquitto("mosquitto_pub", "-p", port, "-q", "1", "-t", f"{topic}/cmd/ines", "-m", told)
        assert sent.returncode == 0
        until(lambda: len(rolling(studio)) == 5, 10, "all roll")
        status, answer = studio.ask(
            "POST",
            "/api/v1/roll?wait=verdict",
            {"name": "Both"},
            {"Idempotency-Key": "press-1", "X-Stage-Who": "ines"},
        )
        assert status == 200
        assert (answer["take"], answer["count"]) == (1, "5 of 5")
        assert [take["take"] for take in studio.get("takes")["takes"]] == [1]
        assert len(studio.get("takes/1")["lanes"]) == 5
        for box in RECORDERS:
            assert sum(entry["what"] == "rolling" for entry in studio.truth(box)["history"]) == 1
