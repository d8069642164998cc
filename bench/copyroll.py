"""How much later is a roll that comes while four recorders are copied off? The daemon, pressed with and without."""

import statistics
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

from bench.farend import FarEnd, address
from bench.process import PATIENCE_S, BenchError, Measured
from bench.roll import Press, Roller
from bench.rows import Row
from tests.copyoff.servers import Server, vsftpd

DECKS: Final = 4
CLIP_BYTES: Final = 16 << 30  # sparse: more than is read in the whole case
RATE: Final = "400 MB/s"  # so that the target's disk holds what comes; twice what four recorders give on 1 GbE each


def measure(program: Path, *, presses: int) -> list[Row]:
    """Last byte of a roll of all four: while nothing is copied, then while all four are read.

    A roll stops the reads, and they begin anew when the deck has rested for two looks: each press waits for that.

    Raises:
        BenchError: a recorder did not roll, or is not read.
    """
    with ExitStack() as stack:
        far = stack.enter_context(FarEnd(program, DECKS))
        stores = [stack.enter_context(vsftpd()) for _ in range(DECKS)]
        for store in stores:
            store.put("1/Long.mov", CLIP_BYTES)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        (folder / "copies").mkdir()
        site = _site(folder, far, stores)
        measured = stack.enter_context(Measured("bench.daemon", str(site), str(folder / "data")))
        measured.wait_ready(DECKS)
        time.sleep(1.5)  # the daemon looks its recorders over
        roller = Roller(far, measured, "daemon")
        stack.callback(roller.caller.close)
        for _ in range(2):
            roller.press()
        without = [roller.press() for _ in range(max(5, presses))]
        idle = _lag(measured)
        begun = roller.caller.call("POST", "/api/v1/copy/runs")
        if begun.status != 202:
            raise BenchError(f"The daemon does not copy ({begun.status}): {str(begun.body)[:300]}")
        run = begun.body["id"]
        during: list[Press] = []
        for _ in range(presses):
            _await_reads(roller, run)
            during.append(roller.press())
        _await_reads(roller, run)
        lag = _lag(measured)
        roller.caller.call("POST", "/api/v1/copy/stop")
    return [
        Row(
            "last byte of a roll during a copy / without",
            _median(during, "last") / _median(without, "last"),
            2.0,
            1.2,
            detail={
                f"{name} {point} us": _median(some, point)
                for name, some in (("without", without), ("during", during))
                for point in ("first", "last", "confirmed")
            },
        ),
        Row(
            "the daemon's lateness while it copies, p99",
            lag["p99_ms"],
            20,
            10,
            "ms",
            {"p50 ms": lag["p50_ms"], "idle p50 ms": idle["p50_ms"], "idle p99 ms": idle["p99_ms"]},
        ),
    ]


def _lag(measured: Measured) -> dict[str, Any]:
    """How late the loop is over two seconds."""
    measured.ask("watch")
    time.sleep(2.0)
    return measured.ask("lag")


def _median(presses: list[Press], name: str) -> float:
    return statistics.median(getattr(press, name) for press in presses)


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
