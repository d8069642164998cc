"""How long until everything retained is there again, when the broker of a large house was killed and wiped?"""

import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from tests.inlets.mosquitto import program
from tests.real.room import Room
from tests.stories.studio import until

TREE: Final = "stagectl/1/tidewater-annexe"
BACK_S: Final = 10.0  # first bar of the page of goals
PATIENCE_S: Final = 120.0


@dataclass(slots=True)
class Back:
    """What a run came to. `wrong` has a sentence for each promise that was broken."""

    boxes: int
    topics: int = 0
    took_s: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def told(self) -> str:
        """One sentence."""
        took = ", ".join(f"{one:.1f}" for one in self.took_s)
        return f"{self.boxes} boxes, {self.topics} retained messages: all there again {took} s after the broker was."


def run(folder: Path, boxes: int, times: int = 3) -> Back:
    """Kill and wipe the broker so often; each time all that it had must come back."""
    done = Back(boxes)
    with Room(folder, boxes - 1, mqtt=True) as room:
        room.kill_broker()
        _start_broker(room)
        room.launch()
        room.until_ready()
        room.until_adopted(PATIENCE_S)
        kept = until(lambda: _settled(room), PATIENCE_S, "the state is published")
        done.topics = len(kept)
        for _ in range(times):
            room.kill_broker()
            _start_broker(room)
            began = time.monotonic()
            missing = set(kept)
            for topic in _coming(room, PATIENCE_S):
                missing.discard(topic)
                if not missing:
                    break
            done.took_s.append(time.monotonic() - began)
            if missing:
                done.wrong.append(f"{len(missing)} messages never came back, such as {min(missing)}.")
    if any(one > BACK_S for one in done.took_s):
        done.wrong.append(f"It took longer than {BACK_S:g} s.")
    return done


def _start_broker(room: Room) -> None:
    """As shipped, it keeps 1,000 messages for a client that is slow and forgets the rest: this one forgets none."""
    config = room.folder / "broker.conf"
    lines = ["allow_anonymous true", "persistence false", "max_queued_messages 0", "log_dest none", "user root"]
    config.write_text("\n".join([f"listener {room.mqtt_port} 127.0.0.1", *lines]) + "\n", encoding="utf-8")
    room.start_broker("-c", str(config))


def _settled(room: Room) -> set[str] | None:
    """Topics that the broker keeps a message of, once no more come; those of alarms come and go."""
    first, again = _retained(room), _retained(room)
    return first if len(first) > len(room.boxes) and first == again else None


def _retained(room: Room) -> set[str]:
    command = [*_listen(room), "--retained-only", "-W", "3"]
    heard = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    return {line for line in heard.stdout.splitlines() if not line.startswith(f"{TREE}/alarm")}


def _coming(room: Room, within_s: float) -> Iterator[str]:
    """Topics as they are published; ends when nothing was left to come in time."""
    until(lambda: _open(room), 10, "the broker listens")
    command = [*_listen(room), "-W", str(round(within_s))]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as heard:
        assert heard.stdout is not None
        try:
            for line in heard.stdout:
                yield line.rstrip("\n")
        finally:
            heard.terminate()


def _open(room: Room) -> bool:
    command = [program("mosquitto_pub"), "-V", "5", "-p", str(room.mqtt_port), "-t", "probe", "-m", ""]
    return subprocess.run(command, capture_output=True, timeout=10, check=False).returncode == 0


def _listen(room: Room) -> list[str]:
    """The broker's own client, a topic a line."""
    words = ["-V", "5", "-p", str(room.mqtt_port), "-q", "1", "-F", "%t", "-t", f"{TREE}/#"]
    return [program("mosquitto_sub"), *words]
