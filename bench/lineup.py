"""How long does a line-up of 100 recorders take, every box asked anew and every timecode sampled?"""

import statistics
from pathlib import Path
from typing import Final

from bench.farend import FarEnd
from bench.process import BenchError
from bench.roll import roller
from bench.rows import Row

NUMBER: Final = 100
LIMIT_S: Final = 3.0


def measure(program: Path, *, rounds: int) -> list[Row]:
    """The answer to a line-up, beside the bound this project set itself."""
    took = []
    with FarEnd(program, NUMBER) as far, roller("daemon", far) as made:
        for _ in range(rounds):
            answer = made.caller.call("POST", "/api/v1/lineup")
            rows = answer.body["rows"] if answer.status == 200 else []
            if len({row["device"] for row in rows if row["device"]}) != NUMBER:
                raise BenchError(f"A line-up went wrong ({answer.status}): {str(answer.body)[:300]}")
            took.append((answer.here - answer.asked) / 1e9)
    told = {"median s": statistics.median(took), "worst s": max(took), "checks": len(rows)}
    return [
        Row(
            f"line-up of {NUMBER} recorders: time / {LIMIT_S:g} s",
            statistics.median(took) / LIMIT_S,
            1.0,
            0.8,
            "x",
            told,
        )
    ]
