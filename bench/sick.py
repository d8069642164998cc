"""What do one dead, one slow and one refusing recorder among 64 cost the other 61?"""

import random
import statistics
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from bench.farend import FarEnd
from bench.process import BenchError
from bench.roll import ARM_S, REST_S, Roller, roller
from bench.rows import Row

NUMBER: Final = 64
FAULTS: Final = {13: ("dead", 0), 31: ("slow", 2000), 47: ("refuses", 0)}


def measure(program: Path, *, repeats: int, rounds: int) -> list[Row]:
    """The same daemon, all well and with three sick recorders, in random order; only the 61 healthy ones count."""
    ratios: dict[str, list[float]] = {"last": [], "proof": []}
    told: dict[str, float] = {}
    with FarEnd(program, NUMBER) as far:
        for _ in range(repeats):
            with roller("daemon", far) as made:
                seen: dict[str, list[tuple[float, float]]] = {"well": [], "sick": []}
                for _ in range(rounds):
                    for state in random.sample(("well", "sick"), 2):
                        seen[state].append(_press(made, sick=state == "sick"))
            for column, name in enumerate(ratios):
                well, sick = (statistics.median(press[column] for press in seen[state]) for state in ("well", "sick"))
                ratios[name].append(sick / well)
                told |= {f"well {name} us": well, f"sick {name} us": sick}
    last, proof = (100 * (statistics.median(ratios[name]) - 1) for name in ("last", "proof"))
    return [
        Row("last byte of 61 healthy beside 3 sick", last, 20, 5, "%", told),
        Row("proof of 61 healthy beside 3 sick", proof, 20, 5, "%"),
    ]


def _press(made: Roller, *, sick: bool) -> tuple[float, float]:
    """Last byte at the healthy recorders after the press, and their longest way from send to proof; us."""
    far = made.far
    for device, (word, milliseconds) in FAULTS.items():
        far.fault(device, word if sick else "none", milliseconds)
    time.sleep(REST_S)
    far.stamps()
    answer = made.caller.call("POST", "/api/v1/roll?wait=verdict")
    stamps = far.stamps()
    wanted = far.number - (len(FAULTS) if sick else 0)
    if answer.status != 200 or stamps.count != wanted:
        raise BenchError(f"A roll went wrong ({answer.status}, {stamps.count} told): {str(answer.body)[:300]}")
    proof = _proof(answer.body, sick=sick)
    for device in FAULTS:
        far.fault(device, "none")
    time.sleep(0.3)  # what was held back comes, and is seen
    made.cut(answer.body["take"])
    time.sleep(ARM_S + 0.2)
    return (stamps.last - answer.asked) / 1e3, proof


def _proof(body: Mapping[str, Any], *, sick: bool) -> float:
    """Longest way from send to verdict among the healthy ones, us. Raises BenchError: one was not proved."""
    names = {f"deck-{device + 1}" for device in FAULTS}
    healthy = [box for box in body["boxes"] if box["device"] not in names]
    if any(box["ended"] != "verified" for box in healthy):
        raise BenchError("A healthy recorder was not proved to roll.")
    if sick and all(box["ended"] == "verified" for box in body["boxes"]):
        raise BenchError("The sick recorders rolled: the faults had no effect.")
    return max(float(box["after_s"]) for box in healthy) * 1e6
