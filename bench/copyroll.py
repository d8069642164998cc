"""How much later is a roll that comes while four recorders are copied off? The daemon, pressed with and without."""

import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

from bench.farend import FarEnd, address
from bench.inside import share
from bench.process import PATIENCE_S, BenchError, Measured
from bench.roll import Press, Roller
from bench.rows import Row
from tests.copyoff.servers import Server, vsftpd

DECKS: Final = 4
TURN: Final = 5  # presses without, then as many during
FRAME_US: Final = 20_000  # at 50 frames a second
CLIP_BYTES: Final = 16 << 30  # sparse: more than is read in the whole case
RATE: Final = "400 MB/s"  # so that the target's disk holds what comes; twice what four recorders give on 1 GbE each


def measure(program: Path, *, presses: int) -> list[Row]:
    """Last byte and proof of a roll of all four: while nothing is copied, and while all four are read, in turns.

    Args:
        program: the far end.
        presses: of each kind.

    Raises:
        BenchError: a recorder did not roll, or is not read.
    """
    without: list[Press] = []
    during: list[Press] = []
    with ExitStack() as stack:
        far = stack.enter_context(FarEnd(program, DECKS))
        stores = [stack.enter_context(vsftpd()) for _ in range(DECKS)]
        for store in stores:
            store.put("1/Long.mov", CLIP_BYTES)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        (folder / "copies").mkdir()
        site = _site(folder, far, stores)
        measured = stack.enter_context(Measured("bench.daemon", str(site), str(folder / "data"), "quick"))
        measured.wait_ready(DECKS)
        time.sleep(1.5)  # the daemon looks its recorders over
        roller = Roller(far, measured, "daemon")
        stack.callback(roller.caller.close)
        for _ in range(2):
            roller.press()
        idle = _lag(measured)
        while len(during) < presses:
            turn = min(TURN, presses - len(during))
            without += [roller.press() for _ in range(turn)]
            run = _begin(roller)
            for _ in range(turn):
                _await_reads(roller, run)
                during.append(roller.press())
            _await_reads(roller, run)
            lag = _lag(measured)
            _stop(roller, run)
    return [_row(without, during, "last", 1.6, 1.2), _row(without, during, "confirmed", 3.0, 1.5), _late(lag, idle)]


def _row(without: list[Press], during: list[Press], what: str, bar: float, goal: float) -> Row:
    """Medians beside each other; p99 of both, and what the difference is of a frame."""
    later = _share(during, what, 0.5) - _share(without, what, 0.5)
    told = {
        f"{name} {point} {part} us": _share(some, point, share)
        for name, some in (("without", without), ("during", during))
        for point in ("first", what)
        for part, share in (("p50", 0.5), ("p99", 0.99))
    }
    told |= {"later, frames at 50p": later / FRAME_US, "presses of each": float(len(during))}
    called = "last byte" if what == "last" else "proof"
    return Row(
        f"{called} of a roll during a copy / without",
        _share(during, what, 0.5) / _share(without, what, 0.5),
        bar,
        goal,
        detail=told,
    )


def _late(lag: dict[str, Any], idle: dict[str, Any]) -> Row:
    detail = {"p50 ms": lag["p50_ms"], "idle p50 ms": idle["p50_ms"], "idle p99 ms": idle["p99_ms"]}
    return Row("the daemon's lateness while it copies, p99", lag["p99_ms"], 20, 10, "ms", detail)


def _share(presses: list[Press], name: str, part: float) -> float:
    return share([getattr(press, name) for press in presses], part)


def _begin(roller: Roller) -> str:
    begun = roller.caller.call("POST", "/api/v1/copy/runs")
    if begun.status != 202:
        raise BenchError(f"The daemon does not copy ({begun.status}): {str(begun.body)[:300]}")
    return str(begun.body["id"])


def _stop(roller: Roller, run: str) -> None:
    """End the run, and wait until nothing of it is read or written any more."""
    roller.caller.call("POST", "/api/v1/copy/stop")
    until = time.monotonic() + PATIENCE_S
    while not roller.caller.call("GET", f"/api/v1/copy/runs/{run}").body["ended"]:
        if time.monotonic() > until:
            raise BenchError("The copy run does not end.")
        time.sleep(0.1)
    time.sleep(0.5)


def _lag(measured: Measured) -> dict[str, Any]:
    """How late the loop is over two seconds."""
    measured.ask("watch")
    time.sleep(2.0)
    return measured.ask("lag")


def _site(folder: Path, far: FarEnd, stores: list[Server]) -> Path:
    rows = [
        f"  deck-{device + 1}: {{box: text-deck, at: '{address(device)}:{far.port}', "
        f"clip store: '{store.address[0]}:{store.address[1]}'}}\n"
        for device, store in enumerate(stores)
    ]
    copy = f"copy:\n  to:\n    shuttle: {{folder: '{folder / 'copies'}'}}\n  rate: {RATE}\n"
    path = folder / "site.yaml"
    path.write_text("site: Bench\ndevices:\n" + "".join(rows) + copy)
    return path


def _await_reads(roller: Roller, run: str) -> None:
    """Until bytes of every recorder's clip come."""
    until = time.monotonic() + PATIENCE_S
    while True:
        told: dict[str, Any] = roller.caller.call("GET", f"/api/v1/copy/runs/{run}").body
        if sum(deck["busy"] == "copying" and deck["done"] > 0 for deck in told["recorders"]) == DECKS:
            break
        if time.monotonic() > until or told["ended"]:
            raise BenchError(f"Not every recorder is read: {told['say']}")
        time.sleep(0.2)
    time.sleep(0.5)
