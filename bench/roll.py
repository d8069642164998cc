"""How long until the last recorder has its command and the last verdict is here, beside a bare fan-out?"""

import random
import statistics
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from bench.farend import FarEnd
from bench.process import BenchError, Caller, Measured, write_site
from bench.rows import Row

REST_S: Final = 0.02  # before each press: back-to-back presses keep the processors awake, and no person presses so
ARM_S: Final = 0.3  # the daemon keeps the next roll armed this soon after a cut; a person is slower
VARIANTS: Final = ("floor", "daemon")


@dataclass(frozen=True, slots=True)
class Press:
    """One roll, us after the press; the skew is from first to last."""

    first: float
    last: float
    skew: float
    confirmed: float


class Roller:
    """One variant that can be pressed."""

    def __init__(self, far: FarEnd, measured: Measured, variant: str) -> None:
        self.far = far
        self.measured = measured
        self.variant = variant
        self.caller = Caller(measured.port)

    def press(self) -> Press:
        """Roll all, then cut outside the measured time.

        Raises:
            BenchError: not every recorder was told, or proved that it rolls.
        """
        time.sleep(REST_S)
        self.far.stamps()
        if self.variant == "floor":
            answer = self.caller.call("POST", "/roll")
            good = answer.status == 200
        else:
            answer = self.caller.call("POST", "/api/v1/roll?wait=verdict")
            good = answer.status == 200 and answer.body["ended"] == "verified"
        stamps = self.far.stamps()
        if not good or stamps.count != self.far.number:
            raise BenchError(f"A roll of {self.variant} went wrong ({answer.status}): {self._why(answer.body)}")
        if self.variant == "floor":
            self.caller.call("POST", "/cut")
        else:
            self.cut(answer.body["take"])
        time.sleep(ARM_S + self.far.number / 2048)
        since = answer.asked
        return Press(
            (stamps.first - since) / 1e3,
            (stamps.last - since) / 1e3,
            (stamps.last - stamps.first) / 1e3,
            (answer.here - since) / 1e3,
        )

    @staticmethod
    def _why(body: Any) -> str:
        """The sentence of the whole and of the first recorder that did not roll."""
        if not isinstance(body, dict) or "boxes" not in body:
            return str(body)[:300]
        lost = [f"{box['say']} {', '.join(box['missing'])}" for box in body["boxes"] if box["ended"] != "verified"]
        return f"{body['say']} {lost[0] if lost else ''} (safe on disk: {body['durable']})"

    def cut(self, take: int) -> None:
        """End the take and wait until it has ended."""
        ended = self.caller.call("POST", "/api/v1/cut?wait=verdict", {"take": take})
        if ended.status != 200 or ended.body["ended"] != "verified":
            raise BenchError(f"A cut went wrong ({ended.status}): {str(ended.body)[:300]}")


@contextmanager
def roller(variant: str, far: FarEnd) -> Iterator[Roller]:
    """A variant in a process of its own, ready to be pressed and pressed twice already."""
    with tempfile.TemporaryDirectory() as folder:
        if variant == "floor":
            arguments = ["bench.floor_roll", str(far.port), str(far.number), folder]
        else:
            arguments = ["bench.daemon", str(write_site(Path(folder) / "site.yaml", far)), f"{folder}/data"]
        with Measured(*arguments) as measured:
            measured.wait_ready(far.number)
            time.sleep(1.5)  # the daemon looks its recorders over and freezes what lives long
            made = Roller(far, measured, variant)
            for _ in range(2):
                made.press()
            yield made
            made.caller.close()


def measure(program: Path, sizes: Sequence[int], *, repeats: int, rounds: int, delay_ms: int = 0) -> list[Row]:
    """Roll all at each size: last byte, skew, answer; then how the last byte grows with the size.

    Each repetition starts both programs anew, in random order, one at a time: the daemon asks its recorders while
    nothing happens, which would be in the floor's figures.
    """
    rows: list[Row] = []
    last: dict[str, dict[int, float]] = {variant: {} for variant in VARIANTS}
    for number in sizes:
        seen = _at(program, number, repeats=repeats, rounds=rounds, delay_ms=delay_ms)
        for variant in VARIANTS:
            last[variant][number] = statistics.median(press.last for press in seen[variant])
        suffix = f", N={number}" if not delay_ms else f", N={number}, decks take {delay_ms} ms"
        told = {
            f"{variant} {name} us": statistics.median(getattr(press, name) for press in seen[variant])
            for variant in VARIANTS
            for name in ("first", "last", "skew", "confirmed")
        }
        if delay_ms:
            rows.append(Row("confirmed / floor" + suffix, _ratio(seen, "confirmed"), 2.0, 1.5, detail=told))
            continue
        rows.append(Row("last byte / floor" + suffix, _ratio(seen, "last"), 2.0, 1.3, detail=told))
        rows.append(Row("skew / floor" + suffix, _ratio(seen, "skew"), 1.5, 1.15))
        rows.append(Row("confirmed / floor" + suffix + ", decks take no time", _ratio(seen, "confirmed")))
    if not delay_ms:
        rows.extend(growth(last))
    return rows


def _at(program: Path, number: int, *, repeats: int, rounds: int, delay_ms: int) -> dict[str, list[Press]]:
    """Median press of each repetition, by variant."""
    seen: dict[str, list[Press]] = {variant: [] for variant in VARIANTS}
    with FarEnd(program, number) as far:
        far.delay(delay_ms)
        for _ in range(repeats):
            for variant in random.sample(VARIANTS, len(VARIANTS)):
                with roller(variant, far) as made:
                    presses = [made.press() for _ in range(rounds)]
                seen[variant].append(
                    Press(
                        *(
                            statistics.median(getattr(press, name) for press in presses)
                            for name in ("first", "last", "skew", "confirmed")
                        )
                    )
                )
    return seen


def _ratio(seen: dict[str, list[Press]], name: str) -> float:
    """Median over the repetitions of daemon to floor."""
    pairs = zip(seen["daemon"], seen["floor"], strict=True)
    return float(statistics.median(getattr(daemon, name) / getattr(floor, name) for daemon, floor in pairs))


def growth(last: dict[str, dict[int, float]]) -> list[Row]:
    """Slope of the last byte over the number of recorders, from 64 on, and how far it is from a straight line."""
    lines = {}
    for variant, points in last.items():
        some = {number: us for number, us in points.items() if number >= 64}
        if len(some) < 2:
            return []
        slope, start = statistics.linear_regression(list(some), list(some.values()))
        off = max(abs(start + slope * number - us) / us for number, us in some.items())
        lines[variant] = (slope, off)
    (daemon, off), (floor, floor_off) = lines["daemon"], lines["floor"]
    told = {"daemon us a deck": daemon, "floor us a deck": floor, "floor off a line %": floor_off * 100}
    return [
        Row("slope of last byte over N / floor", daemon / floor, 1.5, 1.2, detail=told),
        Row("last byte off a straight line", off * 100, unit="%"),
    ]
