"""How is the demo hall played on this machine? Simulators as a child, the daemon here, and both end together."""

import asyncio
import contextlib
import json
import sys
import tempfile
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from stagectl.cli.addresses import Address, written
from stagectl.cli.codes import Exit
from stagectl.cli.hall import DOOR, as_line, moved, spec, tell_moved, tell_taken
from stagectl.cli.running import End, WrongError, keep, log_option, read_site

if TYPE_CHECKING:
    from stagectl.daemon import Daemon
    from stagectl.site import Site

WEB: Final = ("127.0.0.1", 8420)
SIMULATORS_S: Final = 10.0  # until the simulators listen
ADOPTED_S: Final = 10.0  # until every box is read
END_S: Final = 3.0  # until the simulators have ended
NAME: Final = "tidewater-hall.yaml"


@click.command("demo")
@click.option(
    "--http", type=Address(), default=f"{WEB[0]}:{WEB[1]}", show_default=True, help="Where the web door opens."
)
@click.option("--data", type=click.Path(path_type=Path), help="Folder of the journal; else one that goes when it ends.")
@click.option(
    "--door", type=Address(), default=f"{DOOR[0]}:{DOOR[1]}", show_default=True, help="Where faults are turned."
)
@log_option("warning")
def demo(http: tuple[str, int], data: Path | None, door: tuple[str, int], log: str) -> int:
    """Play the demo hall, boxes and daemon, on this machine. Ctrl-C ends all of it."""
    from stagectl.cli.logs import set_up

    set_up(log)
    with contextlib.ExitStack() as stack:
        hall = stack.enter_context(as_file(files("stagectl") / "demo_hall"))
        folder = data or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="stagectl-demo-")))
        return asyncio.run(_run(hall / NAME, http, door, folder, kept=data is not None))


async def _run(path: Path, http: tuple[str, int], door: tuple[str, int], folder: Path, *, kept: bool) -> int:
    from stagectl.daemon import Settings

    started = asyncio.get_running_loop().time()
    end = End()
    site, kinds = read_site(path)
    async with _simulators(site, door, end) as played:
        if end.has_come:
            return end.code
        site = moved(site, played["boxes"], played["stores"])

        async def ready(daemon: "Daemon") -> None:
            assert daemon.http is not None
            tell_taken("The web door", written(*http), f":{daemon.http.port}", _tell)
            _say_what_runs(daemon, str(played["door"]), folder, kept=kept)
            await _adopted(daemon)
            _say_ready(daemon, str(played["door"]), asyncio.get_running_loop().time() - started)

        return await keep(end, site, kinds, Settings(folder, http, elsewhere=True), ready)


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


@asynccontextmanager
async def _simulators(site: "Site", door: tuple[str, int], end: End) -> AsyncIterator[dict[str, Any]]:
    """The boxes of a site, played by a child that ends with us. Gives what it printed: door and boxes' addresses.

    It has a session of its own: a Ctrl-C reaches us alone, and the daemon lets go before the boxes are gone.
    """
    command = (sys.executable, "-m", "stagectl_simulators", "-", "--with-parent")
    pipe = asyncio.subprocess.PIPE
    child = await asyncio.create_subprocess_exec(*command, stdin=pipe, stdout=pipe, start_new_session=True)
    assert child.stdin is not None
    assert child.stdout is not None
    told = spec(site, door, _tell)
    child.stdin.write(as_line(told).encode())
    watching: asyncio.Task[None] | None = None
    try:
        try:
            async with asyncio.timeout(SIMULATORS_S):
                line = await child.stdout.readline()
        except TimeoutError:
            line = b""
        if not line and not end.has_come:
            raise WrongError("The simulators did not start. Their own words stand above.")
        watching = asyncio.create_task(_watch(child, lambda: end.come(Exit.FAILED)))
        played = json.loads(line or '{"door": "", "boxes": {}, "stores": {}}')
        if line:
            tell_moved(site, told, played["boxes"], played["door"], _tell)
        yield played
    finally:
        if watching is not None:
            watching.cancel()
        child.stdin.close()
        await _ended(child)


async def _watch(child: asyncio.subprocess.Process, gone: Callable[[], None]) -> None:
    """Without simulators there is no demo."""
    code = await child.wait()
    _tell(f"The simulators ended by themselves, code {code}. So the demo ends.")
    gone()


async def _ended(child: asyncio.subprocess.Process) -> None:
    """Wait until the child has ended, and see to it."""
    for hurry in (child.terminate, child.kill):
        try:
            async with asyncio.timeout(END_S):
                await child.wait()
                return
        except TimeoutError:
            with contextlib.suppress(ProcessLookupError):
                hurry()
    await child.wait()


async def _adopted(daemon: "Daemon") -> None:
    """Wait until every box was read, or as long as that may take."""
    changed = asyncio.Event()
    follower = daemon.house.chronicle.follow(changed.set)
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(ADOPTED_S):
            while not all(box.adopted for box in daemon.house.boxes.values()):
                await changed.wait()
                changed.clear()
    daemon.house.chronicle.unfollow(follower)


def _say_what_runs(daemon: "Daemon", door: str, folder: Path, *, kept: bool) -> None:
    assert daemon.http is not None
    kinds = [box.capability.kind for box in daemon.house.boxes.values()]
    counted = ", ".join(f"{kinds.count(kind)} {kind}{'s' * (kinds.count(kind) > 1)}" for kind in dict.fromkeys(kinds))
    print(f"{daemon.house.site.name}, all simulated: {counted}.")
    print(f"  web door    {daemon.http.url}   (its documents: {daemon.http.url}/docs)")
    print(f"  MQTT        {_mqtt(daemon)}")
    print(f"  simulators  {door}   (their faults: stagectl simulate faults iso-2)")
    print(f"  journal     {folder}{'' if kept else '   (goes when this ends)'}", flush=True)


def _mqtt(daemon: "Daemon") -> str:
    trouble = daemon.house.trouble.get("mqtt")
    if daemon.mqtt is None or trouble:
        return (trouble or "off").removeprefix("MQTT is ")
    host, port = daemon.mqtt.address
    return f"{host}:{port}"


def _say_ready(daemon: "Daemon", door: str, after_s: float) -> None:
    assert daemon.http is not None
    boxes = daemon.house.boxes
    missing = [daemon.house.called(name) for name, box in boxes.items() if not box.adopted]
    if missing:
        print(f"Ready after {after_s:.1f} s, but {', '.join(missing)} can't be read yet. See: stagectl wrong")
    else:
        print(f"Ready after {after_s:.1f} s: all {len(boxes)} boxes are read.")
    print("Try next, in another shell:")
    if (daemon.http.host, daemon.http.port) != WEB:
        print(f"  export STAGECTL_URL={daemon.http.url}")
    if door != f"http://{DOOR[0]}:{DOOR[1]}":
        print(f"  export STAGECTL_SIM_URL={door}")
    number = daemon.house.takes.upcoming("")[0]
    for command in ('stagectl roll --name "Warm-up"', f"stagectl cut {number}", "stagectl takes"):
        print(f"  {command}")
    print("Ctrl-C ends all of it, also while recorders roll; it sends them no stop.", flush=True)
