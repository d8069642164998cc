"""Do healthy recorders roll as quickly while the door is attacked, or one recorder floods us?

One daemon with accounts; 24 healthy recorders and one that can flood. Each attack goes on while some rolls are pressed,
in turn with as many pressed without any, in random order.
"""

import asyncio
import json
import random
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from bench.farend import FarEnd, address, build
from bench.inside import share
from bench.process import BenchError, Caller, Measured
from bench.rows import Row
from stagectl.control import passwords, people
from stagectl.control.access import Role
from stagectl.driverkit.real import RealStorage
from stagectl.model.secret import Secret

HEALTHY: Final = 24
TOGETHER: Final = 10  # rolls pressed while one attack lasts
ATTACKER: Final = "127.0.0.66"  # a source of its own
PASSWORD: Final = "four canvas otters yawn"
FLOOD_BYTES: Final = 50e6  # a second
SLOW: Final = 1000  # connections
GUESSING: Final = 4  # connections that guess, each as fast as it is answered
STEADY_S: Final = 0.5  # from an attack's beginning to the first press
REST_S: Final = 0.4  # between a cut and the next press: the next roll is armed by then
BACK_S: Final = 30.0
P99_MS: Final = 200.0  # first bar of all attacks
QUICK: Final = 2.0  # times the median without an attack: from then on it is over
WELL: Final = "no attack"
ATTACKS: Final = {
    "guess": "passwords are guessed",
    "token": "tokens are guessed",
    "slow": f"{SLOW} slow connections are held",
    "flood": "one deck floods 50 MB/s",
}


@dataclass
class Seen:
    """What presses under one attack came to: ms to the last byte and to the last proof; takes harmed; recovery in s."""

    last: list[float] = field(default_factory=list)
    proof: list[float] = field(default_factory=list)
    harmed: int = 0
    back: list[float] = field(default_factory=list)
    told: dict[str, float] = field(default_factory=dict)


@dataclass
class Hall:
    """The daemon under attack, its operator, and the far ends."""

    measured: Measured
    caller: Caller
    far: FarEnd
    sick: FarEnd
    attacker: Path

    def press(self, seen: Seen) -> None:
        """Roll the healthy ones, see each proved, cut. What goes wrong is a take harmed."""
        time.sleep(REST_S)
        self.far.stamps()
        answer = self.caller.call(
            "POST", "/api/v1/roll?wait=verdict", {"on": [f"deck-{n + 1}" for n in range(HEALTHY)]}
        )
        stamps = self.far.stamps()
        if answer.status != 200 or stamps.count != HEALTHY or answer.body["ended"] != "verified":
            seen.harmed += 1
            code = (
                answer.body.get("code") or answer.body.get("ended") if isinstance(answer.body, dict) else answer.status
            )
            seen.told[f"answered {code}"] = seen.told.get(f"answered {code}", 0) + 1
        else:
            seen.last.append((stamps.last - answer.asked) / 1e6)
            seen.proof.append(max(float(box["after_s"]) for box in answer.body["boxes"]) * 1e3)
        if answer.status != 200 or answer.body.get("take") is None:
            return
        ended = self.caller.call("POST", "/api/v1/cut?wait=verdict", {"take": answer.body["take"]})
        if ended.status != 200 or ended.body["ended"] != "verified":
            seen.harmed += 1

    def until_well(self, median_ms: float) -> float:
        """Press until a roll is as quick as without an attack and every recorder is adopted; s.

        Raises: BenchError: that does not come.
        """
        began, trial = time.monotonic(), Seen()
        while time.monotonic() - began < BACK_S:
            adopted = self.measured.ask("ready")["ready"] == HEALTHY + 1
            at = time.monotonic() - began
            self.press(trial)
            if adopted and trial.last and trial.last[-1] <= QUICK * median_ms:
                return at
        raise BenchError(f"{BACK_S:g} s after an attack it is not as before: {trial}")

    @contextmanager
    def attacked(self, how: str, seen: Seen) -> Iterator[None]:
        """Be attacked inside the block; what it came to is told in `seen`."""
        if how == WELL:
            yield
            return
        if how == "flood":
            before, began = self.sick.flooded(), time.monotonic()
            self.sick.flood(0, FLOOD_BYTES)
            time.sleep(STEADY_S)
            try:
                yield
            finally:
                self.sick.flood(0, 0)
                _add(
                    seen,
                    {"flood MB/s taken": 0.0},
                    most=(self.sick.flooded() - before) / (time.monotonic() - began) / 1e6,
                )
            return
        connections = SLOW if how == "slow" else GUESSING
        command = [str(self.attacker), how, str(self.measured.port), ATTACKER, str(connections)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as attacker:
            assert attacker.stdin is not None
            assert attacker.stdout is not None
            attacker.stdout.readline()
            time.sleep(STEADY_S)
            try:
                yield
            finally:
                with suppress(OSError):
                    attacker.stdin.close()
                counts = map(int, attacker.stdout.readline().split())
                _add(seen, dict(zip(("asked", "refused 401", "late 429", "other", "cut"), counts, strict=True)))


def _add(seen: Seen, counts: dict[str, float], most: float = 0.0) -> None:
    for name, number in counts.items():
        seen.told[name] = max(seen.told.get(name, 0.0), most) if most else seen.told.get(name, 0) + number


@contextmanager
def hall(program: Path) -> Iterator[Hall]:
    """A daemon with accounts, 24 healthy recorders and a sick one, all adopted; its operator has logged in."""
    with tempfile.TemporaryDirectory() as folder, FarEnd(program, HEALTHY) as far, FarEnd(program, 1) as sick:
        at = Path(folder)
        data = at / "data"
        kept = passwords.hashed(Secret(PASSWORD), b"sixteen bytes...")
        account = people.Account("ines", Role.OPERATOR, kept)
        asyncio.run(people.write(RealStorage(data), {"ines": account}))
        rows = [(f"deck-{n + 1}", f"{address(n)}:{far.port}") for n in range(HEALTHY)]
        rows.append(("deck-sick", f"{address(0)}:{sick.port}"))
        lines = [f"  {name}: {{box: text-deck, at: '{where}'}}\n" for name, where in rows]
        site = at / "site.yaml"
        site.write_text("site: Bench\ndevices:\n" + "".join(lines))
        with Measured("bench.daemon", str(site), str(data)) as measured:
            measured.wait_ready(HEALTHY + 1)
            door = Caller(measured.port)
            answer = door.call("POST", "/api/v1/login", {"name": "ines", "password": PASSWORD})
            door.close()
            if answer.status not in (200, 201):
                raise BenchError(f"The operator could not log in: {answer.status} {answer.body}")
            caller = Caller(measured.port, _token(answer.body))
            time.sleep(1.5)  # the daemon looks its recorders over and freezes what lives long
            yield Hall(measured, caller, far, sick, build(at, "attack"))
            caller.close()


def _token(body: Any) -> str:
    return str(body["token"] if isinstance(body["token"], str) else body["token"]["secret"])


def measure(program: Path, *, rounds: int) -> list[Row]:
    """Every attack `rounds` times, and as often none, in random order."""
    seen = {how: Seen() for how in (WELL, *ATTACKS)}
    with hall(program) as made:
        for _ in range(3):
            made.press(Seen())
        calm = Seen()
        for _ in range(TOGETHER):
            made.press(calm)
        median = share(calm.last, 0.5)
        for _ in range(rounds):
            for how in random.sample(list(seen), len(seen)):
                with made.attacked(how, seen[how]):
                    for _ in range(TOGETHER):
                        made.press(seen[how])
                if how != WELL:
                    seen[how].back.append(made.until_well(median))
    return [row for how, about in ATTACKS.items() for row in _rows(about, seen[how], seen[WELL], how)]


def _rows(about: str, hit: Seen, well: Seen, how: str) -> list[Row]:
    if not hit.last or not well.last:
        raise BenchError(f"No roll was proved while {about}: {json.dumps(hit.told)}")
    told = {"without p99 ms": share(well.last, 0.99), "without proof p99 ms": share(well.proof, 0.99)}
    told |= {"median ms": share(hit.last, 0.5), "without median ms": share(well.last, 0.5), "rolls": len(hit.last)}
    told |= {"proof p99 ms": share(hit.proof, 0.99)} | hit.told
    p99 = share(hit.last, 0.99)
    usual = 100 * (share(hit.last, 0.5) / share(well.last, 0.5) - 1)
    more = 100 * (p99 / share(well.last, 0.99) - 1)
    rows = [
        Row(f"last byte of {HEALTHY}, p99, while {about}", p99, P99_MS, unit="ms", detail=told),
        Row("  its p99 beside no attack", more, None, 20, "%"),
        Row("  its median beside no attack", usual, None, 20, "%"),
        Row(f"rolls or cuts harmed while {about}", hit.harmed, 0, 0, "takes"),
        Row(f"as before again after {about}", max(hit.back), 5, 2, "s"),
    ]
    if how == "guess":
        rows.append(
            Row("guesses of one source that reached the hash", hit.told.get("refused 401", 0), 100, unit="tries")
        )
    return rows
