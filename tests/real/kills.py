"""Does a daemon that is killed at random lose a take? Real processes: 24 decks roll, SIGKILL, start, look, again.

Each round kills at a moment that chance draws: while the decks roll, in the middle of a roll or of a cut, or while the
daemon is still finding its feet after the last kill. Then the next daemon is judged by the decks' own record.
"""

import os
import random
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path
from typing import Any, Final

from stagectl.model.timecode import Label, Rate, frame_number
from stagectl_simulators import client as door
from tests.real.room import PYTHON, Room, acting
from tests.stories.studio import until

DECKS: Final = 24
READY_BAR_S: Final = 2.0  # of the reliability page: SIGKILL to the web door
ADOPTED_BAR_S: Final = 5.0  # ...and to all rolling decks adopted
SETTLE_S: Final = 10.0
MOMENTS: Final[Mapping[str, int]] = {"rolling": 6, "in the roll": 2, "in the cut": 2, "in recovery": 2}  # weights
RATE: Final = Rate(25, 1, 25)


@dataclass(frozen=True, slots=True)
class Counted:
    """What a deck itself did so far: recordings that began, and that ended."""

    rolls: int
    ends: int


@dataclass(slots=True)
class Round:
    """One kill and what came of it. `wrong` holds a sentence for each promise that was broken.

    `ready_cpu_s`: what the start cost in processor time; the rest of `ready_s` is waiting for others of this machine.
    """

    number: int
    moment: str
    ready_s: float = 0.0
    ready_cpu_s: float = 0.0
    adopted_s: float = 0.0
    rolled_on: int = 0
    looks: int = 0
    wrong: list[str] = field(default_factory=list)


class Press(threading.Thread):
    """Somebody presses while the daemon dies: the answer, if one came."""

    def __init__(self, room: Room, path: str, body: Mapping[str, object], key: str) -> None:
        super().__init__(daemon=True)
        self.answer: dict[str, Any] | None = None
        self._do: Callable[[], tuple[int, Any]] = lambda: room.post(path, dict(body), key=key)

    def run(self) -> None:
        try:
            status, answer = self._do()
        except (OSError, HTTPException, ValueError):
            return  # nobody answered: nothing was acknowledged
        if status == 200:
            self.answer = answer


class Kills:
    """Round after round in one room. `say` is told how it goes."""

    def __init__(self, room: Room, seed: int, say: Callable[[str], None] = lambda text: None) -> None:
        self.rounds: list[Round] = []
        self.acknowledged: dict[int, str] = {}
        self._room = room
        self._chance = random.Random(seed)
        self._say = say
        self._take: int | None = None
        self._presses = 0
        self._seen: dict[str, int] = {}

    def run(self, rounds: int) -> None:
        """Kill so often; what went wrong stands in `rounds`."""
        # as an installed daemon starts, with its modules compiled, wherever this is run from
        self._room.env |= {"PYTHONPYCACHEPREFIX": str(self._room.folder / "compiled"), "PYTHONDONTWRITEBYTECODE": ""}
        self._room.start()
        for number in range(1, rounds + 1):
            done = self._round(number)
            self.rounds.append(done)
            for wrong in done.wrong:
                self._say(f"round {number}, {done.moment}: {wrong}")
            if number % 10 == 0 or number == rounds:
                self._say(
                    f"{number} kills: {sum(len(one.wrong) for one in self.rounds)} promises broken, "
                    f"{len(self.acknowledged)} takes acknowledged, "
                    f"last start ready {done.ready_s:.2f} s, all adopted {done.adopted_s:.2f} s"
                )
        self._end()

    # -- one round ------------------------------------------------------------------------------------------------

    def _round(self, number: int) -> Round:
        room = self._room
        (moment,) = self._chance.choices(list(MOMENTS), list(MOMENTS.values()))
        done = Round(number, moment)
        if moment == "in the roll":
            self._cut_well(done)
        elif self._take is None:
            self._roll_well(done)
        before = self._counted()
        self._seen = {deck: self._last(deck) for deck in room.decks}
        press = self._die(moment)
        room.launch()
        if moment == "in recovery":
            time.sleep(self._chance.uniform(0.0, 1.2))
            room.kill()
            room.launch()
        done.ready_s = room.until_ready()
        done.ready_cpu_s = cpu_s(room.daemon_pid)
        done.adopted_s = room.until_adopted()
        self._only_looked(done)
        until(
            lambda: not any(room.truth(deck)["roll_pending"] for deck in room.decks), SETTLE_S, "what rolls has begun"
        )
        after = self._counted()
        self._nothing_unasked(done, moment, before, after)
        if press is not None:
            self._press_again(done, moment, press, before)
        self._takes_agree(done)
        self._nothing_lost(done)
        return done

    def _die(self, moment: str) -> "_Pressed | None":
        """Kill the daemon in its moment; what was pressed meanwhile."""
        room, chance, pressed = self._room, self._chance, None
        if moment == "in the roll":
            pressed = _Pressed("roll", {"name": f"Night {len(self.rounds) + 1}"}, self._key())
        elif moment == "in the cut":
            pressed = _Pressed("cut", {"take": self._take}, self._key())
        if pressed is None:
            time.sleep(chance.uniform(0.0, 1.0))
            room.kill()
            return None
        press = Press(room, pressed.path, pressed.body, pressed.key)
        press.start()
        # most presses are over in 0.1 s, a roll's verdict needs 0.3 to 0.7 s: half of the kills fall into the beginning
        time.sleep(chance.uniform(0.0, 0.06 if chance.random() < 0.5 else 0.9))
        room.kill()
        press.join(SETTLE_S)
        pressed.answer = press.answer
        return pressed

    def _press_again(self, done: Round, moment: str, pressed: "_Pressed", before: Mapping[str, Counted]) -> None:
        """The person presses again, with the same id: never a second effect, and never a verdict that is not true."""
        room = self._room
        status, answer = room.post(pressed.path, pressed.body, key=pressed.key)
        now = self._counted()
        if pressed.path == "roll":
            if pressed.answer is not None and pressed.answer["take"] is not None:
                self.acknowledged[pressed.answer["take"]] = str(pressed.body["name"])
            for deck in room.decks:
                if now[deck].rolls > before[deck].rolls + 1:
                    done.wrong.append(f"{deck} rolled twice for one id.")
        for told in (pressed.answer, answer if status == 200 else None):
            for box in (told or {}).get("boxes", ()):
                began = now[box["device"]].rolls - before[box["device"]].rolls
                ended = now[box["device"]].ends - before[box["device"]].ends
                if box["ended"] == "verified" and not (began if pressed.path == "roll" else ended):
                    done.wrong.append(f"{box['device']} was said to have done the {pressed.path} and did not.")
        running = [take["take"] for take in room.get("takes?count=5")["takes"] if take["running"]]
        self._take = running[0] if running else None
        if self._take is not None:
            name = str(pressed.body.get("name", "")) if pressed.path == "roll" else ""
            self.acknowledged.setdefault(self._take, name or self.acknowledged.get(self._take, ""))
            if pressed.path == "cut" or len(room.rolling()) < len(room.decks):
                self._cut_well(done)

    # -- what is asked when all is well ---------------------------------------------------------------------------

    def _roll_well(self, done: Round) -> None:
        name = f"Night {done.number}"
        status, answer = self._room.post("roll", {"name": name}, key=self._key())
        if status != 200 or answer["ended"] != "verified":
            done.wrong.append(f"A roll with nothing in its way: {status} {str(answer)[:300]}")
        if status == 200:
            self._take = answer["take"]
            self.acknowledged[answer["take"]] = name

    def _cut_well(self, done: Round) -> None:
        room, take = self._room, self._take
        if take is None:
            return
        status, answer = room.post("cut", {"take": take}, key=self._key())
        still = room.rolling()
        if status != 200 or answer["ended"] != "verified" or still:
            done.wrong.append(f"A cut with nothing in its way: {status} {str(answer)[:300]} {still} roll on.")
        self._take = None
        self._bounds(done, take)

    def _key(self) -> str:
        self._presses += 1
        return f"press-{self._presses}"

    # -- promises -------------------------------------------------------------------------------------------------

    def _counted(self) -> dict[str, Counted]:
        found = {}
        for deck in self._room.decks:
            what = Counter(entry["what"] for entry in self._room.truth(deck)["history"])
            found[deck] = Counted(what["rolling"], what["stopped"])
        return found

    def _last(self, deck: str) -> int:
        entries = door.wire(self._room.door, deck, self._seen.get(deck, 0))
        return int(str(entries[-1]["n"])) if entries else self._seen.get(deck, 0)

    def _only_looked(self, done: Round) -> None:
        """What the next daemon sent until every deck was adopted reads, and nothing else."""
        for deck in self._room.decks:
            entries = door.wire(self._room.door, deck, self._seen[deck])
            fresh = {entry["client"] for entry in entries if entry["way"] == "open"}
            heard = [str(one["text"]) for one in entries if one["way"] == "in" and one["client"] in fresh]
            done.looks += len(heard)
            for act in acting(heard):
                done.wrong.append(f"{deck} was told {act!r} before it was adopted.")

    def _nothing_unasked(
        self, done: Round, moment: str, before: Mapping[str, Counted], after: Mapping[str, Counted]
    ) -> None:
        for deck in self._room.decks:
            ends = after[deck].ends - before[deck].ends
            rolls = after[deck].rolls - before[deck].rolls
            if ends > (moment == "in the cut"):
                done.wrong.append(f"{deck} stopped, and nobody had asked for it.")
            if rolls > (moment == "in the roll"):
                done.wrong.append(f"{deck} rolled once more, and nobody had asked for it.")

    def _takes_agree(self, done: Round) -> None:
        """What rolls is in one take, and the take's recorders are those that roll."""
        room = self._room
        rolling = sorted(room.rolling())
        done.rolled_on = len(rolling)

        def agree() -> bool:
            running = [take for take in room.get("takes?count=5")["takes"] if take["running"]]
            return [sorted(take["rolling"]) for take in running] == ([rolling] if rolling else [])

        try:
            until(agree, SETTLE_S, "")
        except AssertionError:
            takes = [(take["take"], take["running"], take["rolling"]) for take in room.get("takes?count=5")["takes"]]
            done.wrong.append(f"{len(rolling)} decks roll, the takes say {takes}.")

    def _nothing_lost(self, done: Round) -> None:
        """Every take that was ever acknowledged is there, under its name."""
        found = {take["take"]: take["name"] for take in self._room.get("takes?count=200")["takes"]}
        for number, name in self.acknowledged.items():
            if number not in found and number > max(found, default=0) - 200:
                done.wrong.append(f"Take {number} was acknowledged and is lost.")
            elif name and found.get(number, name) != name:
                done.wrong.append(f"Take {number} was {name!r} and is now {found[number]!r}.")

    def _bounds(self, done: Round, take: int) -> None:
        """The take log has each clip's own first label, and its length to a frame."""
        room = self._room

        def told() -> bool:
            lanes = room.get(f"takes/{take}")["lanes"]
            return all(lane["clip"] and lane["length"] and lane["ended"] for lane in lanes) and wrong_in(lanes) == []

        def wrong_in(lanes: list[dict[str, Any]]) -> list[str]:
            found = []
            for lane in lanes:
                clips = {clip["name"]: clip for clip in room.truth(lane["device"])["clips"]}
                clip = clips.get(lane["clip"])
                frames = frame_number(Label.parse(lane["length"]), RATE) if lane["length"] else -1
                if clip is None or lane["start"] != clip["start"] or abs(frames - clip["frames"]) > 1:
                    told = f"{lane['clip']} {lane['start']} +{lane['length']}"
                    has = clip or (room.truth(lane["device"])["clips"][-1:], room.truth(lane["device"])["history"][-4:])
                    found.append(f"Take {take}, {lane['device']}: {told}, it has {has}; lane {lane}.")
            return found

        try:
            until(told, SETTLE_S, "")
        except AssertionError:
            lanes = room.get(f"takes/{take}")["lanes"]
            done.wrong += wrong_in(lanes) or [f"Take {take} was not told whole within {SETTLE_S:g} s."]

    def _end(self) -> None:
        """End the last take, and look at the journal with the tool that people have for it."""
        last = self.rounds[-1]
        self._cut_well(last)
        self._nothing_lost(last)
        self._room.interrupt()
        verify = subprocess.run(
            [PYTHON, "-m", "stagectl", "journal", "verify", str(self._room.data)],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        self._say(f"stagectl journal verify: exit {verify.returncode}. {verify.stdout.strip().splitlines()[-1:]}")
        if verify.returncode != 0:
            last.wrong.append(f"The journal is not whole: {verify.stdout} {verify.stderr}")


@dataclass(slots=True)
class _Pressed:
    path: str
    body: dict[str, object]
    key: str
    answer: dict[str, Any] | None = None


def table(kills: Kills) -> str:
    """What is told at the end."""
    rounds = kills.rounds
    moments = Counter(one.moment for one in rounds)
    wrong = [text for one in rounds for text in one.wrong]
    rows = [
        ("SIGKILLs of the daemon", str(len(rounds))),
        *((f"  {moment}", str(moments[moment])) for moment in MOMENTS),
        ("decks rolled on through a kill", str(sum(one.rolled_on for one in rounds))),
        ("read-only requests before adoption", str(sum(one.looks for one in rounds))),
        ("other requests before adoption", _count(wrong, "before it was adopted")),
        ("stops nobody asked for", _count(wrong, "stopped, and nobody")),
        ("second rolls", _count(wrong, "rolled twice", "rolled once more")),
        ("takes acknowledged", str(len(kills.acknowledged))),
        ("acknowledged takes lost", _count(wrong, "is lost", "and is now")),
        ("false verified", _count(wrong, "was said to have done")),
        ("other promises broken", str(len(wrong) - int(_count(wrong, *WORDS)))),
        ("web door ready", _times([one.ready_s for one in rounds], READY_BAR_S)),
        ("  of that, its own processor time", _times([one.ready_cpu_s for one in rounds], READY_BAR_S)),
        ("all 24 adopted", _times([one.adopted_s for one in rounds], ADOPTED_BAR_S)),
    ]
    return "\n".join(f"{what:<36}{value}" for what, value in rows)


WORDS: Final = (
    "before it was adopted",
    "stopped, and nobody",
    "rolled twice",
    "rolled once more",
    "is lost",
    "and is now",
    "was said to have done",
)


def _count(wrong: list[str], *words: str) -> str:
    return str(sum(any(word in text for word in words) for text in wrong))


def _times(times: list[float], bar_s: float) -> str:
    ordered = sorted(times)
    held = sum(one <= bar_s for one in ordered)
    p95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return (
        f"median {ordered[len(ordered) // 2]:.2f} s, p95 {p95:.2f} s, worst {ordered[-1]:.2f} s; "
        f"bar {bar_s:g} s held {held} of {len(ordered)}"
    )


def cpu_s(pid: int) -> float:
    """Processor time a process has used. Source: proc(5), fields 14 and 15 of stat."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def run(folder: Path, rounds: int, seed: int, say: Callable[[str], None] = print) -> Kills:
    """A room of 24 decks, so many kills."""
    with Room(folder, DECKS) as room:
        kills = Kills(room, seed, say)
        kills.run(rounds)
    return kills
