"""Do the simulators run as a process of their own, with a door beside them? Stories over real TCP."""

from __future__ import annotations

import http.client
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from stagectl_simulators import client
from stagectl_simulators.__main__ import read_spec

SPEC = {
    "door": "127.0.0.1:0",
    "seed": 4,
    "boxes": [{"id": f"iso-{number}", "kind": "text-deck", "options": {"roll_delay_s": 0.2}} for number in (1, 2)],
}
COMMAND = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]


class Hall:
    """The running process and what it printed when it was ready."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(SPEC) + "\n")
        self.process.stdin.flush()
        ready = json.loads(self.process.stdout.readline())
        self.door: str = ready["door"]
        self.boxes: dict[str, str] = ready["boxes"]

    def connect(self, box: str) -> socket.socket:
        host, port = self.boxes[box].split(":")
        return socket.create_connection((host, int(port)), timeout=5)

    def wait_for(self, box: str, **wanted: object) -> dict[str, Any]:
        """Look at the truth until it is as wanted."""
        end = time.monotonic() + 10
        while True:
            truth = client.truth(self.door, box)
            if all(truth[name] == value for name, value in wanted.items()):
                return truth
            assert time.monotonic() < end, truth
            time.sleep(0.02)


@pytest.fixture(scope="module")
def hall() -> Iterator[Hall]:
    hall = Hall()
    yield hall
    assert hall.process.stdin is not None
    assert hall.process.stdout is not None
    hall.process.stdin.close()
    assert hall.process.wait(10) == 0, "it ends with its parent"
    hall.process.stdout.close()


def test_a_deck_that_never_rolls_is_made_and_healed_from_outside(hall: Hall) -> None:
    boxes = {str(box["id"]): box for box in client.list_boxes(hall.door)}
    assert {name: box["address"] for name, box in boxes.items()} == hall.boxes
    client.set_fault(hall.door, "iso-2", "never_roll", True)
    for name in ("iso-1", "iso-2"):
        with hall.connect(name) as line:
            line.sendall(b"record: name: Warm-up\r\n")
            heard = b""
            while not heard.endswith(b"200 ok\r\n"):
                heard += line.recv(4096)
    first = hall.wait_for("iso-1", transport="record")
    assert first["history"][-1]["cause"] == "wire:1"
    assert client.truth(hall.door, "iso-2")["transport"] == "preview"
    listed = {str(box["id"]): box["faults_on"] for box in client.list_boxes(hall.door)}
    assert listed == {"iso-1": {}, "iso-2": {"never_roll": True}}
    client.panel(hall.door, "iso-1", "stop")
    last = hall.wait_for("iso-1", transport="preview")
    assert last["history"][-1]["cause"] == "panel"
    texts = [(entry["way"], entry["text"]) for entry in client.wire(hall.door, "iso-1")]
    assert ("in", "record: name: Warm-up\\r\\n") in texts
    assert ("out", "200 ok\\r\\n") in texts
    client.clear_wire(hall.door, "iso-1")
    assert client.wire(hall.door, "iso-1") == []


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda door: client.truth(door, "iso-9"), "There is no box 'iso-9'. Known boxes: iso-1, iso-2."),
        (lambda door: client.set_fault(door, "iso-1", "sulk", True), "never_roll, roll_late"),
        (lambda door: client.set_fault(door, "iso-1", "silent", 3.0), "true or false"),
        (lambda door: client.set_fault(door, "iso-1", "latency", -1.0), "0 or more"),
        (lambda door: client.panel(door, "iso-1", "dance"), "Known acts: record, stop"),
        (lambda door: client.panel(door, "iso-1", "eject", slot=5), "1 to 2"),
    ],
)
def test_the_door_refuses_with_a_sentence_that_says_what_there_is(hall: Hall, act: Any, words: str) -> None:
    with pytest.raises(client.DoorError, match=words.replace("(", r"\(")):
        act(hall.door)


def test_a_wrong_path_or_method_is_told_too(hall: Hall) -> None:
    where = hall.door.removeprefix("http://")
    for method, path, status, words in [
        ("GET", "/nope", 404, "There is nothing at /nope"),
        ("POST", "/boxes", 405, "POST does nothing at /boxes. What can be done there: GET"),
        ("PUT", "/boxes/iso-1/faults/silent", 400, "Send"),
        ("GET", "/boxes/iso-1/wire?since=x", 400, "'since' must be"),
    ]:
        line = http.client.HTTPConnection(where, timeout=5)
        line.request(method, path)
        reply = line.getresponse()
        assert (reply.status, words in json.loads(reply.read())["error"]) == (status, True)
        line.close()


def test_a_door_that_is_not_there_is_told() -> None:
    with pytest.raises(client.DoorError, match="Start the simulators first"):
        client.list_boxes("http://127.0.0.1:1")


def test_a_termination_ends_it_in_order() -> None:
    hall = Hall()
    with hall.connect("iso-1") as line, hall.process:
        line.recv(100)
        hall.process.send_signal(signal.SIGTERM)
        assert hall.process.wait(10) == 0


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("{", "no JSON"),
        ('{"boxes": [{"id": "a", "kind": "tape"}]}', "no simulator of kind 'tape'"),
        ('{"boxes": [{"id": "a", "kind": "text-deck", "at": "here"}]}', "is no address"),
        ('{"boxes": [], "sed": 1}', "no option 'sed'"),
        ('{"boxes": [], "house_rate": "26"}', "no frame rate '26'"),
        ('{"boxes": [{"id": "a", "kind": "text-deck"}, {"id": "a", "kind": "text-deck"}]}', "Two boxes"),
    ],
)
async def test_a_wrong_spec_is_refused_in_one_sentence(spec: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        async with read_spec(spec):
            pass


def test_a_wrong_spec_ends_the_process_with_its_sentence() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "stagectl_simulators", "-"],
        input="{}",
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == 'Simulators: The spec has no boxes. Add "boxes": [...].\n'
