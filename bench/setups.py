"""How long until 1,000 wanted values are compared, and how long until they are so, beside the bare wire?

14 mixers and 4 routers, simulated in a process of their own, each answer 20 ms late. Two set-ups of 1,000 values differ
in every one of them; they are applied in turn, each to the last verdict. A comparison awaits nothing, so it is measured
in processor time: what else runs on the machine is not its doing. The floor of an apply sends the same lines to the
same boxes over bare sockets, 8 at a time as the driver does, and reads each value back once; it knows no stages.
"""

import asyncio
import gc
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import Any, Final

from bench.process import BenchError
from bench.rows import Row
from stagectl.control.access import Person, Role
from stagectl.daemon import PARTS, Daemon, Settings
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.verbs import Ended
from stagectl.shoot.house import Wish
from stagectl.site import load_site
from stagectl_simulators import client

MIXERS: Final = 14
ROUTERS: Final = 4
OUTPUTS: Final = 27
VALUES: Final = 1000
LATE_S: Final = 0.02
DIFF_S: Final = 0.05
APPLY_S: Final = 2.0
WINDOW: Final = 8
PATIENCE_S: Final = 30.0
NAMES: Final = ("one", "other")
_NOBODY: Final = Person("bench", Role.OPERATOR)


def measure(*, rounds: int) -> list[Row]:
    """Compare and apply, `rounds` times each way."""
    with tempfile.TemporaryDirectory() as folder, _simulated() as (ready, door):
        return asyncio.run(_measured(Path(folder), ready, door, rounds))


def values(which: int) -> dict[str, dict[str, str]]:
    """The wants of one of the two set-ups: device -> point -> value."""
    on, side, word = ("yes", "0.5", "Voice") if which else ("no", "-0.5", "Strip")
    found: dict[str, dict[str, str]] = {}
    for mixer in range(1, MIXERS + 1):
        rows = found[f"mixer-{mixer}"] = {}
        for strip in range(1, 17):
            rows[f"strip {strip} muted"] = on
            rows[f"strip {strip} pan"] = side
            rows[f"strip {strip} name"] = f"{word} {strip} here"
        rows.update((f"bus {bus} muted", on) for bus in range(1, 9))
    for router in range(1, ROUTERS + 1):
        rows = found[f"router-{router}"] = {}
        for output in range(1, OUTPUTS + 1):
            rows[f"output {output} source"] = str(1 + (output + which) % OUTPUTS)
            rows[f"output {output} name"] = f"{word} {output} there"
    return found


def _written(folder: Path, ready: dict[str, str]) -> Path:
    setups = folder / "setups"
    setups.mkdir()
    for which, name in enumerate(NAMES):
        rows = (
            f"  {device}:\n" + "".join(f"    {point}: {value}\n" for point, value in points.items())
            for device, points in values(which).items()
        )
        (setups / f"{name}.yaml").write_text(f"set-up: {name}\nwants:\n" + "".join(rows))
    lines = [
        f"  {name}: {{box: {'mixer-text' if name.startswith('mixer') else 'block-router'}, at: '{at}'}}\n"
        for name, at in ready.items()
    ]
    site = folder / "bench.yaml"
    site.write_text("site: Bench\ndevices:\n" + "".join(lines))
    return site


@contextmanager
def _simulated() -> Iterator[tuple[dict[str, str], str]]:
    """The boxes in a process of their own: addresses by id, and the door of their faults."""
    sized = {"inputs": OUTPUTS, "outputs": OUTPUTS}
    boxes: list[dict[str, Any]] = [{"id": f"mixer-{one}", "kind": "mixer-text"} for one in range(1, MIXERS + 1)]
    boxes += [{"id": f"router-{one}", "kind": "block-router", "options": sized} for one in range(1, ROUTERS + 1)]
    command = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(json.dumps({"boxes": boxes}) + "\n")
        process.stdin.flush()
        told = json.loads(process.stdout.readline())
        yield told["boxes"], told["door"]


async def _measured(folder: Path, ready: dict[str, str], door: str, rounds: int) -> list[Row]:
    kinds = find_kinds()[0]
    site = load_site(_written(folder, ready), kinds, PARTS)
    daemon = await Daemon.start(site, kinds, Settings(folder / "data", http=None, mqtt=False))
    try:
        async with asyncio.timeout(PATIENCE_S):
            while not all(box.adopted for box in daemon.house.boxes.values()):  # noqa: ASYNC110 - before measuring
                await asyncio.sleep(0.05)
        for name in ready:
            await asyncio.to_thread(client.set_fault, door, name, "latency", LATE_S)
        return await _rounds(daemon, ready, rounds)
    finally:
        await daemon.stop()


async def _rounds(daemon: Daemon, ready: dict[str, str], rounds: int) -> list[Row]:
    """There and back by set-ups, there and back over bare sockets, and again."""
    await _apply(daemon, 0)  # the boxes come from their own defaults
    diffs, bare, applies, floors = [], [], [], []
    for _ in range(rounds):
        for which in (1, 0):
            diffs.append(_compare(daemon, which))
            bare.append(_compare_bare(daemon, which))
            applies.append(await _apply(daemon, which))
        for which in (1, 0):
            floors.append(await _floor(ready, which))
            await _settled(daemon, which)
    return _told(diffs, bare, applies, floors)


def _compare(daemon: Daemon, which: int) -> float:
    """Every value compared, planned, asked what would be refused, and told in a sentence."""
    setups = daemon.house.setups
    gc.collect()
    began = time.thread_time()
    made = setups.plan(NAMES[which], person=_NOBODY)
    said = [sentence for row in made.rows if (sentence := setups.tell.row(row))]
    took = time.thread_time() - began
    if len(said) != VALUES:
        raise BenchError(f"{len(said)} of {VALUES} values differ.")
    return took


def _compare_bare(daemon: Daemon, which: int) -> float:
    """Two values beside each other, a thousand times."""
    pairs = [
        (one.value, daemon.house.board.reading(one.device, one.spec))
        for one in daemon.house.setups.shelf.setups[NAMES[which]].wants.values()
    ]
    began = time.thread_time()
    differing = sum(value != reading.value for value, reading in pairs)
    took = time.thread_time() - began
    if differing != VALUES:
        raise BenchError(f"{differing} of {VALUES} values differ.")
    return took


async def _apply(daemon: Daemon, which: int) -> float:
    gc.collect()
    began = time.perf_counter()
    group = await daemon.house.submit(Wish(_NOBODY, "bench", "setups", "apply", {"setup": NAMES[which]}))
    if not await group.wait(PATIENCE_S) or group.worst is not Ended.VERIFIED:
        bad = next((one.verdict for one in group.commands if one.verdict and one.verdict.why), None)
        raise BenchError(f"An apply ended {group.worst}, {group.count}: {bad}.")
    return time.perf_counter() - began


def _told(
    diffs: Sequence[float], bare: Sequence[float], applies: Sequence[float], floors: Sequence[float]
) -> list[Row]:
    detail = {"median_ms": median(diffs) * 1e3, "worst_ms": max(diffs) * 1e3, "bare_ms": median(bare) * 1e3}
    took = {"median_s": median(applies), "worst_s": max(applies), "bare_wire_s": median(floors)}
    return [
        Row(f"diff of {VALUES} values, all told / {DIFF_S * 1e3:g} ms", median(diffs) / DIFF_S, 1.0, 0.5, "x", detail),
        Row("diff / bare comparison", median(diffs) / median(bare)),
        Row(f"apply of {VALUES} values / {APPLY_S:g} s", median(applies) / APPLY_S, 1.0, 0.5, "x", took),
        Row("apply / bare wire", median(applies) / median(floors), None, None, "x", took),
    ]


async def _settled(daemon: Daemon, which: int) -> None:
    """Wait until the daemon has heard what the floor did."""
    setup = daemon.house.setups.shelf.setups[NAMES[which]]
    async with asyncio.timeout(PATIENCE_S):
        while daemon.house.setups.compared(setup) != (0, 0):  # noqa: ASYNC110 - between measurings
            await asyncio.sleep(0.05)


# -- the floor --------------------------------------------------------------------------------------------------------


async def _floor(ready: dict[str, str], which: int) -> float:
    """The same values over bare sockets, written and read back once; seconds."""
    wanted = values(which)
    boxes = [(await asyncio.open_connection(*at.rsplit(":", 1)), name) for name, at in ready.items()]
    for (reader, _), name in boxes:
        if name.startswith("router"):  # it shows itself first
            async with asyncio.timeout(PATIENCE_S):
                await reader.readuntil(b"END PRELUDE:\n\n")
    began = time.perf_counter()
    async with asyncio.timeout(PATIENCE_S):
        await asyncio.gather(*(_bare(reader, writer, name, wanted[name]) for (reader, writer), name in boxes))
    took = time.perf_counter() - began
    for (_, writer), _ in boxes:
        writer.close()
    return took


async def _bare(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, name: str, rows: dict[str, str]) -> None:
    if name.startswith("router"):
        await _bare_router(reader, writer, rows)
        return
    asks = [_mixer_words(point, value) for point, value in rows.items()]
    for lines in ([f"set {where} {value}\n" for where, value in asks], [f"get {where}\n" for where, _ in asks]):
        waiting = 0
        for line in lines:
            if waiting == WINDOW:
                await reader.readuntil(b"\n")
                waiting -= 1
            writer.write(line.encode())
            waiting += 1
        for _ in range(waiting):
            await reader.readuntil(b"\n")


def _mixer_words(point: str, value: str) -> tuple[str, str]:
    kind, number, what = point.split()
    place = f"{int(number) - 1} 0"
    stem = "Strip" if kind == "strip" else "Mix"
    match what:
        case "muted":
            return f"DEV:{stem}/Fader/On {place}", "0" if value == "yes" else "1"
        case "pan":
            return f"DEV:Strip/Pan/Position {place}", str(round(float(value) * 63))
    return f"DEV:{stem}/Label/Name {place}", f'"{value}"'


async def _bare_router(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, rows: dict[str, str]) -> None:
    blocks: dict[str, list[str]] = {"VIDEO OUTPUT ROUTING:": [], "OUTPUT LABELS:": []}
    for point, value in rows.items():
        _, number, what = point.split()
        wire = int(number) - 1
        if what == "source":
            blocks["VIDEO OUTPUT ROUTING:"].append(f"{wire} {int(value) - 1}\n")
        else:
            blocks["OUTPUT LABELS:"].append(f"{wire} {value}\n")
    for head, lines in blocks.items():
        for text in (f"{head}\n{''.join(lines)}\n", f"{head}\n\n"):
            writer.write(text.encode())
            await reader.readuntil(b"ACK\n\n")
