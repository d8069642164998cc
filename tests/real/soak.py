"""Does the daemon stay as it is under hours of work? Recorders roll and are cut, followers and links come and go.

Memory and file handles of the real process are read from the kernel (proc(5)) over the whole run. What it keeps for
good (takes, ids of commands) has its bounds; the rest must not grow.
"""

import re
import selectors
import socket
import statistics
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from tests.real.room import Room
from tests.stories.studio import until

DECKS: Final = 24
FOLLOWERS: Final = 20
GROWTH_MB: Final = 10.0  # first bar of the page of goals, for 20 minutes
PAUSE_S: Final = 15.0  # between five takes and the next: some 600 takes an hour, ten times a busy day
QUARTERS: Final = 4  # a run is looked at in quarters: the first warms up, the second and the last are compared


@dataclass(slots=True)
class Soak:
    """What a run came to. `wrong` has a sentence for each promise that was broken."""

    seconds: float
    memory_mb: list[float] = field(default_factory=list)
    handles_before: int = 0
    handles_after: int = 0
    takes: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def growth_mb(self) -> float:
        """From the second quarter of the run to the last, by medians."""
        quarter = max(1, len(self.memory_mb) // QUARTERS)
        early, late = self.memory_mb[quarter : 2 * quarter], self.memory_mb[-quarter:]
        return statistics.median(late) - statistics.median(early or late)

    def told(self) -> str:
        """One sentence."""
        seen = f"{self.memory_mb[0]:.0f} to {self.memory_mb[-1]:.0f} MB" if self.memory_mb else "not seen"
        return (
            f"{self.seconds:.0f} s, {self.takes} takes of {DECKS}: memory {seen}, {self.growth_mb:+.1f} MB from the "
            f"second quarter to the last; handles {self.handles_before} before, {self.handles_after} after."
        )


def run(folder: Path, seconds: float) -> Soak:
    """Work for so long; the daemon is looked at after every take."""
    done = Soak(seconds)
    wired = [f"iso-{number}" for number in range(3, 7)]
    with Room(folder, DECKS, wired=wired) as room:
        room.start()
        at_work(room, done, 3)  # what is made once is made now
        done.handles_before = handles(room.daemon_pid)
        ends = time.monotonic() + seconds
        turn = 0
        while time.monotonic() < ends:
            with followers(room):
                at_work(room, done, 5)
            sick = wired[turn % len(wired)]
            room.wires[sick].refuse()
            room.wires[sick].listen()
            until(lambda sick=sick: room.device(sick)["adopted"], 30, f"{sick} is back")
            turn += 1
            time.sleep(PAUSE_S)
        try:
            until(lambda: handles(room.daemon_pid) <= done.handles_before, 15, "")
        except AssertionError:
            done.wrong.append("Handles were left open.")
        done.handles_after = handles(room.daemon_pid)
    if done.growth_mb > GROWTH_MB:
        done.wrong.append(f"Memory grew by more than {GROWTH_MB:g} MB.")
    return done


def at_work(room: Room, done: Soak, takes: int) -> None:
    """Roll and cut so many takes, change routes meanwhile, read what pages read; then look at the process."""
    for _ in range(takes):
        status, answer = room.post("roll", {"name": "Long day"})
        if (status, answer["ended"]) != (200, "verified"):
            done.wrong.append(f"A roll was {answer.get('ended', status)}: {answer.get('count')}.")
            continue
        for page in ("journal?count=200", "points", "takes", "alarms"):
            room.get(page)
        room.post("commands", {"target": "hall", "verb": "set", "args": {"point": "output 5 source", "value": 3}})
        status, ended = room.post("cut", {"take": answer["take"]})
        if (status, ended["ended"]) != (200, "verified"):
            done.wrong.append(f"A cut was {ended.get('ended', status)}.")
        done.takes += 1
    done.memory_mb.append(memory_mb(room.daemon_pid))


@contextmanager
def followers(room: Room) -> Iterator[None]:
    """Pages that follow the house live; each reads all that comes, when the block ends."""
    lines = [socket.create_connection(("127.0.0.1", room.port), 5) for _ in range(FOLLOWERS)]
    try:
        for line in lines:
            line.sendall(b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        yield
        with selectors.DefaultSelector() as ready:
            for line in lines:
                line.setblocking(False)
                ready.register(line, selectors.EVENT_READ)
            for key, _ in ready.select(1.0):
                assert isinstance(key.fileobj, socket.socket)
                with suppress(BlockingIOError):
                    while key.fileobj.recv(1 << 20):
                        pass
    finally:
        for line in lines:
            line.close()


def memory_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    assert found is not None
    return int(found[1]) / 1024


def handles(pid: int) -> int:
    return sum(1 for _ in Path(f"/proc/{pid}/fd").iterdir())
