"""Does a studio show itself over MQTT? Daemon and simulators as programs, mosquitto and its clients beside them.

Sources: docs/mqtt.md, whose examples are run as they stand there; the will is MQTT 5.0, section 3.1.2.5.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.inlets.mosquitto import SITE, program
from tests.stories.studio import RECORDERS, Studio, until

DOCS = Path(__file__).parents[2] / "docs" / "mqtt.md"
EXAMPLES = re.findall(r"(?m)^(mosquitto_(?:sub|pub|rr) .*)$", DOCS.read_text(encoding="utf-8"))
ALL = {f"{SITE}/state/{box}/transport" for box in RECORDERS}


class Listening:
    """A mosquitto_sub that writes what it hears to a file."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def heard(self, ending: str = "") -> list[dict[str, Any]]:
        """The JSON of all messages so far on topics that end so."""
        rows = [line.partition(" ") for line in self._path.read_text(encoding="utf-8").splitlines(keepends=True)]
        return [
            json.loads(text) | {"topic": topic}
            for topic, _, text in rows
            if topic.endswith(ending) and text.endswith("\n")
        ]


@contextmanager
def listening(studio: Studio, *topics: str) -> Iterator[Listening]:
    path = studio.folder / f"heard-{len(list(studio.folder.glob('heard-*')))}"
    wanted = [word for topic in topics for word in ("-t", f"{SITE}/{topic}")]
    command = [program("mosquitto_sub"), "-V", "5", "-p", str(studio.mqtt_port), "-q", "1", "-v", *wanted]
    with path.open("wb") as out, subprocess.Popen(command, stdout=out) as process:
        try:
            yield Listening(path)
        finally:
            process.kill()


def recording(ear: Listening) -> set[str]:
    """The topics that said that their box records."""
    return {row["topic"] for row in ear.heard("/transport") if row["data"]["transport"] == "recording"}


def run(studio: Studio, example: str, more: str = "") -> str:
    """An example of the docs in a shell, with this studio's port; what it printed."""
    assert "-p 1883 " in example
    told = subprocess.run(
        ["/bin/sh", "-c", example.replace("-p 1883 ", f"-p {studio.mqtt_port} ") + more],
        capture_output=True,
        text=True,
        timeout=30,
        check=True,
    )
    return told.stdout


def example(piece: str) -> str:
    """The one example that holds a piece of text."""
    (found,) = [one for one in EXAMPLES if piece in one]
    return str(found)


@pytest.mark.slow
def test_the_examples_of_the_docs_do_what_they_say(tmp_path: Path) -> None:
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        assert json.loads(run(studio, example("/link -C 1")))["epoch"] == 1
        assert len(run(studio, example("state/#"), " -C 20 -W 10").splitlines()) == 20
        assert len(run(studio, example("state/+/transport"), " -C 6 -W 10").splitlines()) == 6
        assert example("verdict/ines/#")
        with listening(studio, "verdict/ines/#", "state/+/transport") as ear:
            until(lambda: len(ear.heard("/transport")) >= 5, 10, "it listens")
            for press in range(1, 5):  # a roll, a cut, a set, a scene
                run(studio, example(f'"press-{press}"'))
                two = until(
                    lambda press=press: rows if len(rows := ear.heard(f"verdict/ines/press-{press}")) == 2 else None,
                    15,
                    f"both answers to press {press}",
                )
                assert [one["phase"] for one in two] == ["accepted", "verified"], two
                if press == 1:
                    assert (two[1]["of"], two[1]["take"]) == ("5 of 5", 1)
                    assert all(studio.truth(box)["transport"] == "record" for box in RECORDERS)
                    until(lambda: recording(ear) == ALL, 10, "all five are seen to record")
                elif press == 2:
                    assert two[1]["of"] == "5 of 5"
                    assert not any(studio.truth(box)["transport"] == "record" for box in RECORDERS)
            assert json.loads(run(studio, example("verdict/ines/panel"), " -W 10"))["phase"] == "accepted"
        assert [(take["take"], take["name"]) for take in studio.get("takes")["takes"]][-1] == (1, "Warm-up")
        assert studio.interrupt() == 0


@pytest.mark.slow
def test_kill_9_makes_the_will_speak_and_an_older_off_is_known_by_its_numbers(tmp_path: Path) -> None:
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        until(lambda: run(studio, example("/link -C 1")), 10, "the broker has our link")
        the_will_speaks(studio)


def the_will_speaks(studio: Studio) -> None:
    with listening(studio, "link") as ear:
        on = until(ear.heard, 10, "link on")[0]
        assert (on["on"], on["epoch"], on["session"]) == (True, 1, 1)
        studio.kill()
        off = until(lambda: [one for one in ear.heard() if not one["on"]], 10, "the will")[0]
        assert (off["epoch"], off["session"]) == (1, 1)
        assert "why" not in off, "only a clean end says why"
        studio.start()
        again = until(lambda: [one for one in ear.heard() if one["epoch"] == 2 and one["on"]], 10, "on again")[0]
        assert there([on, off, again])
        assert there([on, again, off]), "the will of the connection before comes late"
        assert not there([on, again, again | {"on": False}])
        assert studio.interrupt() == 0
        last = until(lambda: [one for one in ear.heard() if one.get("why")], 10, "goodbye")[-1]
        assert (last["on"], last["why"], last["epoch"]) == (False, "stopped", 2)


def there(heard: list[dict[str, Any]]) -> bool:
    """Is it there? As docs/mqtt.md tells readers to judge."""
    newest, on = (0, 0), False
    for one in heard:
        numbers = (one["epoch"], one["session"])
        if one["on"]:
            newest, on = max(newest, numbers), True
        elif numbers >= newest:
            on = False
    return on


@pytest.mark.slow
def test_a_hand_at_a_box_is_seen_over_mqtt_with_whose_act_it_was(tmp_path: Path) -> None:
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        with listening(studio, "state/iso-1/transport", "state/hall/output.3") as ear:
            until(lambda: len(ear.heard()) >= 2, 10, "it listens")
            studio.hand("iso-1", "record")
            seen = until(
                lambda: [one for one in ear.heard("/transport") if one["data"]["transport"] == "recording"],
                10,
                "it records",
            )
            assert seen[0]["by"] == "box"
        assert studio.interrupt() == 0


def ack(studio: Studio, log: str, seq: int) -> None:
    """A central log says what it has committed, by mosquitto's own client."""
    said = json.dumps({"v": 1, "log": log, "seq": seq})
    topic = f"{SITE}/ack/log"
    command = [
        program("mosquitto_pub"),
        "-V",
        "5",
        "-p",
        str(studio.mqtt_port),
        "-q",
        "1",
        "-r",
        "-t",
        topic,
        "-m",
        said,
    ]
    subprocess.run(command, check=True, timeout=30)


def sequence(ear: Listening, start: int = 0) -> list[int]:
    """The numbers of the records of all batches from the `start`th one on."""
    return [record["seq"] for batch in ear.heard("/log")[start:] if "recs" in batch for record in batch["recs"]]


@pytest.mark.slow
def test_a_central_log_gets_the_whole_journal_once_and_goes_on_where_it_was(tmp_path: Path) -> None:
    with Studio(tmp_path, mqtt=True) as studio:
        studio.start()
        with listening(studio, "log") as ear:
            assert studio.post("roll", {"name": "Warm-up"})[0] == 200
            assert ear.heard() == [], "nobody has asked for it"
            ack(studio, "", 0)
            first = until(ear.heard, 15, "the first batch")[0]
            assert (first["v"], first["first"], first["recs"][0]["kind"]) == (1, 1, "daemon")
            assert all(len(batch["recs"]) <= 200 for batch in ear.heard())
            log, last = first["log"], first["recs"][-1]["seq"]
            assert sequence(ear) == list(range(1, last + 1))
            until(lambda: len(ear.heard()) > 1, 20, "without an answer it is sent again")
            assert ear.heard()[1]["first"] == 1
            ack(studio, log, last)
            studio.kill()
            studio.start()
            before = len(ear.heard())
            more = until(lambda: ear.heard()[before:], 20, "the next batch, after kill -9")[0]
            assert (more["log"], more["first"]) == (log, last + 1)
            assert studio.post("cut", {"take": 1})[0] == 200
            newest = studio.get("journal?count=1")["last"]
            while (told := ear.heard()[-1]["recs"][-1]["seq"]) < newest:
                ack(studio, log, told)
                until(lambda told=told: ear.heard()[-1]["recs"][-1]["seq"] > told, 20, f"what follows record {told}")
            told = {record["seq"]: record for batch in ear.heard() for record in batch["recs"]}
        assert studio.interrupt() == 0
        kept = subprocess.run(
            [sys.executable, "-m", "stagectl", "journal", "export", str(studio.data)],
            capture_output=True,
            text=True,
            timeout=30,
            check=True,
        )
        exported = [json.loads(line) for line in kept.stdout.splitlines()]
        assert sorted(told) == list(range(1, max(told) + 1))
        for record in exported[: max(told)]:
            sent = told[record["n"]]
            assert (sent["kind"], sent["who"], sent["data"]) == (record["kind"], record["who"], record["data"])
            assert (sent["h"], sent["epoch"]) == (record["chain"], record["epoch"])
