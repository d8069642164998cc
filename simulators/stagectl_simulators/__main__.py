"""How do the simulators run as a process of their own? `python -m stagectl_simulators SPEC.json`.

SPEC, a JSON object:

    {"door": "127.0.0.1:0", "seed": 1, "house_rate": "25", "house_start": "10:00:00:00", "elsewhere": false,
     "boxes": [{"id": "iso-1", "kind": "text-deck", "at": "127.0.0.1:0", "options": {}}]}

Everything but `boxes` may be left out; `house_start` "now" is the time of day; `elsewhere`: what can't be had is opened
at a free port beside it. When all boxes listen, one line of JSON is printed: {"door": url, "boxes": {id: "host:port"},
"stores": {id: "host:port"}}; `stores` are the clip stores of those boxes that have one. SIGTERM and SIGINT end the
process in order.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
import sys
import time
from pathlib import Path

from stagectl_simulators.house_clock import frames_in, label_of, rate_named
from stagectl_simulators.options import Options
from stagectl_simulators.serve import SimBox, Simulation


def main() -> int:
    """Run until told to end. Returns 0, or 2 for a spec that is wrong."""
    parser = argparse.ArgumentParser(prog="python -m stagectl_simulators", description="Play boxes on the network.")
    parser.add_argument("spec", metavar="SPEC", help="a JSON file; - reads standard input")
    parser.add_argument(
        "--with-parent",
        action="store_true",
        help="end when standard input ends; with SPEC - the spec is its first line",
    )
    asked = parser.parse_args()
    try:
        simulation = read_spec(_text(asked.spec, asked.with_parent))
        asyncio.run(_run(simulation, asked.with_parent))
    except (ValueError, OSError) as error:
        print(f"Simulators: {error}", file=sys.stderr)
        return 2
    return 0


def _text(spec: str, with_parent: bool) -> str:
    if spec == "-":
        return sys.stdin.readline() if with_parent else sys.stdin.read()
    return Path(spec).read_text(encoding="utf-8")


def read_spec(text: str) -> Simulation:
    """Read a spec.

    Raises: ValueError: what is wrong with it, in one sentence.
    """
    try:
        raw = json.loads(text)
    except json.JSONDecodeError as error:
        raise ValueError(f"The spec is no JSON: {error.msg} in line {error.lineno}.") from error
    if not isinstance(raw, dict):
        raise ValueError("The spec must be a JSON object.")  # noqa: TRY004 - what was written is wrong, not our code
    spec = Options("Spec", raw)
    door = _address(spec.text("door", "127.0.0.1:0"))
    seed = spec.whole("seed", 1)
    rate = spec.text("house_rate", "25")
    start = spec.text("house_start", "10:00:00:00")
    elsewhere = spec.flag("elsewhere")
    boxes = spec.items("boxes")
    spec.done()
    if boxes is None:
        raise ValueError('The spec has no boxes. Add "boxes": [...].')
    if start == "now":
        start = time_of_day(rate)
    plan = [_box(each) for each in boxes]
    return Simulation(plan, door=door, seed=seed, house_rate=rate, house_start=start, elsewhere=elsewhere)


def time_of_day(rate: str) -> str:
    """The label of the wall clock's time of day at a spoken rate."""
    now = time.localtime()
    exact = rate_named(rate)
    return label_of(frames_in(now.tm_hour * 3600 + now.tm_min * 60 + now.tm_sec, exact), exact)


def _box(raw: object) -> SimBox:
    if not isinstance(raw, dict):
        raise ValueError("Each box of the spec must be a JSON object.")  # noqa: TRY004 - as above
    box = Options(f"Box {raw.get('id')!r}", raw)
    name, kind = box.text("id", ""), box.text("kind", "")
    host, port = _address(box.text("at", "127.0.0.1:0"))
    options = box.table("options") or {}
    box.done()
    if not name or not kind:
        raise ValueError('Each box of the spec needs an "id" and a "kind".')
    return SimBox(name, kind, host, port, options)


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not (colon and host and port.isascii() and port.isdigit() and int(port) < 65536):
        raise ValueError(f"{text!r} is no address. Write host:port, with port 0 for a free one.")
    return host.strip("[]"), int(port)


async def _run(simulation: Simulation, with_parent: bool) -> None:
    end = asyncio.Event()
    loop = asyncio.get_running_loop()
    for each in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(each, end.set)
    async with simulation:
        if with_parent:
            await loop.connect_read_pipe(lambda: _Lifeline(end), sys.stdin)
        boxes = {name: f"{host}:{port}" for name, (host, port) in simulation.addresses.items()}
        stores = {name: f"{host}:{port}" for name, (host, port) in simulation.stores.items()}
        for lack in simulation.lacks:
            print(f"Simulators: {lack}", file=sys.stderr, flush=True)
        print(json.dumps({"door": simulation.door_url, "boxes": boxes, "stores": stores}), flush=True)
        await end.wait()


class _Lifeline(asyncio.Protocol):
    """Standard input held open by the parent: when it ends, for whatever reason, so do we."""

    def __init__(self, end: asyncio.Event) -> None:
        self._end = end

    def connection_lost(self, _: Exception | None) -> None:
        self._end.set()


if __name__ == "__main__":
    sys.exit(main())
